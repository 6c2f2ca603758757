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
    ends_words,
    frequency_axis,
    worst_words,
)
from benchsweep.report.content.charts._looks import GRADED, trace_look
from benchsweep.report.text import (
    ORDER,
    Texts,
    decided_elsewhere,
    outcome_words,
    pairs_words,
    parameter_words,
    severity,
)

__all__ = ["ALIEN", "Detail", "alien_charts", "parameter_charts"]

Detail: TypeAlias = Literal["full", "brief"]

ALIEN = (
    Parameter.PS_ANEXT,
    Parameter.PS_ANEXT_AVERAGE,
    Parameter.PS_AACR_F,
    Parameter.PS_AACR_F_AVERAGE,
)
"""Alien power sums; the mean over the pairs of each stands beside it."""

_BEYOND_LIMIT_DB = 45.0
_MOST_SHOWN = 6.0
_MOST_TITLES = 3


def parameter_charts(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Detail = "full"
) -> list[Captioned]:
    """Return the charts of one measurement, with captions, but for those of alien crosstalk.

    Parameters
    ----------
    group
        Its items, one for each requirement.
    prefix
        Names of charts begin with it; unique in the document.
    detail
        ``brief``: only traces that a requirement judges.
    """
    return _charts(group, [p for p in Parameter if p not in ALIEN], texts, prefix, detail)


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
        name = f"{prefix}{parameter.value.replace('_', '-')}"
        words = parameter_words(parameter, texts)
        if parameter in ALIEN and any(key_of(trace) in graded for trace in traces):
            measured = _chart(f"{name}-measured", traces, [], texts, grids)
            found.append((measured, (texts("chart.as_measured", parameter=words),)))
            words = texts("chart.as_graded", parameter=words)
        lines = lines_of(bars)
        left_out = ", ".join(line.numbers for line in lines[MOST_LINES:])
        caption = texts("chart.left_out", caption=words, numbers=left_out) if left_out else words
        found.append((_chart(name, drawn, bars, texts, grids), (caption,)))
    return found


def _chart(name: str, traces: Sequence[Trace], bars: Sequence[Bar], texts: Texts, grids: Grids) -> Chart:
    ends: list[End | None] = sorted({trace.end for trace in traces}, key=lambda end: end or "")
    lines = lines_of(bars)[:MOST_LINES]
    panels = [
        _panel(end, [trace for trace in traces if trace.end == end], bars, lines, texts, grids)
        for end in ends
    ]
    reach = [_reach(panel, traces[0].parameter) for panel in panels]
    low, high = min(low for low, _ in reach), max(high for _, high in reach)
    scaled = tuple(replace(panel, y=replace(panel.y, low=low, high=high)) for panel in panels)
    return Chart(name, _told(traces, ends, bars, lines, texts), scaled)


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
        title=_title(end, bars, texts),
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


def _title(end: End | None, bars: Sequence[Bar], texts: Texts) -> str:
    head = "" if end is None else texts("where.end", end=end)
    rows = [(bar, bar.worst[end]) for bar in bars if end in bar.worst]
    if not rows:
        return _joined(head, texts("chart.no_limit"))
    if len(rows) == 1 and len(bars) == 1:
        row = rows[0][1]
        told = outcome_words(row.outcome, texts)
        if row.worst_margin_db is not None:
            told = texts("chart.outcome_worst", outcome=told, worst=worst_words(row, texts))
        return _joined(head, told)
    if len(rows) > _MOST_TITLES:
        outcomes = [row.outcome for _, row in rows]
        counts = [(outcome, outcomes.count(outcome)) for outcome in ORDER if outcome in outcomes]
        told = ", ".join(texts(f"count.{outcome.value}", count=count) for outcome, count in counts)
        return _joined(head, told)
    named = [texts("chart.by_number", number=bar.number, told=_row_told(row, texts)) for bar, row in rows]
    return "\n".join([*([head] if head else []), *named])


def _row_told(row: VerdictRow, texts: Texts) -> str:
    outcome = outcome_words(row.outcome, texts)
    if row.worst_margin_db is None:
        return outcome
    return texts("chart.outcome_at", outcome=outcome, worst=worst_words(row, texts))


def _joined(head: str, told: str) -> str:
    return f"{head}: {told}" if head else told


def _told(
    traces: Sequence[Trace],
    ends: Sequence[End | None],
    bars: Sequence[Bar],
    lines: Sequence[Line],
    texts: Texts,
) -> str:
    """Return what a chart shows in a sentence, for those who hear it."""
    what = texts(
        "chart.told",
        parameter=parameter_words(traces[0].parameter, texts),
        ends=ends_words(ends, texts),
        curves=texts("chart.curves", count=len(traces)),
        limits=texts("chart.limits", count=len(lines)) if lines else texts("chart.no_limit"),
    )
    rows = [(severity(row), bar, row) for bar in bars for end, row in bar.worst.items() if end in ends]
    if not rows:
        return what
    _, bar, row = min(rows, key=lambda found: found[0])
    where = "" if row.end is None else texts("chart.at_end", end=row.end)
    outcome = outcome_words(row.outcome, texts)
    if row.worst_margin_db is None:
        return texts("chart.told_outcome", what=what, outcome=outcome)
    told = texts("chart.told_worst", what=what, worst=worst_words(row, texts), end=where, outcome=outcome)
    return texts("chart.told_against", told=told, number=bar.number) if bar.number else told


def _reach(panel: Panel, parameter: Parameter) -> tuple[float, float]:
    """Return from where to where the axis of a panel runs.

    Values far on the good side of all limits are cut off: there is nothing to see of them.
    """
    values = np.concatenate([curve.y for curve in panel.curves])
    values = values[np.isfinite(values)]
    limits = [limit.y[np.isfinite(limit.y)] for limit in panel.limits]
    limit = np.concatenate(limits) if limits else np.empty(0)
    if limit.size and parameter.unit == "dB" and all(line.sense == "min" for line in panel.limits):
        values = values[values <= limit.max() + _BEYOND_LIMIT_DB]
    marked = [value for mark in panel.marks if mark.kind == "worst" for value in _marked(mark)]
    everything = np.concatenate([values, limit, [value for value in marked if np.isfinite(value)]])
    if everything.size == 0:
        return -0.05, 1.05
    low, high = float(everything.min()), float(everything.max())
    margin = 0.05 * (high - low) or 0.5
    return low - margin, high + margin


def _marked(mark: Mark) -> list[float]:
    """Return what has to be inside the panel of a worst point: it, and the ends of its interval."""
    low, high = mark.low or 0.0, mark.high or 0.0
    # An interval of many dB would leave no room for the curves.
    return [mark.y, mark.y - min(low, _MOST_SHOWN), mark.y + min(high, _MOST_SHOWN)]
