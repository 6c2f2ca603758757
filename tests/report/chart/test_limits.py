"""Limits and marks as drawn."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest

from benchsweep.report.chart import Axis, Chart, Curve, LimitLine, Look, Mark, Panel, Span
from tests.report.chart.second_reader import SVG, Read, holds, pieces, with_look

X = np.linspace(1.0, 500.0, 101)
VALUES = Axis("NEXT", "dB", low=0.0, high=100.0)
BLUE = Look("#0072B2")


def read(**more: Any) -> Read:
    panel = Panel(
        "end A", more.pop("x", Axis("frequency", "MHz", low=0.0, high=500.0)), more.pop("y", VALUES), **more
    )
    return Read(Chart("c", "a chart", (panel,)))


def shades(told: Read) -> list[Any]:
    return [path for path in told.panels[0].findall(f"{SVG}path") if path.attrib["fill"] == "#e6e6e6"]


@pytest.mark.parametrize(("sense", "fails"), [("min", -1.0), ("max", 1.0)])
def test_the_side_that_fails_is_shaded(sense: Any, fails: float) -> None:
    y = 40.0 + X / 20.0
    told = read(limits=(LimitLine("limit", X, y, sense),))
    (shade,) = shades(told)
    shape = pieces(shade.attrib["d"])
    for at in (20.0, 250.0, 480.0):
        for away in (1.0, 10.0, 30.0):
            edge = 40.0 + at / 20.0
            assert holds(shape, *told.scale().at(at, edge + fails * away))
            assert not holds(shape, *told.scale().at(at, edge - fails * away))


def test_a_limit_beyond_the_panel_shades_all_or_nothing() -> None:
    """A curve may lie far above a minimum: then nothing of the panel fails."""
    told = read(limits=(LimitLine("limit", X, np.full(101, -20.0), "min"),))
    (shade,) = shades(told)
    assert "clip-path" in shade.attrib
    told = read(limits=(LimitLine("limit", X, np.full(101, 120.0), "min"),))
    (shade,) = shades(told)
    assert holds(pieces(shade.attrib["d"]), *told.scale().at(250.0, 99.0))


def test_where_no_limit_is_nothing_is_shaded() -> None:
    y = np.where((X > 100.0) & (X < 200.0), np.nan, 50.0)
    told = read(limits=(LimitLine("limit", X, y, "min"),))
    (line,) = told.limits()
    assert len(pieces(line.attrib["d"])) == 2
    shape = pieces(shades(told)[0].attrib["d"])
    assert holds(shape, *told.scale().at(50.0, 25.0))
    assert holds(shape, *told.scale().at(300.0, 25.0))
    assert not holds(shape, *told.scale().at(150.0, 25.0))


def test_a_limit_is_drawn_where_its_values_are() -> None:
    """Between its few points it is drawn straight; that may not be seen."""
    x = np.linspace(1.0, 500.0, 801)
    y = 42.0 - 18.0 * np.log10(x / 100.0)
    told = read(x=Axis("frequency", "MHz", log=True), limits=(LimitLine("limit", x, y, "min"),))
    (line,) = told.limits()
    (drawn,) = pieces(line.attrib["d"])
    true = [told.scale().at(a, b) for a, b in zip(x, y, strict=True)]
    at = np.interp([a for a, _ in true], [a for a, _ in drawn], [b for _, b in drawn])
    assert np.abs(at - [b for _, b in true]).max() <= 0.2
    assert len(drawn) < 250


def test_where_a_limit_counts_for_nothing_it_is_thin_and_not_shaded() -> None:
    told = read(limits=(LimitLine("limit", X, np.full(101, 50.0), "min", idle=X > 300.0),))
    heavy, thin = told.limits()
    assert float(heavy.attrib["stroke-width"]) > 1.5 > 0.7 > float(thin.attrib["stroke-width"])
    border = told.scale().at(300.0, 0.0)[0]
    assert max(x for x, _ in pieces(heavy.attrib["d"])[0]) <= border
    assert max(x for x, _ in pieces(thin.attrib["d"])[0]) == pytest.approx(
        told.scale().at(500.0, 0.0)[0], abs=0.1
    )
    assert not holds(pieces(shades(told)[0].attrib["d"]), *told.scale().at(400.0, 25.0))


def test_where_a_cap_holds_a_limit_is_hollow() -> None:
    told = read(limits=(LimitLine("limit", X, np.full(101, 50.0), "min", held=X < 100.0),))
    heavy, core = told.limits()
    # Not where it counts for nothing: there it is thin.
    both = read(limits=(LimitLine("limit", X, np.full(101, 50.0), "min", held=X < 100.0, idle=X < 50.0),))
    hollow = both.limits()[-1]
    assert hollow.attrib["stroke"] == "#fff"
    assert min(x for x, _ in pieces(hollow.attrib["d"])[0]) >= both.scale().at(50.0, 0.0)[0] - 0.06
    assert core.attrib["stroke"] == "#fff"
    assert float(core.attrib["stroke-width"]) < float(heavy.attrib["stroke-width"])
    assert max(x for x, _ in pieces(core.attrib["d"])[0]) <= told.scale().at(100.0, 0.0)[0]


def test_several_limits_differ_by_their_dashes_and_are_numbered_at_their_ends() -> None:
    limits = tuple(
        LimitLine(f"limit {i}", X[: 100 - 10 * i], np.full(100 - 10 * i, 20.0 + 6.0 * i), "min", short=str(i))
        for i in range(1, 7)
    )
    told = read(limits=limits)
    dashes = [line.attrib.get("stroke-dasharray", "") for line in told.limits()]
    assert len(set(dashes)) == 6
    words = {text.words: text for text in told.texts()}
    assert {"1", "2", "3", "4", "5", "6"} <= set(words)
    for i, limit in enumerate(limits, start=1):
        x, y = told.scale().at(float(limit.x[-1]), 20.0 + 6.0 * i)
        text = words[str(i)]
        assert x - 35.0 <= text.right <= x
        assert abs((text.top + text.bottom) / 2.0 - y) <= 20.0
    assert [limit["name"] for limit in told.told["panels"][0]["limits"]] == [
        f"limit {i}" for i in range(1, 7)
    ]


def test_a_worst_point_is_ringed_and_its_interval_is_a_bar() -> None:
    told = read(marks=(Mark(250.0, 40.0, "worst", low=5.0, high=10.0, pairs=("12", "36")),))
    (mark,) = told.marks()
    assert mark.attrib["data-pairs"] == "12 36"
    (ring,) = mark.findall(f"{SVG}circle")
    x, y = told.scale().at(250.0, 40.0)
    assert (float(ring.attrib["cx"]), float(ring.attrib["cy"])) == (
        pytest.approx(x, abs=0.06),
        pytest.approx(y, abs=0.06),
    )
    assert ring.attrib["fill"] == "none"
    bar, *caps = pieces(mark.findall(f"{SVG}path")[0].attrib["d"])
    assert [at for _, at in bar] == pytest.approx(
        [told.scale().at(0.0, 35.0)[1], told.scale().at(0.0, 50.0)[1]], abs=0.06
    )
    assert len(caps) == 2


@pytest.mark.parametrize(
    ("low", "high", "caps"),
    [(1.0, math.inf, 1), (math.inf, 1.0, 1), (math.inf, math.inf, 0), (1.0, 200.0, 1)],
)
def test_an_interval_without_end_reaches_to_the_side(low: float, high: float, caps: int) -> None:
    told = read(marks=(Mark(250.0, 40.0, low=low, high=high),))
    _, top, _, height = told.told["panels"][0]["box"]
    bar, *ends = pieces(told.marks()[0].findall(f"{SVG}path")[0].attrib["d"])
    assert len(ends) == caps
    assert (bar[1][1] == pytest.approx(top, abs=0.06)) is (high > 100.0)
    assert (bar[0][1] == pytest.approx(top + height, abs=0.06)) is (low > 100.0)


def test_where_acceptance_begins_is_a_short_level_bar() -> None:
    told = read(marks=(Mark(250.0, 40.0, "acceptance"),))
    ((begin, end),) = pieces(told.marks()[0].findall(f"{SVG}path")[0].attrib["d"])
    assert begin[1] == end[1] == pytest.approx(told.scale().at(0.0, 40.0)[1], abs=0.06)
    assert 8.0 <= end[0] - begin[0] <= 14.0


@pytest.mark.parametrize(("value", "edge"), [(300.0, "top"), (-300.0, "bottom")])
def test_a_mark_beyond_the_panel_is_a_head_at_its_side(value: float, edge: str) -> None:
    told = read(marks=(Mark(250.0, value),))
    _, top, _, height = told.told["panels"][0]["box"]
    (head,) = told.marks()[0].findall(f"{SVG}path")
    tip = pieces(head.attrib["d"])[0][0]
    assert tip[1] == pytest.approx(top if edge == "top" else top + height, abs=0.06)


def test_a_mark_outside_the_x_axis_or_without_a_place_is_not_drawn() -> None:
    assert read(marks=(Mark(900.0, 40.0), Mark(250.0, math.nan), Mark(math.nan, 3.0))).marks() == []


def test_words_of_marks_stand_beside_them_and_not_on_each_other() -> None:
    marks = tuple(Mark(250.0 + 3.0 * i, 50.0, words=f"{i}, {i + 1}") for i in range(5))
    told = read(marks=marks)
    texts = [text for text in told.texts() if ", " in text.words]
    assert len(texts) == 5
    for i, one in enumerate(texts):
        for other in texts[i + 1 :]:
            assert (
                one.right <= other.left
                or other.right <= one.left
                or one.bottom <= other.top
                or other.bottom <= one.top
            )


def test_levels_run_across_where_they_are() -> None:
    told = read(levels=(0.0, 50.0, 400.0))
    (path,) = [
        path for path in told.panels[0].findall(f"{SVG}path") if path.attrib.get("stroke-width") == ".5"
    ]
    drawn = [line[0][1] for line in pieces(path.attrib["d"])]
    assert drawn == pytest.approx([told.scale().at(0.0, 0.0)[1], told.scale().at(0.0, 50.0)[1]], abs=0.06)


def test_spans_are_hatched_and_cut_off_at_the_panel() -> None:
    told = read(
        spans=(
            Span(100.0, 200.0, "1"),
            Span(450.0, 900.0, "2"),
            Span(600.0, 700.0, "3"),
            Span(300.0, 300.0, "4"),
            Span(0.0, 0.0, faint=True),
        )
    )
    (pattern,) = told.root.iter(f"{SVG}pattern")
    hatched = [
        rect
        for rect in told.panels[0].findall(f"{SVG}rect")
        if rect.attrib["fill"] == f"url(#{pattern.attrib['id']})"
    ]
    ends = [
        (float(rect.attrib["x"]), float(rect.attrib["x"]) + float(rect.attrib["width"])) for rect in hatched
    ]
    at = [told.scale().at(x, 0.0)[0] for x in (100.0, 200.0, 450.0, 500.0)]
    assert [edge for span in ends for edge in span] == pytest.approx(at, abs=0.11)
    words = [text.words for text in told.texts()]
    assert {"1", "2", "4"} <= set(words)
    assert "3" not in words
    lines = [
        path
        for path in told.panels[0].findall(f"{SVG}path")
        if path.attrib.get("stroke-dasharray") == ".6 1.4"
    ]
    assert len(lines) == 1


def test_words_of_spans_keep_apart() -> None:
    told = read(spans=tuple(Span(250.0 + i, 250.5 + i, str(10 + i)) for i in range(6)))
    texts = sorted(
        (text for text in told.texts() if text.words in {str(10 + i) for i in range(6)}),
        key=lambda text: text.left,
    )
    assert [text.words for text in texts] == [str(10 + i) for i in range(6)]
    assert all(a.right < b.left for a, b in itertools.pairwise(texts))
    _, top, _, _ = told.told["panels"][0]["box"]
    assert all(text.bottom <= top for text in texts)


def test_a_note_has_its_length_beside_it() -> None:
    told = read(note="resolution 50 MHz", note_length=50.0)
    assert "resolution 50 MHz" in [text.words for text in told.texts()]
    (bar,) = with_look(told.panels[0], stroke="#000", stroke_width="1")
    line = bar.attrib["d"].split("m")[0]
    ((begin, end),) = pieces(line)
    left, _, width, _ = told.told["panels"][0]["box"]
    assert end[0] - begin[0] == pytest.approx(width * 50.0 / 500.0, abs=0.1)
    assert left < begin[0] < end[0] < left + width


def test_a_note_keeps_off_the_curves_if_one_corner_is_free() -> None:
    for value, lower in ((95.0, True), (5.0, False)):
        told = read(note="resolution", curves=(Curve("", X, np.full(101, value), BLUE),))
        (note,) = [text for text in told.texts() if text.words == "resolution"]
        _, top, _, height = told.told["panels"][0]["box"]
        assert ((note.bottom - top) / height > 0.5) is lower
