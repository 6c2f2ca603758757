"""Over the distance: what distances rest on, strongest places, the rule for the length."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import DistanceTrace, Fault
from benchsweep.report import Findings, LengthRule, ReportItem
from benchsweep.report.content._findings_distance import distance_section, strongest_rows
from benchsweep.report.document import Table, plain
from benchsweep.report.text import english

TEXTS = english()
DISTANCE = np.linspace(0.0, 12.0, 121)


def trace(kind: str, end: str, pairs: tuple[str, ...], at_m: float, height: float = 0.01) -> DistanceTrace:
    value = height * np.exp(-(((DISTANCE - at_m) / 0.3) ** 2))
    if kind == "impedance":
        value = 100.0 + 500.0 * value
    unit = "ohm" if kind == "impedance" else "1"
    return DistanceTrace(
        kind, end, pairs, DISTANCE, value, unit, 0.25, "hann", 0.68, "measured", note="of a test"
    )


@pytest.fixture(scope="module")
def item(build: SimpleNamespace) -> ReportItem:
    return dataclasses.replace(build.item(points=20), traces=())


def section(item: ReportItem, findings: Findings):
    return distance_section([dataclasses.replace(item, findings=findings)], TEXTS)


def test_what_the_distances_rest_on_is_told(item: ReportItem, read: SimpleNamespace) -> None:
    traces = [trace("reflection", "A", ("12",), 3.0, -0.01), trace("crosstalk", "B", ("12", "36"), 4.0, 1e-3)]
    found = Findings(profiles=traces, why_no_profiles="x", electrical_length_m=2.04)
    facts = read.facts(section(item, found))
    assert facts["velocity over light"] == ["12 0.6800; from the measured delay and the length"]
    assert facts["resolution"] == ["0.25 m, window hann"]
    assert facts["note"] == ["reflection: of a test", "crosstalk: of a test"]
    assert facts["length"] == ["2 m, as told"]
    assert facts["electrical length"][0].startswith("2.04 m, ")
    assert "loss on the way" not in facts


def test_kinds_that_differ_are_told_apart(item: ReportItem, read: SimpleNamespace) -> None:
    noted = trace("reflection", "A", ("12",), 3.0)
    impedance = dataclasses.replace(trace("impedance", "A", ("12",), 3.0), note="")
    traces = [
        noted,
        dataclasses.replace(noted, end="B", note=""),
        dataclasses.replace(impedance, resolution_m=0.5, loss_corrected_m=2.44),
        dataclasses.replace(
            impedance,
            pairs=("36",),
            velocity_fraction=0.7,
            velocity_standing="common-practice",
            loss_corrected_m=2.6,
        ),
    ]
    facts = read.facts(section(item, Findings(profiles=traces, why_no_profiles="x")))
    assert facts["note"] == ["reflection 12 from A: of a test"]
    assert facts["resolution"] == [
        "reflection: 0.25 m, window hann", "impedance: 0.50 m, window hann"
    ]  # fmt: skip
    # Only as far as all of them reach.
    assert facts["loss on the way"] == ["taken out of impedance up to 2.4 m"]
    assert len(facts["velocity over light"]) == 2
    assert facts["velocity over light"][1].startswith("36 0.7000; common practice")


def test_the_strongest_places() -> None:
    """20 log10 of 0.01 and of 0.001; what comes back from the end is seen around it, as wide as 0.25 m."""
    traces = [trace("reflection", "A", ("12",), 3.0, -0.01), trace("crosstalk", "B", ("12", "36"), 4.0, 1e-3)]
    assert strongest_rows(traces, "reflection", None, TEXTS) == [("12", "40.0 lower", "3.00", "-", "-")]
    assert strongest_rows(traces, "crosstalk", None, TEXTS) == [("12-36", "-", "-", "60.0", "4.00")]
    assert strongest_rows(traces[:1], "reflection", 2.95, TEXTS) == [("12", "40.0 lower", "2.95", "-", "-")]
    ((_, loss, place, *_),) = strongest_rows(
        [trace("reflection", "A", ("12",), 4.0)], "reflection", 2.0, TEXTS
    )
    assert loss != "40.0 higher"
    assert float(place) <= 2.0
    silent = dataclasses.replace(traces[0], value=np.zeros(DISTANCE.size))
    assert strongest_rows([silent], "reflection", None, TEXTS)[0][1] == "infinite"


def test_the_length_rule_is_compared_and_decides_nothing(item: ReportItem, read: SimpleNamespace) -> None:
    rules = (LengthRule("link", 90.0, "common-practice"), LengthRule("channel", 100.0, "a rumour"))
    told = section(item, Findings(length_rules=rules, length_m=93.5))
    (table,) = read.every(told, Table)
    assert [cells[:3] for cells in read.cells(table)] == [
        ("link", "90 m", "longer by 3.5 m"),
        ("channel", "100 m", "shorter by 6.5 m"),
    ]
    assert read.cells(table)[0][3].startswith("common practice in the trade")
    assert read.cells(table)[1][3] == "a rumour"
    assert "decides no outcome" in read.words(told)
    (table,) = read.every(section(item, Findings(length_rules=rules)), Table)
    assert read.cells(table)[0][2] == "the length is not known"


def test_there_is_a_section_only_where_something_is_known(item: ReportItem, read: SimpleNamespace) -> None:
    fault = Fault("crush", None, ("12",), (1, 2), 0.7, 0.9, "pair 1-2 is crushed", ("evidence",))
    assert section(item, Findings()) is None
    assert section(item, Findings(faults=[fault])) is None
    told = section(item, Findings(faults=[fault], why_no_profiles="too coarse"))
    assert "pair 1-2 is crushed" not in read.words(told)
    assert plain(told.title) == "Over the distance"
