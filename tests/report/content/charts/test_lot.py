"""Charts of a lot: the worst traces over the limit, margins as dots, the operating characteristic."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from benchsweep.records import Parameter
from benchsweep.report import LotItem, english, lot_document
from benchsweep.report import chart as drawing
from benchsweep.report.content.charts import (
    lot_margin_charts,
    lot_trace_charts,
    lot_trace_drawings,
    operating_charts,
)
from benchsweep.report.document import Section
from benchsweep.statistics.sampling import attributes_plan, operating_curve
from tests.report.content.lots_made import PARAMETERS, item_of, limit_of, trace_of
from tests.report.content.told import section_in, text_of

TEXTS = english()


def of(parameter: Parameter, **how: object):
    item = item_of(**how)
    found = [one for one in lot_trace_charts(item, TEXTS, prefix="lot-") if one.caption[0].startswith(
        TEXTS(f"parameter.{parameter.value}") + ",")]  # fmt: skip
    return item, found[0]


def test_every_reel_is_a_curve_over_the_limit_at_each_end() -> None:
    item, chart = of(Parameter.NEXT, bad=(1,))
    assert [panel.name for panel in chart.whole.panels] == ["end A", "end B"]
    failing = item.state.nonconforming[0]
    for panel in chart.whole.panels:
        assert len(panel.curves) == 20
        assert len(panel.limits) == 1
        assert panel.curves[-1].name == failing  # drawn last, over the others
        others = [curve for curve in panel.curves if curve.name != failing]
        assert {curve.name for curve in others} == {"other reels, conforming"}
    assert chart.whole.panels[0].title.startswith(f"end A: {failing} 36-45, -0.42 dB at ")
    (ring,) = [mark for mark in chart.whole.panels[0].marks if mark.kind == "worst"]
    assert ring.words == failing
    limit = chart.whole.panels[0].limits[0]
    assert np.interp(ring.x, limit.x, limit.y) - ring.y == pytest.approx(0.42, abs=0.02)
    assert len(lot_trace_charts(item, TEXTS, prefix="lot-")) == len(PARAMETERS)


def test_of_a_few_reels_each_has_a_name_and_a_look() -> None:
    plan = attributes_plan(60, level="S-1", aql_percent=4.0)
    assert plan.sample_size <= 8
    item, chart = of(Parameter.RETURN_LOSS, plan=plan, bad=())
    names = [curve.name for curve in chart.whole.panels[0].curves]
    assert sorted(names) == sorted(item.state.sample)
    assert len({curve.look for curve in chart.whole.panels[0].curves}) == len(names)


def renamed(item: LotItem, beginning: str) -> LotItem:
    """The same lot, with longer names of reels."""

    def new(reel: str) -> str:
        return f"{beginning}{reel[1:]}"

    counting = {new(reel): replace(added, reel=new(reel)) for reel, added in item.state.counting.items()}
    state = replace(item.state, counting=counting, sample=tuple(map(new, item.state.sample)))
    return replace(item, state=state, traces={new(reel): traces for reel, traces in item.traces.items()})


def test_reels_are_told_apart_by_the_end_of_their_names() -> None:
    item = renamed(item_of(plan=attributes_plan(60, level="S-1", aql_percent=4.0), bad=()), "tollmoor-6-")
    assert len(item.state.sample) > 1
    drawn = lot_trace_drawings(item, TEXTS, prefix="lot-")
    ends = {reel.removeprefix("tollmoor-6-") for reel in item.state.sample}
    for one in lot_trace_charts(item, TEXTS, prefix="lot-"):
        for panel in one.whole.panels:
            assert {curve.name for curve in panel.curves} == ends
        assert {curve.name for panel in one.read.panels for curve in panel.curves} == ends
    legend = re.findall(r">([^<]+)<", drawn[0].picture.svg)
    assert ends <= set(legend)
    section = Section(("",), lot_document(item, TEXTS).blocks)
    told = text_of(section_in(section, "Worst traces against the limit"))
    assert "All reels begin with tollmoor-6- in their names, which the charts leave out." in told


def test_the_band_that_is_drawn_is_that_of_the_limit() -> None:
    item = item_of(bad=(1,))
    grid = np.linspace(1e6, 500e6, 120)
    limits = {parameter: limit_of(parameter, grid) for parameter in item.limits}
    limits = {
        parameter: replace(curve, value=np.where(grid <= 250e6, curve.value, np.nan))
        for parameter, curve in limits.items()
    }
    traces = {
        reel: tuple(trace_of(each.parameter, each.end, reel, 3.0, grid) for each in there)
        for reel, there in item.traces.items()
    }
    wide = replace(item, limits=limits, traces=traces)
    (chart,) = [
        one for one in lot_trace_charts(wide, TEXTS, prefix="lot-") if "traces-next" in one.whole.name
    ]
    last = grid[grid <= 250e6][-1] / 1e6
    for panel in chart.whole.panels:
        assert last <= panel.x.high < 1.07 * last
        assert all(curve.x[-1] <= panel.x.high for curve in panel.curves)
        assert np.nanmax(panel.limits[0].x) <= panel.x.high


def test_very_many_failing_share_a_look_beyond_six() -> None:
    item, chart = of(Parameter.NEXT, bad=range(10))
    panel = chart.whole.panels[0]
    names = {curve.name for curve in panel.curves}
    assert len(names) == 8  # as many as are told above the panels
    assert {"other reels, conforming", "other reels, not conforming"} < names
    shared = [curve for curve in panel.curves if curve.name == "other reels, not conforming"]
    assert len(shared) == 4
    assert len(item.state.nonconforming) == 10


def test_what_is_read_stands_where_it_is_drawn_and_tells_the_margin() -> None:
    item, chart = of(Parameter.NEXT, bad=(1, 5))
    whole = json.loads(drawing.picture(chart.whole).readout)
    read = json.loads(drawing.picture(chart.read).readout)
    for one, other in zip(whole["panels"], read["panels"], strict=True):
        assert {key: one[key] for key in ("box", "x", "y", "limits")} == {
            key: other[key] for key in ("box", "x", "y", "limits")
        }
        assert {curve["name"] for curve in other["curves"]} == set(item.state.nonconforming)
        assert all(curve["limit"] == 0 for curve in other["curves"])
    drawn = next(
        one for one in lot_trace_drawings(item, TEXTS, prefix="lot-") if "next" in one.picture.name.split("-")
    )
    assert drawn.picture.svg.count('class="curve"') == 40
    assert len(json.loads(drawn.picture.readout)["panels"][0]["curves"]) == 2


def test_a_dot_for_each_reel_in_the_column_of_each_parameter() -> None:
    item = item_of(bad=(1,))
    ((chart, caption),) = lot_margin_charts(item, TEXTS, prefix="lot-")
    assert caption[0].startswith("Worst margins, a dot for each reel")
    assert [panel.y.unit for panel in chart.panels] == ["dB", "ns"]
    first = chart.panels[0]
    dots = sum(curve.x.size for curve in first.curves)
    assert dots == 20 * sum(parameter.unit == "dB" for parameter in PARAMETERS)
    places = [words for _, words in first.x.ticks or ()]
    column = places.index("NEXT")
    here = np.concatenate([curve.y[np.abs(curve.x - column) < 0.5] for curve in first.curves])
    wanted = [added.result.margin_of(Parameter.NEXT) for added in item.state.counting.values()]
    assert sorted(here) == pytest.approx(sorted(margin.margin for margin in wanted if margin))
    assert [mark.words for mark in first.marks] == list(item.state.nonconforming)
    spots = np.concatenate([np.column_stack((curve.x, curve.y)) for curve in first.curves])
    assert len({tuple(spot) for spot in spots.round(9).tolist()}) == len(spots)
    assert lot_margin_charts(item_of(tested=0), TEXTS, prefix="lot-") == []


def test_the_operating_curve_marks_its_points() -> None:
    plan = attributes_plan(60, level="II", aql_percent=2.5)
    tightened = attributes_plan(60, level="II", aql_percent=2.5, severity="tightened")
    ((chart, _),) = operating_charts(operating_curve(plan, tightened=tightened), TEXTS, prefix="plan-")
    accepted, outgoing = chart.panels
    assert [curve.name for curve in accepted.curves] == [
        "lots of a process",
        "with switching",
        "lots of just this size",
    ]
    marks = {mark.words: (mark.x, mark.y) for mark in accepted.marks}
    # n = 20, Ac = 1, closed form of the binomial distribution.
    assert marks["AQL 2.5 %"] == pytest.approx((2.5, 100.0 * (0.975**20 + 0.5 * 0.975**19)), abs=0.05)
    for words, share in (("95 %", 0.95), ("50 %", 0.5), ("10 %", 0.1)):
        p = marks[words][0] / 100.0
        assert (1 - p) ** 20 + 20 * p * (1 - p) ** 19 == pytest.approx(share, abs=1e-3)
    # One nonconforming reel in 60, two drawn apart: certain acceptance; two: C(58,20)… by counting.
    lots = accepted.curves[2]
    both = (20 / 60) * (19 / 59)
    assert lots.y[:3] == pytest.approx([100.0, 100.0, 100.0 * (1 - both)], abs=1e-6)
    (mark,) = outgoing.marks
    assert mark.y == pytest.approx(float(np.max(outgoing.curves[0].y)), rel=2e-3)
    assert re.fullmatch(r"AOQL [\d.]+ %", mark.words)


@pytest.mark.parametrize(("size", "aql"), [(50, 1.5), (60, 2.5)])
def test_words_of_the_operating_curve_stand_off_its_points(size: int, aql: float) -> None:
    plan = attributes_plan(size, level="II", aql_percent=aql)
    tightened = attributes_plan(size, level="II", aql_percent=aql, severity="tightened")
    ((chart, _),) = operating_charts(operating_curve(plan, tightened=tightened), TEXTS, prefix="plan-")
    picture = drawing.picture(chart)
    halo = (
        r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" fill="#fff" fill-opacity=".85"/>'
    )
    boxes = [tuple(map(float, found)) for found in re.findall(halo, picture.svg)]
    assert len(boxes) >= 5
    for panel, told in zip(chart.panels, json.loads(picture.readout)["panels"], strict=True):
        left, top, width, height = told["box"]
        x_axis, y_axis = told["x"], told["y"]
        for curve in panel.curves:
            x = left + width * (curve.x - x_axis["low"]) / (x_axis["high"] - x_axis["low"])
            y = top + height * (y_axis["high"] - curve.y) / (y_axis["high"] - y_axis["low"])
            for across, down, wide, tall in boxes:
                inside = (x > across) & (x < across + wide) & (y > down) & (y < down + tall)
                assert not inside.any()
