"""What is drawn is what was measured: limit, worst point and extremes are where the numbers are."""

from __future__ import annotations

import dataclasses
import re
from itertools import pairwise
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from benchsweep.records import LimitCurve, Outcome, Parameter, Trace, VerdictRow
from benchsweep.report._drawing import apart, straightened, thinned
from benchsweep.report._figures import _panel, draw_parameter
from benchsweep.report._limits import Bar, left_out, merged, shade
from benchsweep.report._select import worst_rows

SVG = "{http://www.w3.org/2000/svg}"


@settings(max_examples=60, deadline=None)
@given(
    size=st.integers(1, 5000),
    seed=st.integers(0, 2**31),
    gaps=st.booleans(),
)
def test_thinning_keeps_extremes_ends_and_the_worst_point(size: int, seed: int, gaps: bool) -> None:
    rng = np.random.default_rng(seed)
    grid = np.linspace(1e6, 500e6, size)
    value = rng.normal(size=size)
    if gaps:
        value[rng.random(size) < 0.3] = np.inf
    keep = int(rng.integers(size))
    index = thinned(grid, value, keep)
    assert index.size <= 255
    assert np.all(np.diff(index) > 0)
    assert {0, size - 1, keep} <= set(index.tolist())
    finite = value[np.isfinite(value)]
    if finite.size:
        drawn = value[index][np.isfinite(value[index])]
        assert (drawn.min(), drawn.max()) == (finite.min(), finite.max())


@given(
    wanted=st.lists(st.floats(0, 1), min_size=1, max_size=14).map(sorted),
    height=st.floats(0.01, 0.06),
)
def test_labels_never_overlap(wanted: list[float], height: float) -> None:
    places = apart(wanted, height)
    assert all(high - low >= height - 1e-9 for low, high in pairwise(places))
    assert -1e-9 <= places[0]
    assert places[-1] <= 1 + 1e-9


def test_labels_with_room_stay_where_they_belong() -> None:
    assert apart([0.1, 0.5, 0.9], 0.05) == pytest.approx([0.1, 0.5, 0.9])
    assert apart([0.5, 0.5], 0.1) == pytest.approx([0.45, 0.55])


def test_limit_and_worst_point_are_drawn_where_the_numbers_are(build: SimpleNamespace) -> None:
    item = build.item(fault_db=11.0, points=801)
    traces = [t for t in item.traces if t.parameter is Parameter.NEXT and t.end == "B"]
    (row,) = [r for r in worst_rows(item.verdict) if (r.parameter, r.end) == (Parameter.NEXT, "B")]
    curve = item.limits[Parameter.NEXT]
    axes = Figure().add_subplot()
    _panel(axes, "B", traces, [Bar("limit", curve, {"B": row})])
    lines = {line.get_gid(): line for line in axes.get_lines()}
    # Between its few points the limit is drawn straight; that may not be seen.
    drawn = np.interp(
        np.log(curve.frequency_hz), np.log(lines["limit"].get_xdata() * 1e6), lines["limit"].get_ydata()
    )
    assert np.abs(drawn - curve.value).max() <= 1e-3 * np.ptp(curve.value)
    assert list(lines["worst"].get_xdata()) == [row.frequency_hz / 1e6]
    assert list(lines["worst"].get_ydata()) == [row.value]
    (worst,) = [line for line in axes.get_lines() if line.get_label() == "-".join(row.pairs)]
    at = np.flatnonzero(worst.get_xdata() == row.frequency_hz / 1e6)
    assert worst.get_ydata()[at] == [row.value]
    assert axes.get_title(loc="left") == (
        f"end B: fail, worst {'-'.join(row.pairs)} {row.worst_margin_db:+.2f} dB"
        f" at {row.frequency_hz / 1e6:.2f} MHz"
    )
    low, high = axes.get_ylim()
    assert low < row.value < high


