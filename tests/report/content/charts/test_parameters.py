"""Charts over frequency hold the numbers of the record: values, limits, masks and the worst points."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from benchsweep.records import LimitCurve, Outcome, Parameter, Trace, VerdictRow
from benchsweep.report import ReportItem
from benchsweep.report.chart import Chart, Curve, Panel, picture
from benchsweep.report.content.charts import alien_charts, parameter_charts
from benchsweep.report.document import plain
from benchsweep.report.text import english

P = Parameter
GRID = np.linspace(1e6, 100e6, 60)
TEXTS = english()


def charts(group: list[ReportItem], detail: str = "full") -> dict[str, Chart]:
    made = parameter_charts(group, TEXTS, prefix="s1-", detail=detail)
    return {chart.name.removeprefix("s1-"): chart for chart, _ in made}


def panel_of(chart: Chart, end: str) -> Panel:
    (panel,) = [panel for panel in chart.panels if panel.title.startswith(f"end {end}")]
    return panel


def line(parameter: Parameter, level: float, held: np.ndarray | None = None) -> LimitCurve:
    """A flat limit up to 80 MHz."""
    value = np.where(GRID > 80e6, np.nan, level)
    return LimitCurve(parameter, "min", GRID, value, "from-memory", "invented", held)


def flat(parameter: Parameter, end: str | None, pairs: tuple[str, ...], level: float) -> Trace:
    return Trace(parameter, end, pairs, GRID, np.full(GRID.size, level))


def judged(trace: Trace, at: int, limit: float, **more: object) -> VerdictRow:
    value = float(trace.value[at])
    margin = value - limit
    outcome = Outcome.PASS if margin >= 0 else Outcome.FAIL
    row = VerdictRow(
        trace.parameter, trace.end, trace.pairs, margin, float(GRID[at]), value, limit, None, outcome, "x"
    )
    return replace(row, **more)


def with_rows(item: ReportItem, traces: list[Trace], rows: list[VerdictRow], **more: object) -> ReportItem:
    """The same measurement with other traces and another verdict."""
    fields = {"limits": {}, "graded": (), "not_counting": {}} | more
    return replace(item, traces=traces, verdict=replace(item.verdict, rows=tuple(rows)), **fields)


def test_every_trace_and_limit_is_in_its_chart_with_the_values_of_the_record(build: SimpleNamespace) -> None:
    item = build.item(points=60, fault_db=11.0)
    made = charts([item])
    assert set(made) == {trace.parameter.value.replace("_", "-") for trace in item.traces}
    for name, chart in made.items():
        parameter = P(name.replace("-", "_"))
        traces = {(t.end, t.pairs): t for t in item.traces if t.parameter is parameter}
        seen = 0
        for end, panel in zip(sorted({end or "" for end, _ in traces}), chart.panels, strict=True):
            assert panel.x.log
            assert panel.x.unit == "MHz"
            assert panel.y.unit == parameter.unit
            for curve in panel.curves:
                trace = traces[end or None, curve.pairs]
                assert np.array_equal(curve.y, trace.value)
                assert curve.x == pytest.approx(trace.frequency_hz / 1e6, rel=1e-15)
                assert curve.name == "-".join(curve.pairs)
                seen += 1
            if parameter in item.limits:
                (limit,) = panel.limits
                assert np.array_equal(limit.y, item.limits[parameter].value)
                assert limit.sense == item.limits[parameter].sense
                assert {curve.limit for curve in panel.curves} == {0}
            else:
                assert panel.limits == ()
                assert {curve.limit for curve in panel.curves} == {None}
        assert seen == len(traces)


def test_margins_read_off_a_chart_are_those_of_the_verdict(build: SimpleNamespace) -> None:
    item = build.item(points=60, fault_db=11.0)
    made = charts([item])
    checked = 0
    for row in item.verdict.rows:
        chart = made[row.parameter.value.replace("_", "-")]
        panel = chart.panels[0] if row.end in (None, "A") else chart.panels[1]
        (curve,) = [curve for curve in panel.curves if curve.pairs == row.pairs]
        limit = panel.limits[curve.limit]
        side = 1.0 if limit.sense == "min" else -1.0
        assert float(np.min(side * (curve.y - limit.y))) == pytest.approx(row.worst_margin_db, abs=1e-12)
        checked += 1
    assert checked == len(item.verdict.rows) > 50


def test_the_worst_point_lies_on_its_curve_and_is_told(build: SimpleNamespace) -> None:
    item = build.item(points=60, fault_db=11.0)
    rows = [row for row in item.verdict.rows if (row.parameter, row.end) == (P.NEXT, "B")]
    row = min(rows, key=lambda row: row.worst_margin_db)
    chart = charts([item])["next"]
    panel = panel_of(chart, "B")
    (mark,) = panel.marks
    (curve,) = [curve for curve in panel.curves if curve.pairs == row.pairs]
    at = int(np.argmin(np.abs(curve.x - mark.x)))
    assert (mark.x, mark.y, mark.kind) == (row.frequency_hz / 1e6, row.value, "worst")
    assert curve.x[at] == mark.x
    assert curve.y[at] == mark.y
    assert mark.pairs == row.pairs
    assert curve.look.width > max(one.look.width for one in panel.curves if one is not curve)
    worst = f"{'-'.join(row.pairs)} {row.worst_margin_db:+.2f} dB at "
    assert panel.title.startswith(f"end B: fail, worst {worst}")
    # What is told to those who hear it: what, how many, how bad, where.
    for part in ("NEXT", "24 curves", "one limit", worst, "end B", "fail"):
        assert part in chart.words
    assert panel.y.low < mark.y < panel.y.high
    assert {(one.y.low, one.y.high) for one in chart.panels} == {(panel.y.low, panel.y.high)}


def test_every_trace_can_be_told_without_colour(build: SimpleNamespace) -> None:
    for chart in charts([build.item(points=20)]).values():
        for panel in chart.panels:
            looks = {(curve.look.dashes, curve.look.marker) for curve in panel.curves}
            assert len(looks) == len(panel.curves)


def test_where_nothing_counts_is_the_mask_of_the_record(build: SimpleNamespace) -> None:
    held = GRID < 10e6
    low, lower = GRID < 40e6, GRID < 5e6
    traces = [flat(P.RETURN_LOSS, "A", (pair,), 30.0) for pair in ("12", "36", "45")]
    masks = {(P.RETURN_LOSS, "A", ("12",)): low, (P.RETURN_LOSS, "A", ("36",)): lower}
    item = with_rows(
        build.item(points=60),
        traces[:2],
        [judged(trace, 50, 20.0) for trace in traces],
        limits={P.RETURN_LOSS: line(P.RETURN_LOSS, 20.0, held)},
        not_counting=masks,
    )
    (panel,) = charts([item])["return-loss"].panels
    assert [np.flatnonzero(curve.idle).size for curve in panel.curves] == [low.sum(), lower.sum()]
    assert np.array_equal(panel.curves[0].idle, low)
    # The limit counts for none of the pairs only where it counts for neither of both.
    assert np.array_equal(panel.limits[0].idle, low & lower)
    assert np.array_equal(panel.limits[0].held, held)
    # With a third pair, for which it counts all over, it is idle nowhere.
    (panel,) = charts([replace(item, traces=traces)])["return-loss"].panels
    assert panel.limits[0].idle is None
    assert panel.curves[2].idle is None


def several(build: SimpleNamespace, levels: list[float], at: int = 10) -> list[ReportItem]:
    """One measurement, one flat trace of 45 dB, against flat limits at `levels`."""
    trace = flat(P.NEXT, "A", ("12", "36"), 45.0)
    base = build.item(points=60)
    return [
        with_rows(base, [trace], [judged(trace, at, level)], limits={P.NEXT: line(P.NEXT, level)})
        for level in levels
    ]


def test_limits_that_run_alike_share_a_line_and_their_numbers(build: SimpleNamespace) -> None:
    chart = charts(several(build, [40.0, 50.0, 42.0, 40.0]))["next"]
    (panel,) = chart.panels
    assert [limit.short for limit in panel.limits] == ["1, 4", "2", "3"]
    assert [limit.y[0] for limit in panel.limits] == [40.0, 50.0, 42.0]
    # All are worst at one point: one ring with all numbers. Against 2 it fails, that is the margin to read.
    (mark,) = panel.marks
    assert mark.words == "1, 2, 3, 4"
    assert panel.curves[0].limit == 1
    assert panel.title == "end A: 1 fail, 3 pass"
    assert "against limit 2" in chart.words
    assert "3 limits" in chart.words


def test_up_to_three_requirements_are_told_one_by_one(build: SimpleNamespace) -> None:
    (panel,) = charts(several(build, [40.0, 50.0]))["next"].panels
    at = f"{GRID[10] / 1e6:.3f}"
    assert panel.title.split("\n") == [
        "end A",
        f"1: pass, 12-36 +5.00 dB at {at} MHz",
        f"2: fail, 12-36 -5.00 dB at {at} MHz",
    ]


def test_limits_without_room_are_named_in_the_caption(build: SimpleNamespace) -> None:
    group = several(build, [40.0 + n for n in range(9)])
    ((chart, caption),) = parameter_charts(group, TEXTS, prefix="")
    assert len(chart.panels[0].limits) == 6
    assert "7, 8, 9" in plain(caption)


def test_a_margin_to_read_is_never_that_of_a_limit_that_does_not_count(build: SimpleNamespace) -> None:
    near, far = several(build, [44.0, 30.0])
    key = (P.NEXT, "A", ("12", "36"))
    low = GRID < 20e6
    near = replace(near, not_counting={key: low})
    (panel,) = charts([near, far])["next"].panels
    # Limit 2 counts all over, so the trace is idle nowhere; limit 1, nearer, does not count below 20 MHz.
    assert panel.curves[0].idle is None
    assert panel.curves[0].limit == 1
    assert np.array_equal(panel.limits[0].idle, low)
    far = replace(far, not_counting={key: low | (GRID > 70e6)})
    (panel,) = charts([near, far])["next"].panels
    assert np.array_equal(panel.curves[0].idle, low)
    assert panel.curves[0].limit == 0


def test_a_trace_graded_at_another_length(build: SimpleNamespace) -> None:
    trace = flat(P.INSERTION_LOSS, "B", ("12",), 10.0)
    other = replace(trace, value=np.full(GRID.size, 20.0))
    curve = replace(line(P.INSERTION_LOSS, 21.0), sense="max")
    row = replace(judged(other, 10, 21.0), worst_margin_db=1.0, outcome=Outcome.PASS)
    band = (np.full(GRID.size, 0.2), np.full(GRID.size, 0.3))
    key = (P.INSERTION_LOSS, "B", ("12",))
    item = with_rows(
        build.item(points=60), [trace], [row], limits={P.INSERTION_LOSS: curve}, graded=(other,),
        bands={key: band},
    )  # fmt: skip
    # Alone: as graded.
    (panel,) = charts([item])["insertion-loss"].panels
    (only,) = panel.curves
    assert np.array_equal(only.y, other.value)
    assert only.low is band[0]
    assert only.high is band[1]
    # Beside another that grades it as measured: both, and each is held against its own limit.
    plainly = replace(
        item,
        graded=(),
        bands={},
        verdict=replace(item.verdict, rows=(replace(judged(trace, 10, 15.0), worst_margin_db=5.0),)),
        limits={P.INSERTION_LOSS: replace(curve, value=np.full(GRID.size, 15.0))},
    )
    (panel,) = charts([plainly, item])["insertion-loss"].panels
    measured, graded = panel.curves
    assert np.array_equal(measured.y, trace.value)
    assert measured.limit == 0
    assert measured.low is None
    assert np.array_equal(graded.y, other.value)
    assert graded.limit == 1
    assert graded.low is band[0]
    assert graded.name == "12 as 2 grades it"
    assert {(mark.y, mark.words) for mark in panel.marks} == {(10.0, "1"), (20.0, "2")}


def test_how_sure_the_worst_value_is(build: SimpleNamespace) -> None:
    trace, better = flat(P.NEXT, "A", ("12", "36"), 45.0), flat(P.NEXT, "A", ("36", "12"), 55.0)
    row = judged(
        trace, 10, 40.0, uncertainty_low=0.5, uncertainty_high=np.inf, guard_band=0.4,
    )  # fmt: skip
    band = (np.full(GRID.size, 0.5), np.full(GRID.size, np.inf))
    item = with_rows(
        build.item(points=60),
        [trace, better],
        [row, judged(better, 10, 40.0)],
        limits={P.NEXT: line(P.NEXT, 40.0)},
        bands={(P.NEXT, "A", ("12", "36")): band},
    )
    (panel,) = charts([item])["next"].panels
    worst, accepted = panel.marks
    assert (worst.low, worst.high) == (0.5, np.inf)
    assert (accepted.kind, accepted.y) == ("acceptance", 40.4)
    banded, other = panel.curves
    assert (banded.low is band[0], banded.high is band[1]) == (True, True)
    assert other.low is None
    # Where the row was decided at another point, that of the worst margin has no acceptance limit.
    elsewhere = replace(row, note="decided at 20.000 MHz")
    item = replace(item, verdict=replace(item.verdict, rows=(elsewhere,)))
    (panel,) = charts([item])["next"].panels
    assert [mark.kind for mark in panel.marks] == ["worst"]


def test_below_a_maximum_the_acceptance_limit_lies_lower(build: SimpleNamespace) -> None:
    trace = flat(P.INSERTION_LOSS, "A", ("12",), 10.0)
    row = replace(
        judged(trace, 10, 12.0), worst_margin_db=2.0, outcome=Outcome.PASS,
        uncertainty_low=3.4, uncertainty_high=3.5, guard_band=0.4,
    )  # fmt: skip
    curve = replace(line(P.INSERTION_LOSS, 12.0), sense="max")
    item = with_rows(build.item(points=60), [trace], [row], limits={P.INSERTION_LOSS: curve})
    (panel,) = charts([item])["insertion-loss"].panels
    (accepted,) = [mark.y for mark in panel.marks if mark.kind == "acceptance"]
    assert accepted == pytest.approx(12.0 - 0.4)
    assert panel.y.low < 10.0 - 3.4
    assert 10.0 + 3.5 < panel.y.high


def test_an_interval_without_end_leaves_room_for_the_traces(build: SimpleNamespace) -> None:
    trace = flat(P.DELAY, None, ("12",), 10.0)
    curve = replace(line(P.DELAY, 40.0), sense="max")
    row = replace(
        judged(trace, 10, 40.0), worst_margin_db=30.0, outcome=Outcome.PASS, expanded_uncertainty=np.inf,
        uncertainty_low=0.4, uncertainty_high=np.inf, guard_band=np.inf,
    )  # fmt: skip
    item = with_rows(build.item(points=60), [trace], [row], limits={P.DELAY: curve})
    (panel,) = charts([item])["delay"].panels
    assert np.isfinite([panel.y.low, panel.y.high]).all()
    assert panel.y.high < 60.0
    assert [mark.kind for mark in panel.marks] == ["worst"]


def test_far_beyond_the_limit_is_cut_off(build: SimpleNamespace) -> None:
    trace, far = flat(P.NEXT, "A", ("12", "36"), 45.0), flat(P.NEXT, "A", ("36", "12"), 130.0)
    rows = [judged(trace, 10, 40.0), judged(far, 10, 40.0)]
    item = with_rows(build.item(points=60), [trace, far], rows, limits={P.NEXT: line(P.NEXT, 40.0)})
    (panel,) = charts([item])["next"].panels
    assert panel.y.low < 40.0 < 45.0 < panel.y.high < 85.0


def test_brief_shows_what_was_judged(build: SimpleNamespace) -> None:
    item = build.item(points=60)
    judged_parameters = {parameter.value.replace("_", "-") for parameter in item.limits}
    assert set(charts([item], "brief")) == judged_parameters < set(charts([item]))


@pytest.mark.parametrize("parameter", [P.PS_ANEXT, P.PS_AACR_F])
def test_alien_sums_as_measured_and_as_graded_side_by_side(
    build: SimpleNamespace, parameter: Parameter
) -> None:
    mean = P(f"{parameter}_average")
    traces = [flat(parameter, "A", ("12",), 60.0), flat(mean, "A", ("12", "36", "45", "78"), 66.0)]
    graded = replace(traces[0], value=traces[0].value + 3.0)
    item = with_rows(
        build.item(points=60),
        traces,
        [judged(graded, 10, 55.0), judged(traces[1], 10, 58.0)],
        limits={parameter: line(parameter, 55.0), mean: line(mean, 58.0)},
        graded=(graded,),
    )
    assert parameter_charts([item], TEXTS, prefix="") == []
    made = alien_charts([item], TEXTS, prefix="")
    name = parameter.value.replace("_", "-")
    assert [chart.name for chart, _ in made] == [f"{name}-measured", name, f"{name}-average"]
    measured, as_graded, average = (chart.panels[0] for chart, _ in made)
    assert (measured.curves[0].y[0], measured.limits) == (60.0, ())
    assert (as_graded.curves[0].y[0], as_graded.limits[0].y[0]) == (63.0, 55.0)
    assert (average.curves[0].name, average.limits[0].y[0]) == ("all", 58.0)
    assert plain(made[0][1]).endswith("as measured")
    assert "as graded" in plain(made[1][1])


def test_odd_traces_make_a_chart(build: SimpleNamespace) -> None:
    grid = np.array([1e6])
    nothing = Trace(P.NEXT, "A", ("$x_<$", "&\x00"), grid, np.array([np.inf]))
    unlimited = LimitCurve(P.NEXT, "min", grid, np.array([np.nan]), "from-memory", "x")
    item = with_rows(build.item(points=60), [nothing], [], limits={P.NEXT: unlimited})
    chart = charts([item])["next"]
    (panel,) = chart.panels
    ET.fromstring(picture(chart).svg)
    assert panel.curves[0].name == "$x_<$-&?"
    assert panel.x.low < 1.0 < panel.x.high
    assert panel.y.low < panel.y.high


def test_curves_of_one_grid_share_it(build: SimpleNamespace) -> None:
    made = charts([build.item(points=60)])
    curves: list[Curve] = [
        curve for chart in made.values() for panel in chart.panels for curve in panel.curves
    ]
    assert len({id(curve.x) for curve in curves}) == 1


def test_what_is_judged_comes_first_and_the_rest_is_lower(build: SimpleNamespace) -> None:
    item = build.item(points=60)
    made = charts([item])
    held = [name for name in made if P(name.replace("-", "_")) in item.limits]
    assert 0 < len(held) < len(made)
    assert list(made)[: len(held)] == held
    heights = {name: chart.panel_height for name, chart in made.items()}
    assert {heights[name] for name in held} == {200.0}
    assert all(heights[name] < 200.0 for name in made if name not in held)
    first, rest = (
        [chart.name for chart, _ in parameter_charts([item], TEXTS, prefix="s1-", judged=judged)]
        for judged in (True, False)
    )
    assert [*first, *rest] == [chart.name for chart in made.values()]
    assert first == [f"s1-{name}" for name in held]
