"""How a specimen was measured, as the report tells it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.acquisition import make_plan
from benchsweep.records import (
    Hookup,
    Measurement,
    RawHookup,
    RawSweep,
    SafetyConfirmation,
    SweepSegment,
    balanced_ports,
)
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._measured import matings, measured_section
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, facts_of, lines_of, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

AT = "2026-03-01T12:30:05Z"
TEXTS = english()


def swept(number: int, connections: dict[int, str], terminations: dict[str, str] | None = None) -> RawHookup:
    ports = tuple(sorted(connections))
    sweep = RawSweep(
        [1e6], np.zeros((1, len(ports), len(ports))), ports, f"2026-03-01T12:3{number}:00Z", 1.25
    )
    return RawHookup(Hookup(number, connections, terminations or {}), sweep)


TWO = (
    swept(1, {1: "A:12.1", 2: "A:12.2", 3: "A:36.3", 4: "A:36.6"}, {"B:36": "T1"}),
    swept(2, {1: "A:12.1", 2: "A:12.2", 3: "3.B:45.4", 4: "3.B:45.5"}, {"B:36": "none"}),
)


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    return build.item(points=40)


def full(measurement: Measurement) -> Measurement:
    assert measurement.settings is not None
    parts = (SweepSegment(1e6, 5e7, 20, 300.0), SweepSegment(5e7, 5e8, 20))
    return replace(
        measurement,
        hookups=TWO,
        settings=replace(measurement.settings, spacing="segments", segments=parts),
        ambient={
            "temperature_degc": 21.5,
            "humidity_percent": 45.0,
            "box_hpa": 1013.0,
            "degc": 1.0,
            "odd_unit": 2.0,
        },
        safety=SafetyConfirmation("I. Vogt", AT, ("No voltage is present.",)),
        incidents=("hookup 2: the link was lost; opened again",),
        assembly_notes=("the termination of B:36 in hookup 2",),
        budget_toml='name = "bench 3"\n',
        fixture_toml='name = "contacts"\n[consistency]\nlargest_db = -28.0\n',
        consistency_db={"A:12.1": -45.21, "A:12.2": -np.inf},
        reduced_at="2026-04-01T00:00:00Z",
        reason="a better fixture",
        reduced_from="cd" * 32,
    )


def with_measurement(item: ReportItem, measurement: Measurement) -> ReportItem:
    return replace(item, measurement=measurement)


def test_everything_that_is_known_is_told(item: ReportItem) -> None:
    section = measured_section([with_measurement(item, full(item.measurement))], TEXTS)
    assert section is not None
    told = facts_of(section)
    assert told["specimen"] == ["cord 2 m / no. 7", "green, from drum 12"]
    assert told["length"] == ["2 m"]
    assert told["measured at"] == [AT]
    assert told["reduced again at"] == ["2026-04-01T00:00:00Z: a better fixture"]
    assert told["operator"] == ["M. Lindqvist"]
    assert told["origin"] == ["simulated bench: for practice, no real part was measured"]
    assert told["analyzer"][1] == "command family named-measurement, 16 ports"
    assert told["grid"] == ["1.000 MHz to 500.00 MHz, 40 points", "16 legs at 50 ohm"]
    assert told["settings"] == [
        "IF bandwidth 1000 Hz, averages 1, power -5 dBm, points in segments; "
        "in segments of their own also 300 Hz"
    ]
    assert told["hookups"] == [
        "2 hookups, at most 4 analyzer ports in use",
        "3 matings of balanced ports, counting those that moved",
        "2.5 s of sweeping",
        "first sweep ended at 2026-03-01T12:31:00Z, last at 2026-03-01T12:32:00Z",
    ]
    assert told["ambient conditions"] == [
        "temperature 21.5 °C",
        "relative humidity 45 %",
        "box 1013 hPa",
        "degc 1",
        "odd_unit 2",
    ]
    assert told["agreement of hookups"] == [
        "2 ports were measured in several hookups: these disagree by at most -45.2 dB, at A:12.1",
        "the fixture allows -28.0 dB",
    ]
    assert told["how the hookups fit"] == ["the termination of B:36 in hookup 2"]
    assert told["uncertainty budget"] == ["bench 3"]
    assert told["safety"] == [f"cautions confirmed by I. Vogt at {AT}", "No voltage is present."]
    assert told["incidents"] == ["hookup 2: the link was lost; opened again"]


def test_what_was_attached_is_a_folded_table(item: ReportItem) -> None:
    section = measured_section([with_measurement(item, full(item.measurement))], TEXTS)
    assert section is not None
    attached = section_in(section, "What was attached in each of 2 hookups")
    assert attached.folded
    ((_, first, second),) = tables_of(attached)
    assert first[:3] == ["1", "1 A:12.1, 2 A:12.2, 3 A:36.3, 4 A:36.6", "B:36 T1"]
    assert second[:3] == ["2", "1 A:12.1, 2 A:12.2, 3 3.B:45.4, 4 3.B:45.5", "B:36 none"]
    assert "none: no terminator was on that port" in text_of(attached)
    plain_ones = replace(item.measurement, hookups=(swept(1, {1: "A:12.1", 2: "A:12.2"}),))
    section = measured_section([with_measurement(item, plain_ones)], TEXTS)
    assert section is not None
    assert "terminators" not in text_of(section)
    agreement = section_in(section, "Disagreement of hookups at each of 16 ports")
    assert agreement.folded


def test_a_level_as_good_as_nothing_is_said_so(item: ReportItem) -> None:
    section = measured_section([with_measurement(item, full(item.measurement))], TEXTS)
    assert section is not None
    (table,) = tables_of(section_in(section, "Disagreement of hookups"))
    assert table[1:] == [["A:12.1", "-45.2 dB"], ["A:12.2", "below the noise of computing"]]


def test_an_import_tells_what_is_not_known(item: ReportItem) -> None:
    imported = replace(
        item.measurement,
        origin="touchstone",
        source_file="x.s16p",
        analyzer=None,
        settings=None,
        calibration=None,
        ambient={},
        consistency_db={},
        fixture_toml="",
    )
    section = measured_section([with_measurement(item, imported)], TEXTS)
    assert section is not None
    told = facts_of(section)
    assert told["imported at"] == [AT]
    assert "measured at" not in told
    assert told["origin"] == ["imported from a Touchstone file: x.s16p"]
    assert told["analyzer"] == ["not known"]
    assert told["ambient conditions"] == ["not stated"]
    assert told["uncertainty budget"] == ["none: no uncertainty is stated"]
    assert not {"settings", "hookups", "agreement of hookups", "safety", "incidents"} & set(told)


@pytest.mark.parametrize("analyzer_ports", [4, 6, 8, 16])
def test_matings_are_those_that_the_plan_asked_for(analyzer_ports: int) -> None:
    """The plan counts the balanced ports to be attached, the report those that were."""
    slots = tuple((2 * n + 1, 2 * n + 2) for n in range(analyzer_ports // 2))
    plan = make_plan(slots, balanced_ports())
    done = [swept(hookup.number % 10, dict(hookup.connections)) for hookup in plan.hookups]
    assert matings(done) == plan.matings


def test_a_port_that_moves_to_another_place_was_mated_again() -> None:
    there = swept(1, {1: "A:12.1", 2: "A:12.2"})
    elsewhere = swept(2, {3: "A:12.1", 4: "A:12.2"})
    assert matings([there, there, elsewhere]) == 2


def test_modes_behind_baluns_are_no_legs(item: ReportItem) -> None:
    corrected = item.measurement.corrected
    labels = [f"{leg.partition('.')[0]}/{'dc'[at % 2]}" for at, leg in enumerate(corrected.ports)]
    modes = replace(corrected, ports=tuple(labels), z0_ohm=(100.0, 25.0) * 8)
    section = measured_section([with_measurement(item, replace(item.measurement, corrected=modes))], TEXTS)
    assert section is not None
    assert facts_of(section)["grid"][1] == "16 modes at 25, 100 ohm"


def test_no_words_of_ours_but_from_the_catalogue(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    for measurement in (item.measurement, full(item.measurement)):
        section = measured_section([with_measurement(item, measurement)], texts)
        assert section is not None
        assert not re.search(
            "[A-Za-z]{2}", outside_marks(ours(section)).replace(" dB", "").replace(" hPa", "")
        )


def test_hostile_names_stay_those_of_others(item: ReportItem) -> None:
    measurement = item.measurement
    assert measurement.analyzer is not None
    hostile = replace(
        full(measurement),
        specimen=replace(measurement.specimen, identifier=HOSTILE, description=HOSTILE, lot=HOSTILE),
        created_at=HOSTILE,
        origin=HOSTILE,
        station=HOSTILE,
        operator=HOSTILE,
        analyzer=replace(measurement.analyzer, idn=HOSTILE, family=HOSTILE),
        ambient={HOSTILE: 1.0},
        consistency_db={HOSTILE: -40.0, "A:12.1": -50.0},
        assembly_notes=(HOSTILE,),
        incidents=(HOSTILE,),
        safety=SafetyConfirmation(HOSTILE, HOSTILE, (HOSTILE,)),
        reason=HOSTILE,
        source_file=HOSTILE,
        hookups=(swept(1, {1: HOSTILE}, {HOSTILE: HOSTILE}),),
        budget_toml="name = '</bdi><script>'",
    )
    section = measured_section([with_measurement(item, hostile)], TEXTS)
    assert section is not None
    assert "script" in text_of(section)
    assert "script" not in ours(section)
    assert all(isinstance(line, tuple) for line in lines_of(section))
