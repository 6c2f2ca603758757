"""What traces are held against in a chart: the different lines, and where nothing counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import End, LimitCurve, Parameter, Trace, VerdictRow
from benchsweep.report.content._item import ReportItem, TraceKey
from benchsweep.report.text import worst_rows

__all__ = [
    "MOST_LINES",
    "Bar",
    "Line",
    "bars_of",
    "counting_for",
    "idle_of",
    "key_of",
    "line_idle",
    "lines_of",
]

Mask: TypeAlias = NDArray[np.bool_]
Interval: TypeAlias = tuple[NDArray[np.float64], NDArray[np.float64]]

MOST_LINES = 6
"""More limits than that cannot be told apart in one chart."""


@dataclass(frozen=True, eq=False)
class Bar:
    """One requirement, as it looks at one parameter.

    Parameters
    ----------
    number
        Its number in the report, from 1; 0 where it is the only one.
    curve
        Its line, None when there is none.
    worst
        The worst row of each end.
    rows
        All its rows of the parameter.
    not_counting
        Of a trace: ``(n_freq,)``, True where the limit does not count for it; others count all over.
    graded
        Traces as this requirement grades them, where that is not as they are drawn.
    bands
        Of a trace: how far the true value may lie below and above, ``(n_freq,)`` each.
    """

    number: int
    curve: LimitCurve | None
    worst: Mapping[End | None, VerdictRow]
    rows: Mapping[TraceKey, VerdictRow] = field(default_factory=dict)
    not_counting: Mapping[TraceKey, Mask] = field(default_factory=dict)
    graded: Mapping[TraceKey, Trace] = field(default_factory=dict)
    bands: Mapping[TraceKey, Interval] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Line:
    """A limit line, and the requirements that share it.

    Parameters
    ----------
    curve
        Where it runs.
    bars
        The requirements that have it.
    """

    curve: LimitCurve
    bars: tuple[Bar, ...]

    @property
    def numbers(self) -> str:
        """The numbers of its requirements, ``1, 3``; empty where there is only one requirement."""
        return ", ".join(str(bar.number) for bar in self.bars if bar.number)


def key_of(trace: Trace | VerdictRow) -> TraceKey:
    """Return what names a trace in a measurement."""
    return trace.parameter, trace.end, trace.pairs


def bars_of(parameter: Parameter, group: Sequence[ReportItem]) -> list[Bar]:
    """Return the requirements of one measurement that limit `parameter`, or judge it without a line."""
    bars = []
    alone = len(group) == 1
    for number, item in enumerate(group, start=1):
        worst: dict[End | None, VerdictRow] = {}
        for row in worst_rows(item.verdict):
            if row.parameter is parameter:
                worst.setdefault(row.end, row)
        curve = item.limits.get(parameter)
        if curve is None and not worst:
            continue
        rows = {key_of(row): row for row in item.verdict.rows if row.parameter is parameter}
        # Alone it is drawn as graded; beside others only its worst trace is, besides what was measured.
        graded = {} if alone else {key_of(trace): trace for trace in item.graded}
        bars.append(
            Bar(0 if alone else number, curve, worst, rows, item.not_counting, graded, item.bands),
        )
    return bars


def lines_of(bars: Sequence[Bar]) -> list[Line]:
    """Return the different lines among `bars`; those that run alike are one."""
    groups: list[list[Bar]] = []
    for bar in bars:
        if bar.curve is None:
            continue
        for group in groups:
            if _same(group[0].curve, bar.curve):
                group.append(bar)
                break
        else:
            groups.append([bar])
    return [Line(group[0].curve, tuple(group)) for group in groups if group[0].curve is not None]


def _same(one: LimitCurve | None, other: LimitCurve) -> bool:
    """Return whether both are drawn alike: where a cap holds is part of the drawing."""
    return (
        one is not None
        and (one.parameter, one.sense) == (other.parameter, other.sense)
        and np.array_equal(one.frequency_hz, other.frequency_hz)
        and np.array_equal(one.value, other.value, equal_nan=True)
    )


def idle_of(trace: Trace, bars: Sequence[Bar]) -> Mask | None:
    """Return where no limit counts for `trace` although there is one: True there; None: nowhere."""
    masks = [_mask(trace, bar) for bar in bars if bar.curve is not None]
    named = [mask for mask in masks if mask is not None]
    if not named or len(named) < len(masks):
        return None
    idle: Mask = np.logical_and.reduce(named)
    return idle if idle.any() else None


def counting_for(trace: Trace, bars: Sequence[Bar], lines: Sequence[Line]) -> int | None:
    """Return the place in `lines` of the limit to read off `trace` against, None for none.

    It is the one that comes nearest to the trace among those that count where any does and that judge it
    as it is drawn: a margin that is read off is never another one than that of the verdict.
    """
    idle = idle_of(trace, bars)
    key = key_of(trace)
    found: list[tuple[float, int]] = []
    for place, line in enumerate(lines):
        if not np.array_equal(line.curve.frequency_hz, trace.frequency_hz):
            continue
        for bar in line.bars:
            mask = _mask(trace, bar)
            same = mask is None if idle is None else mask is not None and np.array_equal(mask, idle)
            if not same or key in bar.graded:
                continue
            row = bar.rows.get(key)
            if row is not None and row.worst_margin_db is not None:
                found.append((row.worst_margin_db, place))
    return min(found)[1] if found else None


def line_idle(line: Line, traces: Sequence[Trace]) -> Mask | None:
    """Return where a line counts for none of `traces`; None: nowhere."""
    if not traces:
        return None
    idle: Mask = np.ones(line.curve.frequency_hz.size, dtype=np.bool_)
    for trace in traces:
        if not np.array_equal(trace.frequency_hz, line.curve.frequency_hz):
            return None
        for bar in line.bars:
            mask = _mask(trace, bar)
            if mask is None:
                return None
            idle &= mask
    return idle if idle.any() else None


def _mask(trace: Trace, bar: Bar) -> Mask | None:
    """Return where the limit of `bar` does not count for `trace`; None: it counts all over."""
    mask = bar.not_counting.get(key_of(trace))
    if mask is None or mask.size != trace.frequency_hz.size or not mask.any():
        return None
    return mask
