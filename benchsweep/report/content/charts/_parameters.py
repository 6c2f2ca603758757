"""A chart for each parameter over frequency, a panel for each end, with the limits of every requirement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np

from benchsweep.records import End, Parameter, Trace, VerdictRow
from benchsweep.report.chart import Axis, Chart, Curve, LimitLine, Mark, Panel
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content.charts._bars import (
    MOST_LINES,
    Bar,
    Line,
    bars_of,
    counting_for,
    idle_of,
    key_of,
    line_idle,
    lines_of,
)
from benchsweep.report.content.charts._frame import (
    Captioned,
    Grids,
    frequency_axis,
    named,
    reach_of,
)
from benchsweep.report.content.charts._looks import GRADED, trace_look
from benchsweep.report.content.charts._words import title_of, told_of
from benchsweep.report.text import Texts, decided_elsewhere, pairs_words, parameter_words

__all__ = ["ALIEN", "Detail", "alien_charts", "parameter_charts"]

Detail: TypeAlias = Literal["full", "brief"]

ALIEN = (
    Parameter.PS_ANEXT,
    Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F,
    Parameter.PS_AACR_F_AVERAGE,
)
"""Alien power sums; the mean over the pairs of each stands beside it."""

_LOW_PANEL = 120.0
"""Height of a panel of what no requirement judges, in units of the drawing."""


def parameter_charts(
    group: Sequence[ReportItem],
    texts: Texts,
    *,
    prefix: str,
    detail: Detail = "full",
    judged: bool | None = None,
) -> list[Captioned]:
    """Return the charts of one measurement, with captions, but for those of alien crosstalk.

    Parameters that a requirement judges come first; the panels of the others are lower.

    Parameters
    ----------
    group
        Its items, one for each requirement.
    prefix
        Names of charts begin with it; unique in the document.
    detail
        ``brief``: only traces that a requirement judges.
    judged
        True: only parameters that a requirement judges; False: only the others; None: all.
    """
    held = {parameter: bool(bars_of(parameter, group)) for parameter in Parameter if parameter not in ALIEN}
    parameters = [parameter for parameter in held if judged is None or held[parameter] == judged]
    # Sorting keeps the order of what is alike.
    parameters.sort(key=lambda parameter: not held[parameter])
    return _charts(group, parameters, texts, prefix, detail)


def alien_charts(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Detail = "full"
) -> list[Captioned]:
    """Return the charts of alien crosstalk, as `parameter_charts`.

    A power sum that its one requirement grades at another length comes twice: as measured, and beside it
    as graded.
    """
    return _charts(group, ALIEN, texts, prefix, detail)


def _charts(
    group: Sequence[ReportItem], parameters: Sequence[Parameter], texts: Texts, prefix: str, detail: Detail
) -> list[Captioned]:
    # One requirement: its values are drawn. Several: what was measured, and of each its worst trace.
    graded = {key_of(trace): trace for trace in (group[0].graded if len(group) == 1 else ())}
    grids = Grids()
    found: list[Captioned] = []
    for parameter in parameters:
        traces = [trace for trace in group[0].traces if trace.parameter is parameter]
        bars = bars_of(parameter, group)
        if detail == "brief":
            judged = {key for bar in bars for key in bar.rows}
            traces = [trace for trace in traces if key_of(trace) in judged]
        if not traces:
            continue
        drawn = [graded.get(key_of(trace), trace) for trace in traces]
        name = named(prefix, parameter.value.replace("_", "-"))
        words = parameter_words(parameter, texts)
        if parameter in ALIEN and any(key_of(trace) in graded for trace in traces):
            measured = _chart(f"{name}-measured", traces, [], texts, grids)
            found.append((measured, (texts("chart.as_measured", parameter=words),)))
            words = texts("chart.as_graded", parameter=words)
        lines = lines_of(bars)
        left_out = ", ".join(line.numbers for line in lines[MOST_LINES:])
        caption = texts("chart.left_out", caption=words, numbers=left_out) if left_out else words
        chart = _chart(name, drawn, bars, texts, grids)
        if not bars and parameter not in ALIEN:
            chart = replace(chart, panel_height=_LOW_PANEL)
        found.append((chart, (caption,)))
    return found


def _chart(name: str, traces: Sequence[Trace], bars: Sequence[Bar], texts: Texts, grids: Grids) -> Chart:
    ends: list[End | None] = sorted({trace.end for trace in traces}, key=lambda end: end or "")
    lines = lines_of(bars)[:MOST_LINES]
    panels = [
        _panel(end, [trace for trace in traces if trace.end == end], bars, lines, texts, grids)
        for end in ends
    ]
    reach = [reach_of(panel, traces[0].parameter) for panel in panels]
    low, high = min(low for low, _ in reach), max(high for _, high in reach)
    scaled = tuple(replace(panel, y=replace(panel.y, low=low, high=high)) for panel in panels)
    return Chart(name, told_of(traces, ends, bars, len(lines), texts), scaled)


def _panel(
    end: End | None,
    traces: Sequence[Trace],
    bars: Sequence[Bar],
    lines: Sequence[Line],
    texts: Texts,
    grids: Grids,
) -> Panel:
    parameter = traces[0].parameter
    worst = {
        key_of(row)
        for bar in bars
        for row in bar.worst.values()
        if row.frequency_hz is not None
    }  # fmt: skip
    curves = [_curve(trace, key_of(trace) in worst, bars, lines, texts, grids) for trace in traces]
    return Panel(
        title=title_of(end, bars, texts),
        name="" if end is None else texts("where.end", end=end),
        x=frequency_axis(texts, [curve.x for curve in curves]),
        y=Axis(parameter_words(parameter, texts), parameter.unit),
        curves=(*curves, *_graded(end, bars, lines, texts, grids)),
        limits=tuple(_limit(line, traces, texts, grids) for line in lines),
        marks=(*_worst_marks(end, bars), *_acceptance_marks(end, bars)),
    )


def _curve(
    trace: Trace, worst: bool, bars: Sequence[Bar], lines: Sequence[Line], texts: Texts, grids: Grids
) -> Curve:
    key = key_of(trace)
    # A band belongs to the trace as its requirement grades it, which may be another curve.
    bands = (bar.bands[key] for bar in bars if key in bar.bands and key not in bar.graded)
    low, high = next(bands, (None, None))
    return Curve(
        name=pairs_words(trace.pairs, texts),
        x=grids(trace.frequency_hz),
        y=trace.value,
        look=trace_look(trace.pairs, worst=worst),
        pairs=trace.pairs,
        limit=counting_for(trace, bars, lines),
        idle=idle_of(trace, bars),
        low=low,
        high=high,
    )


def _graded(
    end: End | None, bars: Sequence[Bar], lines: Sequence[Line], texts: Texts, grids: Grids
) -> list[Curve]:
    """Return the worst trace of each requirement as it grades it, where that is not as measured."""
    found = []
    for bar in bars:
        row = bar.worst.get(end)
        trace = None if row is None else bar.graded.get(key_of(row))
        if trace is None:
            continue
        low, high = bar.bands.get(key_of(trace), (None, None))
        found.append(
            Curve(
                name=texts("chart.graded", pairs=pairs_words(trace.pairs, texts), number=bar.number),
                x=grids(trace.frequency_hz),
                y=trace.value,
                look=GRADED,
                pairs=trace.pairs,
                limit=_place(bar, lines, trace),
                idle=idle_of(trace, [bar]),
                low=low,
                high=high,
            )
        )
    return found


def _place(bar: Bar, lines: Sequence[Line], trace: Trace) -> int | None:
    """Return the place of the line of a requirement, where it lies on the grid of `trace`."""
    for place, line in enumerate(lines):
        if any(one is bar for one in line.bars):
            return place if np.array_equal(line.curve.frequency_hz, trace.frequency_hz) else None
    return None


def _limit(line: Line, traces: Sequence[Trace], texts: Texts, grids: Grids) -> LimitLine:
    curve = line.curve
    held = None if curve.held is None or not curve.held.any() else curve.held
    return LimitLine(
        name=texts("chart.limit_number", numbers=line.numbers) if line.numbers else texts("chart.limit"),
        x=grids(curve.frequency_hz),
        y=curve.value,
        sense=curve.sense,
        idle=line_idle(line, traces),
        held=held,
        short=line.numbers,
    )


def _worst_marks(end: End | None, bars: Sequence[Bar]) -> list[Mark]:
    """Return the worst point against each limit, with the numbers of limits where there are several."""
    points: dict[tuple[float, float], list[tuple[Bar, VerdictRow]]] = {}
    for bar in bars:
        row = bar.worst.get(end)
        if row is not None and row.frequency_hz is not None and row.value is not None:
            points.setdefault((row.frequency_hz / 1e6, row.value), []).append((bar, row))
    marks = []
    for (at, value), found in points.items():
        sure = next((row for _, row in found if row.uncertainty_low is not None), found[0][1])
        marks.append(
            Mark(
                at,
                value,
                "worst",
                ", ".join(str(bar.number) for bar, _ in found if bar.number) if len(bars) > 1 else "",
                sure.uncertainty_low,
                sure.uncertainty_high,
                sure.pairs,
            )
        )
    return marks


def _acceptance_marks(end: End | None, bars: Sequence[Bar]) -> list[Mark]:
    """Return where a value would have to lie at the worst point to be accepted, beyond its guard band."""
    marks = []
    for bar in bars:
        row = bar.worst.get(end)
        if row is None or bar.curve is None or row.frequency_hz is None or row.value is None:
            continue
        if (
            row.limit is None
            or not row.guard_band
            or not np.isfinite(row.guard_band)
            or decided_elsewhere(row)
        ):
            continue
        accepted = row.limit + (row.guard_band if bar.curve.sense == "min" else -row.guard_band)
        marks.append(Mark(row.frequency_hz / 1e6, accepted, "acceptance", pairs=row.pairs))
    return marks