def test_every_trace_can_be_told_without_colour(build: SimpleNamespace) -> None:
    item = build.item()
    traces = [t for t in item.traces if t.parameter is Parameter.NEXT and t.end == "A"]
    axes = Figure().add_subplot()
    _panel(axes, "A", traces, [])
    lines = [line for line in axes.get_lines() if line.get_gid() == "trace"]
    styles = {(str(line._unscaled_dash_pattern), line.get_marker()) for line in lines}
    assert len(styles) == len(traces) == 12


@pytest.mark.parametrize("parameter", [Parameter.NEXT, Parameter.TCL, Parameter.SKEW])
def test_the_drawing_is_sound_svg_with_all_labels(parameter: Parameter, build: SimpleNamespace) -> None:
    item = build.item()
    traces = [t for t in item.traces if t.parameter is parameter]
    rows = {row.end: row for row in worst_rows(item.verdict) if row.parameter is parameter}
    curve = item.limits.get(parameter)
    bars = [Bar("limit", curve, rows)] if curve is not None else []
    svg = draw_parameter(parameter, traces, bars)
    root = ET.fromstring(svg)
    words = [text for node in root.iter(f"{SVG}text") if (text := "".join(node.itertext()))]
    ends = {trace.end for trace in traces}
    for trace in traces:
        assert words.count("-".join(trace.pairs)) >= len(ends)
    assert ("limit" in words) == (parameter in item.limits)
    assert root.get("role") == "img"
    assert root.get("aria-label")
    names = re.findall(r' id="([^"]*)"', svg)
    assert len(names) == len(set(names))
    used = set(re.findall(r"(?:url\(#|href=\"#)([^)\"]*)", svg))
    assert used <= set(names)
    assert svg == draw_parameter(parameter, traces, bars)


def test_odd_traces_are_drawn_without_a_word() -> None:
    grid = np.array([1e6])
    nothing = Trace(Parameter.NEXT, "A", ("$x_<$", "&\x00"), grid, np.array([np.inf]))
    one = Trace(Parameter.NEXT, "A", ("12", "36"), grid, np.array([40.0]))
    unlimited = LimitCurve(Parameter.NEXT, "min", grid, np.array([np.nan]), "from-memory", "x")
    for traces in ([nothing], [nothing, one]):
        ET.fromstring(draw_parameter(Parameter.NEXT, traces, [Bar("limit", unlimited, {})]))


def _step(parameter: Parameter, level: float, held: np.ndarray | None = None) -> LimitCurve:
    return LimitCurve(parameter, "min", GRID, np.where(GRID > 80e6, np.nan, level), "from-memory", "x", held)


GRID = np.linspace(1e6, 100e6, 100)


@given(seed=st.integers(0, 2**31), size=st.integers(1, 400))
def test_straight_lines_follow_a_curve_and_keep_its_gaps(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 10, size))
    x += np.arange(size) * 1e-6
    y = np.cumsum(rng.normal(size=size))
    y[rng.random(size) < 0.1] = np.nan
    index = straightened(x, y, 0.05)
    assert np.all(np.diff(index) > 0)
    finite = np.isfinite(y)
    if not finite.any():
        return
    # Every finite stretch has its ends, and between two of them stands a gap.
    edges = np.flatnonzero(np.diff(finite.astype(int)))
    assert {*edges.tolist(), *(edges + 1).tolist()} <= set(index.tolist())
    drawn = np.interp(x[finite], x[index][finite[index]], y[index][finite[index]])
    assert np.abs(drawn - y[finite]).max() <= 0.05 * (np.ptp(y[finite]) or 1.0) + 1e-12


