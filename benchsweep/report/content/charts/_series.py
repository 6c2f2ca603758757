"""Charts of a series: changes from the first sweep over time, and over an ambient reading."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchsweep.records import Parameter, SeriesChange, SeriesSummary
from benchsweep.report.chart import Axis, Chart, Curve, Panel, Span
from benchsweep.report.content._pieces import time_between_h
from benchsweep.report.content.charts._frame import Captioned, Floats, named
from benchsweep.report.content.charts._looks import course_look, dot_look
from benchsweep.report.document import clean
from benchsweep.report.text import Texts, pairs_words, parameter_words

__all__ = ["series_charts", "time_unit"]

_MOST_DOTS = 200
_TIME_UNITS = (
    (180.0 / 3600.0, 3600.0, "s"),
    (3.0, 60.0, "min"),
    (72.0, 1.0, "h"),
)
_PANEL_HEIGHT = 190.0


def series_charts(summary: SeriesSummary, texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return for each parameter a chart of its changes over time, and over the ambient reading if it moved.

    Over time each pair and end is a curve, with the times without the analyzer hatched; over a reading each
    sweep is a dot, filled with the receiver at end A, open at end B.
    """
    readings = summary.course.reading[np.isfinite(summary.course.reading)]
    moved = readings.size > 1 and float(np.ptp(readings)) > 0.0
    shown = [change for change in summary.changes if np.isfinite(change.loss_db).any()]
    found: list[Captioned] = []
    for parameter in dict.fromkeys(change.parameter for change in shown):
        changes = [change for change in summary.changes if change.parameter is parameter]
        what = parameter_words(parameter, texts)
        name = named(prefix, parameter.value.replace("_", "-"))
        every = summary.course.every
        caption = (
            texts("chart.change_every", parameter=what, every=every)
            if every > 1
            else texts("chart.change", parameter=what)
        )
        found.append((_over_time(f"{name}-time", parameter, changes, summary, texts), (caption,)))
        if moved:
            chart = _over_reading(f"{name}-reading", parameter, changes, summary, texts)
            found.append((chart, (texts("chart.change_over_reading", parameter=what),)))
    return found


def _quantities(
    parameter: Parameter, changes: Sequence[SeriesChange], texts: Texts
) -> list[tuple[Axis, list[Floats]]]:
    """Return what changes: the level, and the delay where there is one."""
    found = [(Axis(texts("chart.change_of_loss"), "dB"), [change.loss_db for change in changes])]
    if parameter is Parameter.INSERTION_LOSS:
        delay = [change.delay_ps for change in changes]
        found.append((Axis(texts("chart.change_of_delay"), "ps"), delay))
    return found


def _over_time(
    name: str, parameter: Parameter, changes: Sequence[SeriesChange], summary: SeriesSummary, texts: Texts
) -> Chart:
    per_hour, unit = time_unit(summary.course.hours)
    at = summary.course.hours * per_hour
    x = Axis(texts("chart.since_first_sweep"), unit)
    gaps = tuple(_gaps(summary, per_hour))
    panels = []
    for y, values in _quantities(parameter, changes, texts):
        curves = []
        for change, value in zip(changes, values, strict=True):
            usable = np.isfinite(at) & np.isfinite(value)
            if usable.any():
                look = course_look(change.pairs[0], change.end)
                curves.append(Curve(_name(change, texts), at[usable], value[usable], look, change.pairs))
        panels.append(Panel("", x, y, tuple(curves), spans=gaps, levels=(0.0,)))
    told = _told(parameter, texts("chart.time"), changes, panels, texts)
    return Chart(name, told, tuple(panels), panel_height=_PANEL_HEIGHT, shared_y=False)


def _over_reading(
    name: str, parameter: Parameter, changes: Sequence[SeriesChange], summary: SeriesSummary, texts: Texts
) -> Chart:
    at = summary.course.reading
    x = Axis(clean(summary.course.reading_name))
    panels = []
    for y, values in _quantities(parameter, changes, texts):
        curves = []
        for change, value in zip(changes, values, strict=True):
            usable = np.flatnonzero(np.isfinite(at) & np.isfinite(value))
            kept = usable[_every(usable.size)]
            if kept.size:
                kept = kept[np.argsort(at[kept], kind="stable")]
                look = dot_look(change.pairs[0], filled=change.end == "A")
                curves.append(Curve(_name(change, texts), at[kept], value[kept], look, change.pairs))
        panels.append(Panel("", x, y, tuple(curves), levels=(0.0,)))
    told = _told(parameter, x.words, changes, panels, texts)
    return Chart(name, told, tuple(panels), panel_height=_PANEL_HEIGHT, shared_y=False, named_curves=False)


def _name(change: SeriesChange, texts: Texts) -> str:
    return f"{change.end} {pairs_words(change.pairs, texts)}"


def _every(size: int) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    if size == 0:
        return np.empty(0, dtype=np.intp)
    return np.unique(np.linspace(0, size - 1, min(size, _MOST_DOTS)).astype(np.intp))


def time_unit(hours: Floats) -> tuple[float, str]:
    """Return the unit in which a time axis reads well: how many of it make an hour, and its sign."""
    longest = float(np.max(hours, initial=0.0))
    for most_hours, per_hour, unit in _TIME_UNITS:
        if longest <= most_hours:
            return per_hour, unit
    return 1.0 / 24.0, "d"


def _gaps(summary: SeriesSummary, per_hour: float) -> list[Span]:
    """Return the times without the analyzer."""
    found = []
    for event in summary.events:
        if event.kind in ("gap", "resumed") and event.seconds:
            begins = time_between_h(summary.first_at, event.at)
            if begins is None:  # what stands there are no times
                continue
            ends = begins + event.seconds / 3600.0
            found.append(Span(begins * per_hour, ends * per_hour))
    return found


def _told(
    parameter: Parameter, over: str, changes: Sequence[SeriesChange], panels: Sequence[Panel], texts: Texts
) -> str:
    """Return what a chart shows in a sentence: how many curves, and which changes most."""
    what = texts(
        "chart.told_series",
        parameter=parameter_words(parameter, texts),
        over=over,
        curves=texts("chart.curves", count=len(panels[0].curves)),
    )
    known = [(change, change.largest_loss_db) for change in changes]
    largest = [(abs(extreme.value), change, extreme) for change, extreme in known if extreme is not None]
    if not largest:
        return what
    _, change, extreme = max(largest, key=lambda found: found[0])
    return texts(
        "chart.told_largest", what=what, name=_name(change, texts), change=f"{extreme.value:+.3f}",
        frequency=f"{extreme.frequency_hz / 1e6:.2f}", sweep=extreme.sweep,
    )  # fmt: skip
