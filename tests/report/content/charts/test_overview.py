"""Many measurements in one chart: each dot, curve, band and median is what the verdicts and traces say."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import Outcome, Parameter, VerdictRow
from benchsweep.report import ReportItem
from benchsweep.report.content.charts import (
    Gathered,
    compared_charts,
    kept_of,
    overview_drawings,
    spread_charts,
)
from benchsweep.report.document import plain
from benchsweep.report.text import english

P = Parameter
TEXTS = english()


def specimens(build: SimpleNamespace, count: int, failing: tuple[int, ...] = ()) -> list[list[ReportItem]]:
    return [
        [build.item(f"cord {n + 1}", points=40, seed=n, fault_db=11.0 if n in failing else 0.0)]
        for n in range(count)
    ]


def least(group: list[ReportItem], parameter: Parameter) -> float:
    rows = [row for item in group for row in item.verdict.rows if row.parameter is parameter]
    return min(row.worst_margin_db for row in rows)


def test_every_worst_margin_is_a_dot_in_the_column_of_its_parameter(build: SimpleNamespace) -> None:
    groups = specimens(build, 5, failing=(1, 3))
    ((chart, caption),) = spread_charts([kept_of(group) for group in groups], TEXTS, prefix="o")
    assert "5 measurements" in plain(caption)
    in_db, in_ns = chart.panels
    assert (in_db.y.unit, in_ns.y.unit) == ("dB", "ns")
    assert in_db.levels == (0.0,)
    seen = 0
    for panel in chart.panels:
        columns = {round(value): words for value, words in panel.x.ticks}
        assert (panel.x.low, panel.x.high) == (-0.5, len(columns) - 0.5)
        for column, words in columns.items():
            (parameter,) = [p for p in P if TEXTS(f"parameter.{p.value}") == words]
            dots = sorted(
                (float(x), float(y), curve.name)
                for curve in panel.curves
                for x, y in zip(curve.x, curve.y, strict=True)
                if round(float(x)) == column
            )
            # From left to right in the order of the report.
            assert [y for _, y, _ in dots] == pytest.approx([least(group, parameter) for group in groups])
            assert [name == "fail" for _, y, name in dots] == [y < 0 for _, y, _ in dots]
            seen += len(dots)
    assert seen == 5 * len(groups[0][0].limits)
    failing = [(mark.words, mark.y) for mark in in_db.marks]
    expected = [
        (f"cord {place + 1}", least(group, parameter))
        for parameter in P
        if parameter in groups[0][0].limits and parameter.unit == "dB"
        for place, group in enumerate(groups)
        if least(group, parameter) < 0
    ]
    assert len(expected) == 6
    assert failing == expected
    assert "2 fail" in chart.words
    lowest = min((least(g, p), n) for n, g in enumerate(groups) for p in g[0].limits if p.unit == "dB")
    assert f"{lowest[0]:+.2f} dB, cord {lowest[1] + 1}" in chart.words


def margin_item(item: ReportItem, margin: float, outcome: Outcome) -> list[ReportItem]:
    row = VerdictRow(P.NEXT, "A", ("12", "36"), margin, 2e6, 40.0 + margin, 40.0, None, outcome, "x")
    return [replace(item, verdict=replace(item.verdict, rows=(row,), outcome=outcome))]


def test_failing_dots_are_named_while_they_are_few(build: SimpleNamespace) -> None:
    base = build.item(points=10)
    few = [margin_item(base, -1.0 * n, Outcome.FAIL) for n in range(1, 9)]
    ((chart, _),) = spread_charts([kept_of(group) for group in few], TEXTS, prefix="")
    assert [mark.y for mark in chart.panels[0].marks] == [-1.0 * n for n in range(1, 9)]
    more = [*few, margin_item(base, -9.0, Outcome.FAIL)]
    ((chart, _),) = spread_charts([kept_of(group) for group in more], TEXTS, prefix="")
    assert chart.panels[0].marks == ()


def test_of_very_many_dots_least_and_greatest_are_drawn(build: SimpleNamespace) -> None:
    base = build.item(points=10)
    margins = np.random.default_rng(1).normal(5.0, 1.0, 500)
    kept = [kept_of(margin_item(base, float(margin), Outcome.PASS)) for margin in margins]
    ((chart, _),) = spread_charts(kept, TEXTS, prefix="")
    (curve,) = chart.panels[0].curves
    assert curve.y.size == 120
    assert (curve.y.min(), curve.y.max()) == (margins.min(), margins.max())
    assert np.isin(curve.y, margins).all()
    assert abs(float(np.median(curve.y)) - float(np.median(margins))) < 0.1


def test_a_few_specimens_are_compared_by_their_worst_traces(build: SimpleNamespace) -> None:
    groups = specimens(build, 3, failing=(2,))
    made = dict_of(compared_charts([kept_of(group) for group in groups], TEXTS, prefix="o"))
    assert set(made) == {f"o-all-{p.value.replace('_', '-')}" for p in groups[0][0].limits}
    chart = made["o-all-next"]
    for end, panel in zip("AB", chart.panels, strict=True):
        assert [curve.name for curve in panel.curves] == ["1 cord 1", "2 cord 2", "3 cord 3"]
        for curve, (item,) in zip(panel.curves, groups, strict=True):
            rows = [row for row in item.verdict.rows if (row.parameter, row.end) == (P.NEXT, end)]
            row = min(rows, key=lambda row: row.worst_margin_db)
            (trace,) = [t for t in item.traces if (t.parameter, t.end, t.pairs) == (P.NEXT, end, row.pairs)]
            assert np.array_equal(curve.y, trace.value)
            assert curve.limit == 0
        (limit,) = panel.limits
        assert np.array_equal(limit.y, groups[0][0].limits[P.NEXT].value)
        assert len({(curve.look.dashes, curve.look.marker) for curve in panel.curves}) == 3
    worst = min(
        (row for row in groups[2][0].verdict.rows if row.parameter is P.NEXT), key=lambda r: r.worst_margin_db
    )
    (mark,) = chart.panels[1].marks
    assert (mark.x, mark.y) == (worst.frequency_hz / 1e6, worst.value)
    assert f"worst 3 cord 3, {'-'.join(worst.pairs)} {worst.worst_margin_db:+.2f} dB" in chart.words
    # Parameters whose ends cannot differ have one panel and no word of ends.
    delay = made["o-all-delay"]
    assert len(delay.panels) == 1
    assert "over frequency: the worst traces" in delay.words


def test_long_names_are_whole_in_what_is_read_off_and_numbers_beside_the_curves(
    build: SimpleNamespace,
) -> None:
    name = "patch cord of 2 m, untwisted at end B"
    groups = [*specimens(build, 1), [build.item(name, points=40, seed=1, fault_db=11.0)]]
    kept = [kept_of(group) for group in groups]
    for panel in dict_of(compared_charts(kept, TEXTS, prefix=""))["all-next"].panels:
        assert [curve.name for curve in panel.curves] == ["1 cord 1", f"2 {name}"]
        assert [curve.label for curve in panel.curves] == ["1", "2"]
        assert panel.title.startswith((f"{panel.name}: worst no. 1, ", f"{panel.name}: worst no. 2, "))
        assert name not in panel.title
    ((chart, _),) = spread_charts(kept, TEXTS, prefix="")
    assert {mark.words for mark in chart.panels[0].marks} == {name}


def dict_of(made: list) -> dict:
    return {chart.name: chart for chart, _ in made}


def test_of_more_the_band_and_the_median_of_the_worst_values(build: SimpleNamespace) -> None:
    groups = specimens(build, 9)
    kept = [kept_of(group) for group in groups]
    made = dict_of(compared_charts(kept, TEXTS, prefix=""))
    for parameter, choose in ((P.NEXT, np.min), (P.INSERTION_LOSS, np.max)):
        panel = made[f"all-{parameter.value.replace('_', '-')}"].panels[0]
        worst = np.array(
            [
                choose(
                    [t.value for t in item.traces if (t.parameter, t.end) == (parameter, "A")], axis=0
                )
                for (item,) in groups
            ]
        )  # fmt: skip
        (band,), (median,) = panel.bands, panel.curves
        assert band.low == pytest.approx(worst.min(axis=0), rel=1e-6)  # kept as float32
        assert band.high == pytest.approx(worst.max(axis=0), rel=1e-6)
        assert median.y == pytest.approx(np.median(worst, axis=0), rel=1e-6)
        assert median.limit == 0


def test_where_nothing_counts_there_is_no_worst_value(build: SimpleNamespace) -> None:
    groups = specimens(build, 9)
    low = groups[0][0].traces[0].frequency_hz < 100e6
    masked = [
        [replace(item, not_counting={(P.RETURN_LOSS, "A", (p,)): low for p in ("12", "36", "45", "78")})]
        for (item,) in groups
    ]
    made = dict_of(compared_charts([kept_of(group) for group in masked], TEXTS, prefix=""))
    first, second = made["all-return-loss"].panels
    assert np.array_equal(np.isnan(first.curves[0].y), low)
    assert np.array_equal(np.isnan(first.bands[0].low), low)
    assert np.isfinite(second.curves[0].y).all()


def test_another_grid_is_left_out_of_the_band_and_counted(build: SimpleNamespace) -> None:
    groups = [*specimens(build, 9), [build.item("odd", points=50)]]
    chart, caption = next(
        made for made in compared_charts([kept_of(group) for group in groups], TEXTS, prefix="")
    )
    assert chart.panels[0].curves[0].x.size == 40
    assert "of 9 measurements" in plain(caption)
    assert "without the one on another frequency grid" in plain(caption)


def test_limits_by_length_are_named_by_the_measurements_that_they_are_for(build: SimpleNamespace) -> None:
    groups = specimens(build, 3)
    (item,) = groups[2]
    curve = item.limits[P.NEXT]
    groups[2] = [replace(item, limits={**item.limits, P.NEXT: replace(curve, value=curve.value + 1.0)})]
    panel = dict_of(compared_charts([kept_of(g) for g in groups], TEXTS, prefix=""))["all-next"].panels[0]
    assert [limit.short for limit in panel.limits] == ["for 1, 2", "for 3"]
    assert [one.limit for one in panel.curves] == [0, 0, 1]


def test_gathering_shares_grids_and_limits(build: SimpleNamespace) -> None:
    gathered = Gathered()
    for group in specimens(build, 4):
        gathered.add(kept_of(group))
    first, last = gathered.kept[0], gathered.kept[-1]
    assert first.limits[P.NEXT][0][1] is last.limits[P.NEXT][0][1]
    assert first.traces[P.NEXT, "A"].frequency_hz is last.traces[P.NEXT, "B"].frequency_hz


def test_pictures_of_all_together(build: SimpleNamespace) -> None:
    drawn = overview_drawings(specimens(build, 2), TEXTS, prefix="o")
    assert drawn[0].picture.name == "o-spread-1"
    assert drawn[0].picture.readout == ""
    assert all(one.picture.svg.startswith("<svg") for one in drawn)
    assert all(one.picture.readout for one in drawn[1:])
    assert len({one.picture.name for one in drawn}) == len(drawn)