def test_what_does_not_count_is_drawn_thin_and_not_shaded() -> None:
    held = GRID < 10e6
    curve = _step(Parameter.RETURN_LOSS, 20.0, held)
    traces = [Trace(Parameter.RETURN_LOSS, "A", (pair,), GRID, np.full(100, 30.0)) for pair in ("12", "36")]
    low, lower = GRID < 40e6, GRID < 5e6
    masks = {
        (Parameter.RETURN_LOSS, "A", ("12",)): low,
        (Parameter.RETURN_LOSS, "A", ("36",)): lower,
    }
    axes = Figure().add_subplot()
    bars = [Bar("limit", curve, {}, masks)]
    _panel(axes, "A", traces, bars)
    lines: dict[str, list] = {}
    for line in axes.get_lines():
        lines.setdefault(line.get_gid(), []).append(line)
    for line, mask in zip(lines["trace"], (low, lower), strict=True):
        assert np.array_equal(np.isfinite(line.get_ydata()), ~mask)
    for line, mask in zip(lines["aside"], (low, lower), strict=True):
        assert np.all(np.isfinite(line.get_ydata())[mask])
        assert line.get_linewidth() < lines["trace"][0].get_linewidth()
    # The limit counts for pair 36 from 5 MHz on: below it is thin, above it heavy up to its end at 80 MHz.
    (heavy,), (thin,), (core,) = lines["limit"], lines["idle"], lines["held"]
    at = heavy.get_xdata()
    assert (at[np.isfinite(heavy.get_ydata())].min(), at[np.isfinite(heavy.get_ydata())].max()) == (5.0, 80.0)
    assert thin.get_xdata()[np.isfinite(thin.get_ydata())].min() == 1.0
    # It is hollow where its cap holds and where it counts.
    at = core.get_xdata()[np.isfinite(core.get_ydata())]
    assert (at.min(), at.max()) == (5.0, 9.0)
    shade(axes, traces, bars)
    (area,) = axes.collections
    assert area.get_paths()[0].get_extents().x0 == 5.0


def test_several_limits_are_numbered_and_alike_ones_share_a_line() -> None:
    trace = Trace(Parameter.NEXT, "A", ("12", "36"), GRID, np.full(100, 45.0))
    row = VerdictRow(
        Parameter.NEXT, "A", ("12", "36"), 5.0, 10e6, 45.0, 40.0, None, Outcome.PASS, "from-memory"
    )
    bars = [
        Bar("limit 1", _step(Parameter.NEXT, 40.0), {"A": row}),
        Bar("limit 2", _step(Parameter.NEXT, 50.0), {"A": dataclasses.replace(row, outcome=Outcome.FAIL)}),
        Bar("limit 4", _step(Parameter.NEXT, 40.0), {"A": row}),
    ]
    assert [name for name, _, _ in merged(bars)] == ["limit 1, 4", "limit 2"]
    svg = draw_parameter(Parameter.NEXT, [trace], bars)
    words = [text for node in ET.fromstring(svg).iter(f"{SVG}text") if (text := "".join(node.itertext()))]
    assert {"1, 4", "2", "1, 2, 4"} <= set(words)
    assert "limit 2: fail, 12-36 +5.00 dB at 10.000 MHz" in words
    many = [Bar(f"limit {n}", _step(Parameter.NEXT, 40.0 + n), {"A": row}) for n in range(1, 10)]
    assert left_out(many) == "limit 7; limit 8; limit 9"
    words = [
        "".join(node.itertext())
        for node in ET.fromstring(draw_parameter(Parameter.NEXT, [trace], many)).iter(f"{SVG}text")
    ]
    assert "end A: 9 pass" in words


def test_the_worst_trace_is_drawn_as_a_requirement_grades_it() -> None:
    trace = Trace(Parameter.INSERTION_LOSS, "B", ("12",), GRID, np.full(100, 10.0))
    graded = dataclasses.replace(trace, value=np.full(100, 20.0))
    row = VerdictRow(
        Parameter.INSERTION_LOSS, "B", ("12",), 1.0, 10e6, 20.0, 21.0, None, Outcome.PASS, "from-memory"
    )
    bar = Bar("limit 1", None, {"B": row}, graded={(Parameter.INSERTION_LOSS, "B", ("12",)): graded})
    axes = Figure().add_subplot()
    _panel(axes, "B", [trace], [bar])
    lines = {line.get_gid(): line for line in axes.get_lines()}
    assert np.array_equal(lines["trace"].get_ydata(), trace.value)
    assert np.array_equal(lines["graded"].get_ydata(), graded.value)
