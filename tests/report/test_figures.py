"""What is drawn is what was measured: limit, worst point and extremes are where the numbers are."""

from __future__ import annotations

import re
from itertools import pairwise
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from benchsweep.records import LimitCurve, Parameter, Trace
from benchsweep.report._drawing import apart, thinned
from benchsweep.report._figures import _panel, draw_parameter
from benchsweep.report._limits import Bar
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
    assert np.array_equal(lines["limit"].get_ydata(), curve.value)
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
    styles = {(str(line._unscaled_dash_pattern), line.get_marker()) for line in axes.get_lines()}
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
