"""A whole chart: what SVG it is, where its parts stand, and what can be read off it."""

from __future__ import annotations

import itertools
import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchsweep.report.chart import Axis, Chart, Curve, LimitLine, Look, Mark, Panel, Span, picture
from tests.report.chart.second_reader import SVG, Read, Text, _text, grid_of, line_of, unpacked

LOOKS = (
    Look("#0072B2", marker="circle"),
    Look("#D55E00", (6.0, 2.0), marker="square"),
    Look("#009E73", (1.5, 1.2), marker="triangle"),
    Look("#AA4499", (6.0, 1.5, 1.2, 1.5), marker="diamond"),
)
HOSTILE = "</svg><script>alert('1')</script>]]>\"&\x00\u202e"


def rough(seed: int, size: int) -> np.ndarray:
    generator = np.random.default_rng(seed)
    return 60.0 - 20.0 * np.linspace(0.0, 1.0, size) + 4.0 * generator.normal(size=size)


def panel(title: str = "end A", count: int = 6, size: int = 60, **more: Any) -> Panel:
    x = np.linspace(1.0, 500.0, size)
    curves = tuple(
        Curve(
            f"12-{i}",
            x,
            rough(i, size),
            LOOKS[i % 4],
            ("12", f"3{i}"),
            0,
            x > 300.0,
            np.ones(size),
            np.ones(size),
        )
        if i == 0
        else Curve(f"12-{i}", x, rough(i, size), LOOKS[i % 4], ("12", f"3{i}"), 0)
        for i in range(count)
    )
    limit = LimitLine("limit", x, 40.0 - x / 50.0, "min", held=x < 50.0)
    marks = (
        Mark(x[30], curves[0].y[30], words="1", low=1.0, high=2.0, pairs=("12", "30"))
        if count
        else Mark(2.0, 3.0),
    )
    return Panel(
        title, Axis("frequency", "MHz", log=True), Axis("NEXT", "dB"), curves, (limit,), marks, **more
    )


def whole() -> Chart:
    spans = (Span(50.0, 100.0, "1"), Span(200.0, 200.0, "2"))
    return Chart(
        "all", "everything at once", (panel(spans=spans, levels=(50.0,), note="a note"), panel("end B\nmore"))
    )


def test_it_is_svg_without_style_script_or_reference_to_the_outside() -> None:
    read = Read(whole())
    assert read.root.tag == f"{SVG}svg"
    assert read.root.attrib["role"] == "img"
    assert read.root.attrib["aria-label"] == "everything at once"
    assert read.root.attrib["class"] == "chart"
    allowed = {"svg", "g", "path", "text", "rect", "circle", "defs", "clipPath", "pattern"}
    assert {element.tag.removeprefix(SVG) for element in read.root.iter()} <= allowed
    attributes = {name for element in read.root.iter() for name in element.attrib}
    assert not attributes & {"style", "href"}
    assert not any(name.startswith("on") for name in attributes)
    assert read.root.attrib["font-family"] == "Helvetica Neue, Arial, Liberation Sans, sans-serif"
    assert [element for element in read.root.iter() if "font-family" in element.attrib] == [read.root]


def test_names_of_definitions_are_those_of_the_chart_and_each_leads_somewhere() -> None:
    read = Read(whole())
    ids = [element.attrib["id"] for element in read.root.iter() if "id" in element.attrib]
    assert len(ids) == len(set(ids))
    assert all(name.startswith("all-") for name in ids)
    used = set(re.findall(r"url\(#([^)]*)\)", read.picture.svg))
    assert used
    assert used <= set(ids)


def test_the_same_chart_gives_the_same_letters() -> None:
    assert picture(whole()) == picture(whole())


def test_a_readout_is_left_out_where_nobody_can_use_it() -> None:
    told = picture(whole(), readout=False, font="Libertinus Serif")
    assert told.readout == ""
    assert 'font-family="Libertinus Serif"' in told.svg
    assert told.svg.replace("Libertinus Serif", "X") == picture(whole(), font="X").svg


