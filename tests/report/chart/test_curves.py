"""Curves as drawn, mapped back to the values they show."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.report.chart import Axis, Band, Chart, Curve, Look, Mark, Panel
from tests.report.chart.second_reader import SVG, Point, Read, grid_of, holds, line_of, pieces, with_look

BLUE = Look("#0072B2")
FREQUENCY = Axis("frequency", "MHz", log=True)
X = np.linspace(1.0, 500.0, 1001)


def chart(*curves: Curve, **more: Any) -> Chart:
    panel = Panel("end A", more.pop("x", FREQUENCY), more.pop("y", Axis("NEXT", "dB")), curves, **more)
    return Chart("c", "a chart", (panel,))


def rough(seed: int, size: int = 1001) -> np.ndarray:
    generator = np.random.default_rng(seed)
    return 40.0 + np.cumsum(generator.normal(size=size)) + 20.0 * (generator.uniform(size=size) > 0.99)


def heights(line: list[Point], begin: float, end: float) -> tuple[float, float]:
    """Return least and greatest y of a line over a stretch of x, its ends between points included."""
    found = []
    for (x0, y0), (x1, y1) in itertools.pairwise(line):
        low, high = max(min(x0, x1), begin), min(max(x0, x1), end)
        if low > high:
            continue
        for x in (low, high):
            share = (x - x0) / (x1 - x0) if x1 != x0 else 0.0
            found.append(y0 + share * (y1 - y0))
        if x0 == x1:
            found += [y0, y1]
    return min(found), max(found)


@pytest.mark.parametrize("log", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_least_and_greatest_of_each_stretch_are_drawn(log: bool, seed: int) -> None:
    # A number of points that puts none on the border of two stretches.
    grid, y = np.linspace(1.0, 500.0, 997), rough(seed, 997)
    read = Read(chart(Curve("12", grid, y, BLUE), x=Axis("frequency", "MHz", log=log)))
    (line,) = line_of(read.curve())
    scale = read.scale()
    left, _, width, _ = read.told["panels"][0]["box"]
    places = [scale.at(a, b) for a, b in zip(grid.tolist(), y.tolist(), strict=True)]
    for i in range(250):
        begin, end = left + i * width / 250.0, left + (i + 1) * width / 250.0
        inside = [at for x, at in places if begin <= x < end]
        if inside:
            least, greatest = heights(line, begin - 0.06, end + 0.06)
            assert least <= min(inside) + 0.5
            assert greatest >= max(inside) - 0.5
    # And nothing is drawn that no value stands for.
    lowest, highest = min(at for _, at in places), max(at for _, at in places)
    assert all(lowest - 0.1 <= at <= highest + 0.1 for _, at in line)


def test_however_many_points_there_are_few_are_drawn() -> None:
    """Two for each of 250 stretches, and both ends."""
    x = np.linspace(1.0, 500.0, 50_001)
    read = Read(chart(Curve("12", x, rough(9, x.size), BLUE)))
    (line,) = line_of(read.curve())
    assert 250 < len(line) <= 2 * 250 + 2


@pytest.mark.parametrize("place", [0, 1, 377, 999, 1000])
def test_the_point_of_a_mark_is_drawn(place: int) -> None:
    """Halfway between its neighbours no stretch would keep it."""
    y = np.abs(np.arange(1001) - 500.0)
    curve = Curve("12", X, y, BLUE, ("12",))
    read = Read(chart(curve, marks=(Mark(float(X[place]), float(y[place]), pairs=("12",)),)))
    x_at, y_at = read.scale().at(X[place], y[place])
    (line,) = line_of(read.curve())
    assert min(max(abs(x - x_at), abs(y - y_at)) for x, y in line) <= 0.11


def test_a_straight_line_takes_few_points() -> None:
    read = Read(chart(Curve("12", X, 3.0 + 0.1 * X, BLUE), x=Axis("f")))
    (line,) = line_of(read.curve())
    assert len(line) < 40
    x0, y0 = read.scale().at(1.0, 3.1)
    x1, y1 = read.scale().at(500.0, 53.0)
    assert all(abs(y - (y0 + (x - x0) * (y1 - y0) / (x1 - x0))) <= 0.15 for x, y in line)


def test_a_smooth_curve_is_followed() -> None:
    y = 10.0 + 5.0 * np.sin(X / 40.0)
    read = Read(chart(Curve("12", X, y, BLUE), x=Axis("f")))
    (line,) = line_of(read.curve())
    drawn = np.interp([read.scale().at(a, 0.0)[0] for a in X], [x for x, _ in line], [at for _, at in line])
    true = [read.scale().at(0.0, b)[1] for b in y]
    assert np.max(np.abs(drawn - true)) <= 0.06 + 0.2  # what is left out, and a tenth of a unit of each end


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.one_of(st.floats(-5.0, 5.0), st.sampled_from([math.nan, math.inf, -math.inf])), min_size=1)
)
def test_gaps_stay_gaps(values: list[float]) -> None:
    x = np.arange(1.0, len(values) + 1.0)
    read = Read(chart(Curve("12", x, np.array(values), BLUE), x=Axis("x"), y=Axis("y", low=-5.0, high=5.0)))
    scale = read.scale()
    runs = [
        list(run)
        for there, run in itertools.groupby(range(len(values)), lambda i: math.isfinite(values[i]))
        if there
    ]
    drawn = line_of(read.curve())
    assert len(drawn) == len(runs)
    for run, line in zip(runs, drawn, strict=True):
        for place, (at_x, at_y) in ((run[0], line[0]), (run[-1], line[-1] if len(run) > 1 else line[0])):
            x_at, y_at = scale.at(x[place], values[place])
            assert abs(at_x - x_at) <= 0.051
            assert abs(at_y - y_at) <= 0.051


def test_a_lone_point_can_be_seen() -> None:
    read = Read(chart(Curve("12", np.array([7.0]), np.array([3.0]), BLUE)))
    (dot,) = read.curve().findall(f"{SVG}circle")
    x, y = read.scale().at(7.0, 3.0)
    assert float(dot.attrib["cx"]) == pytest.approx(x, abs=0.06)
    assert float(dot.attrib["cy"]) == pytest.approx(y, abs=0.06)
    assert float(dot.attrib["r"]) >= 1.0


@pytest.mark.parametrize("y", [np.full(5, np.nan), np.full(5, np.inf), np.empty(0)])
def test_a_curve_without_values_draws_nothing(y: np.ndarray) -> None:
    read = Read(chart(Curve("12", np.arange(1.0, y.size + 1.0), y, BLUE), Curve("36", X, X, BLUE)))
    assert list(read.curve(0)) == []
    assert line_of(read.curve(1))


def test_a_constant_curve_lies_in_the_middle() -> None:
    read = Read(chart(Curve("12", X, np.full(1001, 7.0), BLUE)))
    (line,) = line_of(read.curve())
    _, top, _, height = read.told["panels"][0]["box"]
    assert [y for _, y in line] == pytest.approx([top + height / 2.0] * len(line), abs=0.06)


def test_values_far_outside_are_cut_off_at_the_panel() -> None:
    y = np.where(X > 250.0, 1e9, 5.0)
    read = Read(
        chart(
            Curve("12", X, y, BLUE), Curve("36", X, np.full(1001, 5.0), BLUE), y=Axis("y", low=0.0, high=10.0)
        )
    )
    (cut,) = with_look(read.curve(0), fill="none", stroke="#0072B2", stroke_width="0.9")
    name = cut.attrib["clip-path"].removeprefix("url(#").removesuffix(")")
    (clip,) = [one for one in read.root.iter(f"{SVG}clipPath") if one.attrib["id"] == name]
    box = [float(clip[0].attrib[key]) for key in ("x", "y", "width", "height")]
    assert box == read.told["panels"][0]["box"]
    assert all("clip-path" not in path.attrib for path in read.curve(1).iter())


def test_where_nothing_counts_a_curve_is_thin_and_grey() -> None:
    idle = X > 300.0
    read = Read(chart(Curve("12", X, rough(5), BLUE, idle=idle)))
    (line,) = line_of(read.curve())
    (thin,) = with_look(read.curve(), stroke="#8a8a8a")
    border = read.scale().at(300.0, 0.0)[0]
    step = read.scale().at(300.5, 0.0)[0] - border
    assert max(x for x, _ in line) <= border + 0.06
    (grey,) = pieces(thin.attrib["d"])
    assert border - step - 0.06 <= min(x for x, _ in grey) <= border + 0.06, "no gap between the two"
    assert max(x for x, _ in grey) == pytest.approx(read.scale().at(500.0, 0.0)[0], abs=0.06)


def test_how_sure_a_curve_is() -> None:
    y, low, high = 40.0 + 5.0 * np.sin(X / 60.0), np.full(1001, 2.0), np.full(1001, 3.0)
    read = Read(
        chart(
            Curve("36", X, y - 9.0, BLUE),
            Curve("12", X, y, BLUE, low=low, high=high),
            x=Axis("f"),
            y=Axis("y", low=0.0, high=120.0),
        )
    )
    band = read.curve(1).find(f"{SVG}path[@fill='#0072B2']")
    assert band is not None
    shape = pieces(band.attrib["d"])
    for place in range(3, 1000, 50):
        x, value = X[place], y[place]
        for offset, inside in ((-2.3, False), (-1.7, True), (2.7, True), (3.3, False)):
            assert holds(shape, *read.scale().at(x, value + offset)) is inside
    assert band.attrib["stroke"] == "#0072B2", "an edge that is seen without colour"
    assert float(band.attrib["fill-opacity"]) < 0.3


def test_a_curve_that_is_known_to_be_sure_is_drawn_over_the_others() -> None:
    sure = Curve("12", X, rough(7), BLUE, ("12",), low=np.ones(1001), high=np.ones(1001))
    read = Read(chart(sure, Curve("36", X, rough(8), BLUE, ("36",))))
    assert [group.attrib["data-pairs"] for group in (read.curve(0), read.curve(1))] == ["36", "12"]


def test_what_is_sure_to_no_extent_fills_the_panel() -> None:
    high = np.where(X < 100.0, np.inf, 1.0)
    high[-1] = np.nan
    read = Read(
        chart(
            Curve("12", X, np.full(1001, 5.0), BLUE, low=np.ones(1001), high=high),
            x=Axis("f"),
            y=Axis("y", low=0.0, high=10.0),
        )
    )
    band = read.curve().find(f"{SVG}path[@fill='#0072B2']")
    assert band is not None
    assert "clip-path" in band.attrib
    shape = pieces(band.attrib["d"])
    assert holds(shape, *read.scale().at(50.0, 9.9))
    assert not holds(shape, *read.scale().at(200.0, 9.9))
    assert max(x for x, _ in shape[0]) < read.scale().at(500.0, 0.0)[0] - 0.1, "not known at the last point"


def test_markers_stand_on_their_curve_and_apart_from_those_of_others() -> None:
    look = Look("#0072B2", marker="square")
    curves = [Curve(str(i), X, np.full(1001, float(i)), look) for i in range(3)]
    read = Read(chart(*curves))
    seen = []
    for i in range(3):
        (shape,) = [path for path in read.curve(i).findall(f"{SVG}path") if path.attrib["fill"] == "#fff"]
        starts = [part.split("m")[0].split() for part in shape.attrib["d"].split("M")[1:]]
        places = [(float(x), float(y)) for x, y in starts]
        assert 3 <= len(places) <= 5
        assert all(y == pytest.approx(read.scale().at(1.0, float(i))[1], abs=0.06) for _, y in places)
        seen += [x for x, _ in places]
    assert min(b - a for a, b in itertools.pairwise(sorted(seen))) > 3.0


def test_dots_stand_where_their_values_are() -> None:
    x, y = np.array([3.0, 1.0, np.nan, 2.0]), np.array([1.0, 2.0, 3.0, np.nan])
    look = Look("#0072B2", width=0.0, marker="circle", filled=True)
    read = Read(chart(Curve("12", x, y, look), x=Axis("reading")))
    (shape,) = read.curve().findall(f"{SVG}path[@fill='#0072B2']")
    starts = [
        [float(value) for value in part.split("m")[0].split()] for part in shape.attrib["d"].split("M")[1:]
    ]
    wanted = [read.scale().at(3.0, 1.0), read.scale().at(1.0, 2.0)]
    assert starts == [pytest.approx(list(point), abs=0.06) for point in wanted]
    told = read.told["panels"][0]
    assert grid_of(told["grids"][0]) == [1.0, 2.0, 3.0], "in order, for a reader who steps through"


def test_a_band_lies_between_its_edges() -> None:
    band = Band("least to greatest", X, np.full(1001, 2.0), np.where(X > 400.0, np.nan, 4.0 + X / 500.0))
    panel = Panel("", Axis("f"), Axis("y", low=0.0, high=10.0), bands=(band,))
    read = Read(Chart("c", "w", (panel,)))
    (path,) = [path for path in read.panels[0].findall(f"{SVG}path") if "fill-opacity" in path.attrib]
    shape = pieces(path.attrib["d"])
    assert holds(shape, *read.scale().at(200.0, 3.0))
    assert holds(shape, *read.scale().at(350.0, 4.6))
    assert not holds(shape, *read.scale().at(350.0, 4.8))
    assert not holds(shape, *read.scale().at(450.0, 3.0))
