"""Over the distance: both ends at one place, faults where they are, losses where the numbers are."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import DistanceTrace, Fault
from benchsweep.report import Findings
from benchsweep.report.chart import Chart
from benchsweep.report.content.charts import distance_charts, distance_drawings
from benchsweep.report.content.charts._distance import loss_ticks, place_of
from benchsweep.report.document import plain
from benchsweep.report.text import english

DISTANCE = np.linspace(0.0, 12.0, 121)
TEXTS = english()


def trace(kind: str, end: str, pairs: tuple[str, ...], at_m: float, height: float = 0.01) -> DistanceTrace:
    value = height * np.exp(-(((DISTANCE - at_m) / 0.3) ** 2))
    if kind == "impedance":
        value = 100.0 + 500.0 * value
    unit = "ohm" if kind == "impedance" else "1"
    return DistanceTrace(kind, end, pairs, DISTANCE, value, unit, 0.25, "hann", 0.68, "measured")


def fault(
    words: str, pairs: tuple[str, ...], span: tuple[float, float] | None, end: str | None = None
) -> Fault:
    low, high = span or (None, None)
    return Fault("impedance", end, pairs, (), low, high, words)


FAULTS = [
    fault("one pair", ("12",), (2.9, 3.1)),
    fault("between two", ("36", "45"), (9.0, 10.0)),
    fault("at a plug", ("12", "36", "45", "78"), None, "B"),
    fault("nowhere", ("12",), None),
]


def group(build: SimpleNamespace, traces: list[DistanceTrace], length_m: float | None, faults=()) -> list:
    item = build.item(points=20)
    specimen = replace(item.measurement.specimen, length_m=None)
    measurement = replace(item.measurement, specimen=specimen)
    findings = Findings(faults=tuple(faults), profiles=tuple(traces), length_m=length_m)
    return [replace(item, measurement=measurement, findings=findings)]


def only(build: SimpleNamespace, traces: list[DistanceTrace], length_m: float | None, faults=()) -> Chart:
    ((chart, _),) = distance_charts(group(build, traces, length_m, faults), TEXTS, prefix="s1")
    return chart


def test_both_ends_see_a_place_at_the_same_spot(build: SimpleNamespace) -> None:
    traces = [trace("reflection", "A", ("12",), 3.0), trace("reflection", "B", ("12",), 7.0)]
    (panel,) = only(build, traces, 10.0).panels
    assert [curve.x[np.argmax(curve.y)] for curve in panel.curves] == pytest.approx([3.0, 3.0])
    for curve, shown in zip(panel.curves, traces, strict=True):
        assert np.all(np.diff(curve.x) > 0)
        assert np.array_equal(np.sort(curve.y), np.sort(shown.value))
    assert panel.x.words == "distance from end A"
    assert [curve.name for curve in panel.curves] == ["from end A", "from end B"]
    assert [(span.begin, span.end, span.faint) for span in panel.spans] == [(0, 0, True), (10, 10, True)]
    (panel,) = only(build, traces, None).panels
    assert [curve.x[np.argmax(curve.y)] for curve in panel.curves] == pytest.approx([3.0, 7.0])
    assert panel.x.words == "distance from the end looked into"
    assert panel.spans == ()


def test_faults_stand_in_the_panels_of_their_pairs_with_their_numbers(build: SimpleNamespace) -> None:
    pairs = [("12",), ("36",), ("12", "36"), ("36", "45")]
    chart = only(build, [trace("crosstalk", "A", which, 3.0) for which in pairs], 10.0, FAULTS)
    told = {
        panel.title: [(span.words, span.begin, span.end) for span in panel.spans if not span.faint]
        for panel in chart.panels
    }
    assert told == {
        "pair 12": [("1", 2.9, 3.1), ("3", 10.0, 10.0)],
        "pair 36": [("2", 9.0, 10.0), ("3", 10.0, 10.0)],
        "pairs 12-36": [("1", 2.9, 3.1), ("3", 10.0, 10.0)],
        "pairs 36-45": [("2", 9.0, 10.0), ("3", 10.0, 10.0)],
    }
    assert chart.words.endswith("faults: 1 from 2.90 to 3.10 m, 2 from 9.00 to 10.00 m, 3 at 10.00 m")
    assert place_of(FAULTS[2], None) is None
    assert place_of(FAULTS[3], 10.0) is None


def test_two_faults_at_one_place_share_a_stretch(build: SimpleNamespace) -> None:
    twice = [FAULTS[0], FAULTS[0]]
    (panel,) = only(build, [trace("reflection", "A", ("12",), 3.0)], 10.0, twice).panels
    assert [span.words for span in panel.spans if not span.faint] == ["1, 2"]


def test_ticks_of_a_coefficient_are_its_loss() -> None:
    for highest in (1.0, 0.05, 3e-4):
        ticks = loss_ticks(highest, both_sides=True)
        values = [value for value, _ in ticks]
        assert values == sorted(values)
        assert len(ticks) >= 5
        for value, words in ticks:
            loss = math.inf if value == 0.0 else -20.0 * math.log10(abs(value))
            assert words == ("∞" if value == 0.0 else str(round(loss)))


def test_every_kind_has_its_chart_axis_and_resolution(build: SimpleNamespace) -> None:
    traces = [
        *(trace("impedance", end, ("12",), 3.0) for end in ("A", "B")),
        *(trace("reflection", end, ("12",), 3.0, -0.02) for end in ("A", "B")),
        *(trace("crosstalk", end, ("12", "36"), 3.0, 0.02) for end in ("A", "B")),
    ]
    made = distance_charts(group(build, traces, 10.0), TEXTS, prefix="s1")
    assert [chart.name for chart, _ in made] == [
        "s1-distance-reflection",
        "s1-distance-crosstalk",
        "s1-distance-impedance",
    ]
    assert plain(made[0][1]) == "return loss over distance"
    reflection, crosstalk, impedance = (chart.panels[0] for chart, _ in made)
    assert (reflection.y.unit, reflection.levels, reflection.y.loss) == ("dB", (0.0,), True)
    assert reflection.y.low == -reflection.y.high
    assert (crosstalk.y.low, crosstalk.y.unit) == (0.0, "dB")
    assert (impedance.y.unit, impedance.levels, impedance.y.loss) == ("ohm", (100.0,), False)
    for panel in (reflection, crosstalk, impedance):
        assert panel.note == "resolution 0.25 m"
        assert panel.note_length == 0.25
    # The peak of 0.02 is 33.98 dB, at 3 m from the end looked into.
    assert "strongest 12-36, 34.0 dB at 3.00 m from end A" in made[1][0].words
    assert "from 100.0 to 105.0 ohm" in made[2][0].words


def test_a_panel_that_reaches_far_beyond_the_others_has_its_own_scale(build: SimpleNamespace) -> None:
    traces = [trace("crosstalk", "A", pairs, 3.0) for pairs in (("12", "36"), ("12", "45"), ("36", "45"))]
    traces[2] = trace("crosstalk", "A", ("36", "45"), 3.0, 0.5)
    panels = only(build, traces, 10.0).panels
    assert panels[0].y.high == panels[1].y.high < 0.02 < 0.5 < panels[2].y.high


def test_impedances_of_no_cable_are_cut_off(build: SimpleNamespace) -> None:
    (panel,) = only(build, [trace("impedance", "A", ("12",), 3.0, 20.0)], 10.0).panels
    assert panel.y.high < 270.0
    assert panel.curves[0].y.max() == pytest.approx(10100.0)


def test_what_is_read_off_is_the_loss(build: SimpleNamespace) -> None:
    """0.01 is a loss of 40 dB; the first value of the readout stands as it is (see `_packing`)."""
    flat = replace(trace("reflection", "A", ("12",), 3.0), value=np.full(DISTANCE.size, -0.01))
    (drawn,) = distance_drawings(group(build, [flat], 10.0), TEXTS, prefix="s1")
    (panel,) = json.loads(drawn.picture.readout)["panels"]
    again = replace(flat, value=np.full(DISTANCE.size, 0.01))
    (other,) = distance_drawings(group(build, [again], 10.0), TEXTS, prefix="s1")
    (mirrored,) = json.loads(other.picture.readout)["panels"]
    louder = replace(flat, value=np.full(DISTANCE.size, -0.02))
    (third,) = distance_drawings(group(build, [louder], 10.0), TEXTS, prefix="s1")
    (differs,) = json.loads(third.picture.readout)["panels"]
    assert panel["y"]["unit"] == "dB"
    assert panel["curves"][0]["data"] == mirrored["curves"][0]["data"] == packed_forty(DISTANCE.size)
    assert panel["curves"][0]["data"] != differs["curves"][0]["data"]


def packed_forty(count: int) -> dict:
    """40.0000 dB at each point: 400000 zigzag is 800000, seven bits at a time, low ones first; then zeros."""
    import base64

    number, octets = 800000, []
    while number >= 0x80:
        octets.append(number & 0x7F | 0x80)
        number >>= 7
    octets.append(number)
    return {"v": base64.b64encode(bytes([*octets, *[0] * (count - 1)])).decode(), "gaps": []}
