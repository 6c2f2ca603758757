"""Charts of a series: changes where and when they were, gaps where the analyzer was away."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from benchsweep.records import (
    Extreme,
    LineFit,
    Parameter,
    SeriesChange,
    SeriesCourse,
    SeriesEvent,
    SeriesSummary,
)
from benchsweep.report.chart import picture
from benchsweep.report.content.charts import series_charts
from benchsweep.report.content.charts._series import time_unit
from benchsweep.report.document import plain
from benchsweep.report.text import english

AT, LATER = "2026-03-01T12:00:00+00:00", "2026-03-01T13:00:00+00:00"
TEXTS = english()


def summary(count: int = 25, parameter: Parameter = Parameter.INSERTION_LOSS) -> SeriesSummary:
    hours = np.arange(count) / 6.0
    delay = 4.0 * hours if parameter is Parameter.INSERTION_LOSS else np.full(count, np.nan)
    change = SeriesChange(
        parameter,
        "A",
        ("12",),
        Extreme(0.125, 250e6, 17),
        None,
        Extreme(-41.25, 1e6, 3),
        0.02 * hours,
        delay,
        LineFit(0.02, 0.00123, count),
        None,
        None,
    )
    other = replace(change, end="B", largest_loss_db=Extreme(-0.5, 300e6, 9), loss_db=-0.1 * hours)
    reading = 30.0 - np.arange(count) / 5.0
    reading[count // 2] = np.nan
    return SeriesSummary(
        count, 1, count, (), AT, AT, "enough",
        (
            SeriesEvent(LATER, "gap", "lost", 600.0),
            SeriesEvent(AT, "clock", "moved", 30.0),
            SeriesEvent(AT, "gap", "no time told", None),
        ),
        {"gap": 2, "clock": 1}, {"chamber_degc": (20.0, 30.0, 25.0)}, (change, other),
        SeriesCourse(np.arange(count) + 1, hours, reading, "chamber\u202e_degc", 1), False, (),
    )  # fmt: skip


def test_changes_over_time_and_over_a_reading() -> None:
    told = summary()
    made = series_charts(told, TEXTS, prefix="series-1")
    assert [chart.name for chart, _ in made] == [
        "series-1-insertion-loss-time",
        "series-1-insertion-loss-reading",
    ]
    over_time, over_reading = (chart for chart, _ in made)
    level, delay = over_time.panels
    assert (level.y.unit, delay.y.unit) == ("dB", "ps")
    assert (level.y.words, delay.y.words) == ("change of loss", "change of delay")
    for curve, change in zip(level.curves, told.changes, strict=True):
        assert curve.name == f"{change.end} 12"
        assert np.array_equal(curve.y, change.loss_db)
        assert curve.x == pytest.approx(told.course.hours)  # four hours are told in hours
    assert np.array_equal(delay.curves[0].y, told.changes[0].delay_ps)
    # From 13:00, an hour after the first sweep, for ten minutes; neither a moved clock nor an unknown time.
    (gap,) = level.spans
    assert (gap.begin, gap.end) == pytest.approx((1.0, 1.0 + 1 / 6))
    assert (level.x.words, level.x.unit) == ("time since the first sweep", "h")
    assert level.levels == (0.0,)
    assert "largest change B 12 -0.500 dB at 300.00 MHz in sweep 9" in over_time.words
    dots = over_reading.panels[0].curves
    assert [curve.look.filled for curve in dots] == [True, False]
    assert {curve.look.width for curve in dots} == {0.0}
    there = np.isfinite(told.course.reading)
    # The reading falls: in the order of the reading the last sweep comes first.
    assert np.array_equal(dots[0].x, told.course.reading[there][::-1])
    assert np.array_equal(dots[0].y, told.changes[0].loss_db[there][::-1])
    assert over_reading.panels[0].x.words == "chamber?_degc"


def test_no_more_than_two_hundred_dots() -> None:
    over_reading = series_charts(summary(900), TEXTS, prefix="")[1][0]
    (curve, _) = over_reading.panels[0].curves
    assert curve.x.size == 200


def test_a_reading_that_did_not_move_and_a_parameter_without_delay() -> None:
    told = summary(parameter=Parameter.RETURN_LOSS)
    still = replace(told, course=replace(told.course, reading=np.full(25, 21.0), every=3))
    ((chart, caption),) = series_charts(still, TEXTS, prefix="")
    assert len(chart.panels) == 1
    assert "one sweep of 3" in plain(caption)


@pytest.mark.parametrize("parameter", [Parameter.INSERTION_LOSS, Parameter.RETURN_LOSS])
@pytest.mark.parametrize("count", [1, 2, 4000])
def test_few_and_very_many_sweeps_are_drawn_in_little_room(parameter: Parameter, count: int) -> None:
    made = series_charts(summary(count, parameter), TEXTS, prefix="")
    assert made
    for chart, _ in made:
        drawn = picture(chart)
        ET.fromstring(drawn.svg)
        assert len(drawn.svg) < 200_000
    delays = [panel for chart, _ in made for panel in chart.panels if panel.y.unit == "ps"]
    assert bool(delays) == (parameter is Parameter.INSERTION_LOSS)


def test_nothing_where_all_is_noise() -> None:
    told = summary()
    lost = tuple(replace(change, loss_db=np.full(25, np.nan)) for change in told.changes)
    assert series_charts(replace(told, changes=lost), TEXTS, prefix="") == []


@pytest.mark.parametrize(("longest_h", "unit"), [(0.02, "s"), (0.5, "min"), (10.0, "h"), (100.0, "d")])
def test_the_axis_of_time_has_a_fitting_unit(longest_h: float, unit: str) -> None:
    per_hour, found = time_unit(np.array([0.0, longest_h]))
    assert found == unit
    assert 2.0 < longest_h * per_hour < 180.0
