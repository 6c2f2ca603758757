"""Over the distance: both ends at one place, faults where they are, losses where the numbers are."""

from __future__ import annotations

import dataclasses
import math
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib.figure import Figure

from benchsweep.records import (
    AlienShare,
    CableConstants,
    DistanceTrace,
    Fault,
    Parameter,
)
from benchsweep.report import Findings, LengthRule
from benchsweep.report._cable_figures import draw_cable
from benchsweep.report._distance_figures import _panel, draw_distance, loss_ticks, place_of
from benchsweep.report._findings import (
    alien_tables,
    cable_rows,
    distance_facts,
    length_rows,
    strongest_places,
)

SVG = "{http://www.w3.org/2000/svg}"
DISTANCE = np.linspace(0.0, 12.0, 121)


def trace(kind: str, end: str, pairs: tuple[str, ...], at_m: float, height: float = 0.01) -> DistanceTrace:
    value = height * np.exp(-(((DISTANCE - at_m) / 0.3) ** 2))
    if kind == "impedance":
        value = 100.0 + 500.0 * value
    unit = "ohm" if kind == "impedance" else "1"
    return DistanceTrace(
        kind, end, pairs, DISTANCE, value, unit, 0.25, "hann", 0.68, "measured", note="of a test"
    )


def fault(
    words: str, pairs: tuple[str, ...], span: tuple[float, float] | None, end: str | None = None
) -> Fault:
    low, high = span or (None, None)
    return Fault("impedance", end, pairs, (), low, high, words)


def test_both_ends_see_a_place_at_the_same_spot() -> None:
    axes = Figure().add_subplot()
    traces = [trace("reflection", "A", ("12",), 3.0), trace("reflection", "B", ("12",), 7.0)]
    _panel(axes, traces, (), 10.0)
    for line in axes.get_lines():
        if str(line.get_gid()).startswith("from"):
            assert line.get_xdata()[np.argmax(line.get_ydata())] == pytest.approx(3.0)
    unknown = Figure().add_subplot()
    _panel(unknown, traces, (), None)
    at = [line.get_xdata()[np.argmax(line.get_ydata())] for line in unknown.get_lines()]
    assert at == pytest.approx([3.0, 7.0])


def test_faults_stand_in_the_panels_of_their_pairs_with_their_numbers() -> None:
    found = [
        fault("one pair", ("12",), (2.9, 3.1)),
        fault("between two", ("36", "45"), (9.0, 10.0)),
        fault("at a plug", ("12", "36", "45", "78"), None, "B"),
        fault("nowhere", ("12",), None),
    ]
    marked: dict[tuple[str, ...], list[str]] = {}
    for pairs in (("12",), ("36",), ("12", "36"), ("36", "45")):
        axes = Figure().add_subplot()
        _panel(axes, [trace("crosstalk", "A", pairs, 3.0)], found, 10.0)
        marked[pairs] = [text.get_text() for text in axes.texts]
    assert marked == {
        ("12",): ["1", "3"],
        ("36",): ["2", "3"],
        ("12", "36"): ["1", "3"],
        ("36", "45"): ["2", "3"],
    }
    assert place_of(found[2], 10.0) == (10.0, 10.0)
    assert place_of(found[2], None) is None
    assert place_of(found[3], 10.0) is None


@pytest.mark.parametrize("kind", ["reflection", "crosstalk", "impedance"])
@pytest.mark.parametrize("length_m", [10.0, None])
def test_the_drawing_is_sound_and_names_everything(kind: str, length_m: float | None) -> None:
    groups = [("12", "36"), ("12", "45"), ("36", "45")] if kind == "crosstalk" else [("12",), ("36",)]
    traces = [trace(kind, end, pairs, 3.0) for pairs in groups for end in ("A", "B")]
    svg = draw_distance(kind, traces, [fault("x", ("12",), (2.0, 2.0))], length_m)
    words = {"".join(node.itertext()) for node in ET.fromstring(svg).iter(f"{SVG}text")}
    assert {"from end A", "from end B", "resolution 0.25 m", "1"} <= words
    assert {f"{'pairs' if len(pairs) == 2 else 'pair'} {'-'.join(pairs)}" for pairs in groups} <= words
    whence = "end A" if length_m else "the end looked into"
    assert f"distance from {whence} / m" in words
    assert svg == draw_distance(kind, traces, [fault("x", ("12",), (2.0, 2.0))], length_m)