def test_hostile_names_are_words_and_nothing_else() -> None:
    x = np.linspace(1.0, 500.0, 20)
    curve = Curve(HOSTILE, x, x, LOOKS[0], (HOSTILE, "36"), None)
    limit = LimitLine(HOSTILE, x, x, "min", short=HOSTILE)
    axis = Axis(HOSTILE, HOSTILE, ticks=((100.0, HOSTILE),))
    hostile = Panel(
        HOSTILE,
        axis,
        axis,
        (curve,),
        (limit, limit),
        (Mark(100.0, 100.0, words=HOSTILE, pairs=(HOSTILE,)),),
        (),
        (Span(50.0, 90.0, HOSTILE),),
        (),
        HOSTILE,
    )
    read = Read(Chart("c", HOSTILE, (hostile,)))
    assert not list(read.root.iter(f"{SVG}script"))
    assert "</svg>" not in read.picture.svg.removesuffix("</svg>")
    assert not set("<>&") & set(read.picture.readout)
    shown = HOSTILE.replace("\x00", "\ufffd").replace("\u202e", "\ufffd")
    told = read.told["panels"][0]
    assert told["title"] == told["curves"][0]["name"] == told["limits"][0]["name"] == shown
    assert read.root.attrib["aria-label"] == shown
    assert any(text.words.startswith("</svg><scr") for text in read.texts())


def meets(one: Text, other: Text) -> bool:
    return (
        one.left < other.right
        and other.left < one.right
        and one.top < other.bottom
        and other.top < one.bottom
    )


@pytest.mark.parametrize("count", [1, 4, 12, 24, 40])
def test_names_never_meet_nor_leave_the_drawing(count: int) -> None:
    """All end at one place, the worst that can be."""
    x = np.linspace(1.0, 500.0, 20)
    level = Panel(
        "end A: pass", Axis("frequency", "MHz", log=True), Axis("NEXT", "dB"),
        tuple(Curve(f"12-{i}", x, np.full(20, 30.0), LOOKS[i % 4]) for i in range(count)),
        (LimitLine("limit", x, np.full(20, 29.0), "min"),),
    )  # fmt: skip
    read = Read(Chart("c", "w", (level, level)))
    texts = read.texts()
    names = [text.words for text in texts]
    assert all(names.count(f"12-{i}") == 2 for i in range(count))
    assert names.count("limit") == 2
    for one, other in itertools.combinations([text for text in texts if not text.upright], 2):
        assert not meets(one, other), (one, other)
    _, _, width, height = read.box
    assert width == 547.0
    for text in texts:
        assert text.upright or (
            text.left >= 0.0 and text.right <= width and text.top >= 0.0 and text.bottom <= height
        )


@pytest.mark.parametrize(
    "chart",
    [
        whole(),
        replace(whole(), across=3, named_curves=False),
        replace(whole(), panels=(panel(),) * 7, across=3),
    ],
)
def test_words_of_a_full_chart_never_meet(chart: Chart) -> None:
    read = Read(chart)
    texts = [text for text in read.texts() if not text.upright]
    for one, other in itertools.combinations(texts, 2):
        assert not meets(one, other), (one, other)
    _, _, width, height = read.box
    assert all(text.left >= 0.0 and text.right <= width and text.bottom <= height for text in texts)
    assert all(text.size >= 7.0 for text in read.texts())