def test_ticks_of_a_coefficient_are_its_loss() -> None:
    for highest in (1.0, 0.05, 3e-4):
        ticks = loss_ticks(highest, both_sides=True)
        values = [value for value, _ in ticks]
        assert values == sorted(values)
        assert len(ticks) >= 5
        for value, words in ticks:
            loss = math.inf if value == 0.0 else -20.0 * math.log10(abs(value))
            assert words == ("∞" if value == 0.0 else str(round(loss)))


def test_facts_and_strongest_places() -> None:
    traces = [trace("reflection", "A", ("12",), 3.0, -0.01), trace("crosstalk", "B", ("12", "36"), 4.0, 1e-3)]
    facts = distance_facts(traces)
    assert ("velocity over light", "12 0.6800; from the measured delay and the length") in facts
    assert ("resolution", "0.25 m, window hann") in facts
    assert ("note", "reflection: of a test") in facts
    other = trace("reflection", "B", ("12",), 3.0)
    other = dataclasses.replace(other, note="")
    assert ("note", "reflection 12 from A: of a test") in distance_facts([*traces, other])
    # 20 log10 of 0.01 and of 0.001
    assert strongest_places(traces) == [
        ("reflection", [("12", "40.0 lower", "3.00", "-", "-")]),
        ("crosstalk", [("12-36", "-", "-", "60.0", "4.00")]),
    ]


def test_the_strongest_place_is_within_the_length() -> None:
    """What comes back from the end is seen around it, as wide as the resolution of 0.25 m."""
    at_the_end = trace("reflection", "A", ("12",), 3.0, -0.01)
    assert strongest_places([at_the_end], 2.95)[0][1] == [("12", "40.0 lower", "2.95", "-", "-")]
    beyond = trace("reflection", "A", ("12",), 4.0, -0.01)
    (row,) = strongest_places([beyond], 2.0)[0][1]
    assert row[1] != "40.0 lower"
    assert float(row[2]) <= 2.0


def test_the_length_rule_is_compared_and_no_more() -> None:
    rules = (LengthRule("link", 90.0, "common-practice"), LengthRule("channel", 100.0, "common-practice"))
    rows = length_rows(Findings(length_rules=rules, length_m=93.5))
    assert [(row[0], row[1], row[3]) for row in rows] == [
        ("link", "90 m", "longer by 3.5 m"),
        ("channel", "100 m", "shorter by 6.5 m"),
    ]
    assert length_rows(Findings(length_rules=rules))[0][3] == "the length is not known"


def constants(end: str, pair: str) -> CableConstants:
    grid = np.linspace(1e6, 100e6, 50)
    fitted = 100.0 + 5.0 / np.sqrt(grid / 1e6)
    ripple = 2.0 * np.sin(grid / 3e6)
    loss = np.full(50, 30.0)
    loss[3] = np.inf
    delay = 534.0 + 36.0 / np.sqrt(grid / 1e6)
    return CableConstants(
        end, pair, 100.0, grid, "open-short", fitted + ripple, fitted, 0.0 * fitted, (100.0, 5.0, 0.0, 0.0),
        loss, 100.6,
        (50e6, 100e6), 0.62, delay, None, 5.35, None,
    )  # fmt: skip


def test_cable_constants_are_told_and_drawn() -> None:
    found = [constants(end, pair) for end in ("A", "B") for pair in ("12", "36")]
    assert cable_rows(found)[0] == (
        "A", "12", "100.60", "50.000 to 100.00", "100.00", "0.6200", "537.6", "5.350", "-", "open-short",
    )  # fmt: skip
    for what in ("impedance", "structural_return_loss"):
        svg = draw_cable(what, found)
        words = ["".join(node.itertext()) for node in ET.fromstring(svg).iter(f"{SVG}text")]
        assert words.count("12") == words.count("36") == 2
        assert {"end A", "end B"} <= set(words)


def test_disturbing_cables_are_ranked_by_what_they_give() -> None:
    shares = []
    for end in ("A", "B"):
        for cable, part in ((1, 0.2), (2, 0.5), (3, 0.3)):
            shares.append(AlienShare(Parameter.PS_ANEXT, end, "12", cable, None, 1e8, part, 60.0, part))
            for pair, of_it in (("36", 0.75), ("45", 0.25)):
                shares.append(
                    AlienShare(
                        Parameter.PS_ANEXT, end, "12", cable, pair, 1e8, part * of_it, 61.0, part * of_it
                    )
                )
    (table,) = alien_tables(shares)
    assert [row.cable for row in table["rows"]] == [2, 3, 1]
    assert [row.pair for row in table["rows"]] == ["36"] * 3
    # Every watt comes from some cable.
    assert sum(row.mean for row in table["rows"]) == pytest.approx(1.0)