def luminance(colour: str) -> float:
    """Return the relative luminance (WCAG 2.1, definition)."""
    digits = colour[1:] if len(colour) == 7 else "".join(digit * 2 for digit in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(colour: str, ground: str) -> float:
    high, low = sorted((luminance(colour), luminance(ground)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_words_and_lines() -> None:
    """WCAG 2.1: 4.5 : 1 for text (1.4.3), 3 : 1 for what is needed to understand (1.4.11); a grid is not."""
    read = Read(whole())
    words = {element.attrib.get("fill", read.root.attrib["fill"]) for element in read.root.iter(f"{SVG}text")}
    assert all(contrast(colour, ground) >= 4.5 for colour in words for ground in ("#ffffff", "#e6e6e6"))
    lines = {element.attrib["stroke"] for element in read.root.iter() if "stroke" in element.attrib}
    assert {"#000", "#222", "#0072B2"} <= lines
    grid, hollow = "#d0d0d0", "#fff"
    assert all(contrast(colour, "#ffffff") >= 3.0 for colour in lines - {grid, hollow})


@pytest.mark.parametrize("y", [-0.2, -0.05, 0.0, 0.05, 0.2])
def test_words_of_a_mark_keep_off_a_level(y: float) -> None:
    """The line of a margin of zero is what the dots are held against."""
    x = np.array([0.0, 1.0])
    dots = Curve("fail", x, np.array([y, 5.0]), Look("#D55E00", width=0.0, marker="diamond"))
    marks = (Mark(0.0, y, "words", "cord 1"),)
    ends = {"low": -10.0, "high": 10.0}
    one = Panel(
        "", Axis("x", low=-0.5, high=1.5), Axis("margin", "dB", **ends), (dots,), marks=marks, levels=(0.0,)
    )
    read = Read(Chart("c", "a chart", (one,), named_curves=False))
    _, level = read.scale().at(0.0, 0.0)
    (words,) = [told for told in read.texts() if told.words == "cord 1"]
    assert words.bottom < level - 0.4 or words.top > level + 0.4


def test_a_curve_may_be_labelled_by_less_than_its_name() -> None:
    x = np.array([1.0, 2.0])
    curve = Curve("2 a long name", x, x, Look("#0072B2"), short="2")
    read = Read(Chart("c", "a chart", (Panel("", Axis("f"), Axis("y"), (curve,)),)))
    assert read.told["panels"][0]["curves"][0]["name"] == "2 a long name"
    told = [one.words for one in read.texts()]
    assert "2" in told
    assert "2 a long name" not in told


def test_in_fewer_letters_values_are_told_in_thousandths_and_nothing_else_changes() -> None:
    x = np.linspace(1.0, 500.0, 1001)
    y = 40.0 + np.random.default_rng(3).normal(size=1001).cumsum()
    one = Panel(
        "", Axis("f", "MHz", log=True), Axis("y", "dB"), (Curve("12", x, y, Look("#0072B2")),),
        marks=(Mark(float(x[333]), float(y[333])),),
    )  # fmt: skip
    chart = Chart("c", "a chart", (one,))
    fine, coarse = Read(chart), Read(chart, coarse=True)
    assert "scale" not in fine.told
    assert coarse.told.pop("scale") == 1_000
    packed = [read.told["panels"][0]["curves"][0].pop("data") for read in (fine, coarse)]
    assert fine.told == coarse.told
    assert unpacked(packed[1], 1_000) == pytest.approx(y.tolist(), abs=0.5e-3 * (1 + 1e-9))
    assert len(packed[1]["v"]) < len(packed[0]["v"])
    # What is drawn is on the curve, reaches as far, and has the worst point.
    (line,), (more,) = line_of(coarse.curve()), line_of(fine.curve())
    assert len(line) < 0.7 * len(more)
    drawn = [value for _, value in line]
    places = [coarse.scale().at(a, b) for a, b in zip(x.tolist(), y.tolist(), strict=True)]
    heights = [at for _, at in places]
    assert min(drawn) == pytest.approx(min(heights), abs=0.5)
    assert max(drawn) == pytest.approx(max(heights), abs=0.5)
    assert min(math.dist(places[333], point) for point in line) < 0.1


def test_a_lone_panel_is_as_wide_as_one_of_two() -> None:
    alone, both = Read(Chart("c", "w", (panel(),))), Read(Chart("c", "w", (panel(), panel())))
    assert alone.told["panels"][0]["box"] == both.told["panels"][0]["box"]


def test_panels_share_a_scale_or_have_their_own() -> None:
    x = np.linspace(1.0, 2.0, 5)
    panels = tuple(
        Panel("", Axis("x"), Axis("y"), (Curve("12", x, x * by, LOOKS[0]),)) for by in (1.0, 100.0)
    )
    shared, own = Read(Chart("c", "w", panels)), Read(Chart("c", "w", panels, shared_y=False))
    ends = [[(one["y"]["low"], one["y"]["high"]) for one in read.told["panels"]] for read in (shared, own)]
    assert ends[0][0] == ends[0][1]
    assert ends[0][0][0] < 1.0 < 200.0 < ends[0][0][1]
    assert ends[1][0][1] < 3.0 < 90.0 < ends[1][1][0]


def test_panels_stand_row_by_row_and_do_not_meet() -> None:
    read = Read(Chart("c", "w", (panel(),) * 5, across=2))
    boxes = [one["box"] for one in read.told["panels"]]
    assert [box[0] for box in boxes] == [boxes[0][0], boxes[1][0]] * 2 + [boxes[0][0]]
    for one, other in itertools.combinations(boxes, 2):
        beside = one[0] + one[2] < other[0] or other[0] + other[2] < one[0]
        assert beside or one[1] + one[3] < other[1] or other[1] + other[3] < one[1]
    assert len({tuple(box[2:]) for box in boxes}) == 1


@pytest.mark.parametrize("across", [1, 2, 3])
def test_each_panel_can_be_shown_by_itself(across: int) -> None:
    """The part of the drawing that belongs to a panel has its box and words in it, and no other's."""
    panels = (panel(), replace(panel(), title="a title\nof two lines"), *(panel(),) * 3)
    read = Read(replace(whole(), panels=panels, across=across))
    views = []
    for group, told in zip(read.panels, read.told["panels"], strict=True):
        left, top, width, height = view = [float(part) for part in group.attrib["data-view"].split()]
        views.append(view)
        box = told["box"]
        assert left <= box[0] < box[0] + box[2] <= left + width + 0.1
        assert top <= box[1] < box[1] + box[3] <= top + height
        texts = [_text(element) for element in group.iter(f"{SVG}text")]
        assert group.attrib["aria-label"] == told["title"] == " ".join(told["title"].split())
        assert all(top - 0.1 <= text.bottom <= top + height for text in texts)
        assert all(left - 0.1 <= (text.left + text.right) / 2.0 <= left + width for text in texts)
    assert len({round(view[2], 1) for view in views}) == 1, "one scale side by side"
    for one, other in itertools.pairwise(views):
        assert other[1] == one[1] or other[1] == pytest.approx(one[1] + one[3], abs=0.2), "row by row"
    assert max(view[0] + view[2] for view in views) == pytest.approx(547.0, abs=1.0)


def test_given_ends_and_ticks_are_used() -> None:
    axis = Axis(
        "return loss", "dB", low=-0.1, high=0.1, ticks=((-0.05, "26"), (0.0, "∞"), (0.05, "26 "), (0.5, "6"))
    )
    x = np.linspace(0.0, 2.0, 30)
    read = Read(
        Chart(
            "c",
            "w",
            (
                Panel(
                    "", Axis("distance", "m", low=-1.0, high=3.0), axis, (Curve("", x, x / 100.0, LOOKS[0]),)
                ),
            ),
        )
    )
    told = read.told["panels"][0]
    assert (told["x"]["low"], told["x"]["high"], told["y"]["low"], told["y"]["high"]) == (
        -1.0,
        3.0,
        -0.1,
        0.1,
    )
    by_words = {text.words: text for text in read.texts()}
    assert "6" not in by_words
    middle = (by_words["∞"].top + by_words["∞"].bottom) / 2.0
    assert middle == pytest.approx(told["box"][1] + told["box"][3] / 2.0, abs=0.5)


def test_curves_without_names_at_their_ends_are_told_above() -> None:
    x = np.linspace(0.0, 2.0, 30)
    curves = (Curve("from end A", x, x, LOOKS[0]), Curve("from end B", x, 2.0 - x, LOOKS[1]))
    panels = tuple(Panel(f"pair {i}", Axis("distance", "m"), Axis("y"), curves) for i in range(4))
    read = Read(Chart("c", "w", panels, named_curves=False))
    words = [text.words for text in read.texts()]
    assert words.count("from end A") == words.count("from end B") == 1
    top = read.told["panels"][0]["box"][1]
    assert all(text.bottom < top for text in read.texts() if text.words.startswith("from"))
    shown = [
        path for path in read.root.findall(f"{SVG}path") if path.attrib["stroke"] in ("#0072B2", "#D55E00")
    ]
    assert {path.attrib.get("stroke-dasharray", "") for path in shown} == {"", "6 2"}


def test_the_readout_holds_all_values() -> None:
    chart = whole()
    told = json.loads(picture(chart).readout)
    for panel_, got in zip(chart.panels, told["panels"], strict=True):
        assert (got["x"]["words"], got["x"]["unit"], got["x"]["log"]) == ("frequency", "MHz", True)
        for curve, one in zip(panel_.curves, got["curves"], strict=True):
            assert (one["name"], one["pairs"], one["limit"]) == (curve.name, list(curve.pairs), 0)
            assert unpacked(one["data"]) == pytest.approx(curve.y.tolist(), abs=0.5001e-4)
            assert grid_of(got["grids"][one["grid"]]) == pytest.approx(curve.x.tolist(), rel=1e-9)
            idle = np.zeros(curve.x.size, dtype=np.bool_)
            for start, stop in one["idle"]:
                idle[start:stop] = True
            assert idle.tolist() == (curve.x.size * [False] if curve.idle is None else curve.idle.tolist())
            assert ("low" in one, "high" in one) == ((curve.low is not None,) * 2)
        assert unpacked(got["curves"][0]["low"]) == [1.0] * 60
        (limit,) = got["limits"]
        assert (limit["name"], limit["sense"]) == ("limit", "min")
        assert unpacked(limit["data"]) == pytest.approx(panel_.limits[0].y.tolist(), abs=0.5001e-4)
        (mark,) = got["marks"]
        assert (mark["x"], mark["y"]) == (panel_.marks[0].x, panel_.marks[0].y)
        assert (mark["words"], mark["pairs"]) == ("1", ["12", "30"])
        assert len(got["grids"]) == 1


@pytest.mark.parametrize(
    ("x", "even"),
    [
        (np.linspace(1.0, 500.0, 1001), True),
        (np.linspace(1e6, 500e6, 1001) / 1e6, True),
        (np.linspace(0.0, 2.06, 107), True),
        (np.geomspace(1.0, 500.0, 200), False),
        (np.linspace(1.0, 500.0, 1001) + 1e-6 * (np.arange(1001) == 7), False),
        (np.array([5.0]), False),
    ],
)
def test_places_are_told_by_a_step_only_where_that_is_exact(x: np.ndarray, even: bool) -> None:
    read = Read(Chart("c", "w", (Panel("", Axis("x"), Axis("y"), (Curve("12", x, x, LOOKS[0]),)),)))
    (grid,) = read.told["panels"][0]["grids"]
    assert ("step" in grid) is even
    assert grid_of(grid) == pytest.approx(x.tolist(), rel=1e-9, abs=0.0)


def test_an_empty_panel_is_a_frame() -> None:
    read = Read(Chart("c", "w", (Panel("nothing", Axis("frequency", "MHz", log=True), Axis("y")),)))
    assert "nothing" in [text.words for text in read.texts()]
    assert read.told["panels"][0]["curves"] == []
    assert Read(Chart("c", "w", ())).told == {"panels": []}


def rippled(seed: int, x: np.ndarray) -> np.ndarray:
    """Return a loss with ripples of many periods, down to 8 MHz, and the notches where they cancel."""
    generator = np.random.default_rng(seed)
    phases = 2.0 * np.pi * x[None] * np.arange(1, 12)[:, None] / 90.0 + generator.uniform(0.0, 6.0, (11, 1))
    sum_ = (generator.normal(size=(11, 1)) * np.exp(1j * phases)).sum(axis=0)
    values: np.ndarray = 52.0 - 15.0 * np.log10(x / 100.0) - 20.0 * np.log10(np.abs(sum_) / 4.0)
    return values


def echoes(seed: int, distance: np.ndarray) -> np.ndarray:
    generator = np.random.default_rng(seed)
    at, size = generator.uniform(0.0, 20.0, (60, 1)), generator.normal(size=(60, 1))
    values: np.ndarray = (size * np.exp(-(((distance[None] - at) / 0.35) ** 2))).sum(axis=0) / 100.0
    return values


def test_all_charts_of_a_record_keep_their_size() -> None:
    """Twelve charts with 110 curves of 1001 points, and thirty distance panels: less than 1.2 MB."""
    x, distance = np.linspace(1.0, 500.0, 1001), np.linspace(0.0, 20.0, 1001)
    charts = []
    for number, count in enumerate((4, 4, 6, 4, 12, 4, 4, 4, 4, 4, 3, 2)):
        base = panel("end A", count, 1001)
        curves = tuple(replace(curve, y=rippled(i, x)) for i, curve in enumerate(base.curves))
        charts.append(Chart(f"p{number}", "w", (replace(base, curves=curves),) * 2))
    for number, panels in enumerate((4, 6) * 3):
        ends = [
            [Curve(f"from end {end}", distance, echoes(2 * i + end, distance), LOOKS[end]) for end in (0, 1)]
            for i in range(panels)
        ]
        shown = tuple(Panel("pair", Axis("distance", "m"), Axis("y"), tuple(pair)) for pair in ends)
        charts.append(Chart(f"d{number}", "w", shown, 3, 126.0, named_curves=False))
    told = [picture(chart) for chart in charts]
    assert sum(len(panel_.curves) for chart in charts[:12] for panel_ in chart.panels) == 110
    assert sum(len(chart.panels) for chart in charts[12:]) == 30
    assert sum(len(one.svg) + len(one.readout) for one in told) <= 1_200_000
