"""What is kept of a measurement for charts that show many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import End, LimitCurve, Outcome, Parameter, Trace, VerdictRow
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content.charts._bars import Bar, bars_of, idle_of, key_of
from benchsweep.report.content.charts._frame import Floats
from benchsweep.report.text import ORDER, severity

__all__ = ["Gathered", "Kept", "KeptMargin", "KeptTrace", "kept_of"]


@dataclass(frozen=True, slots=True)
class KeptMargin:
    """The worst margin of one parameter against one requirement.

    Parameters
    ----------
    row
        The row with the smallest margin.
    outcome
        The worst outcome of all rows of the parameter.
    """

    row: VerdictRow
    outcome: Outcome


@dataclass(frozen=True, slots=True, eq=False)
class KeptTrace:
    """One parameter at one end.

    Parameters
    ----------
    row
        The worst row against any requirement.
    frequency_hz
        ``(n_freq,)``.
    value
        ``(n_freq,)`` float64: the trace of `row`, as it is drawn among those of its measurement.
    worst
        ``(n_freq,)`` float32: at each frequency the worst of all judged traces; NaN where none counts.
    """

    row: VerdictRow
    frequency_hz: Floats
    value: Floats
    worst: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """One measurement among many: some ten kilobytes for a parameter.

    Parameters
    ----------
    specimen
        What the laboratory calls it.
    requirements
        Names, in the order of its items.
    margins
        Of each requirement that has any, by its name and the parameter.
    traces
        By parameter and end.
    limits
        The lines of each parameter, with the place of their requirement in `requirements`.
    """

    specimen: str
    requirements: tuple[str, ...]
    margins: Mapping[tuple[str, Parameter], KeptMargin]
    traces: Mapping[tuple[Parameter, End | None], KeptTrace]
    limits: Mapping[Parameter, tuple[tuple[int, LimitCurve], ...]]


class Gathered:
    """Measurements in the order of a report; grids and limits that are the same are kept once."""

    def __init__(self) -> None:
        self.kept: list[Kept] = []
        self._grids: dict[bytes, Floats] = {}
        self._limits: dict[tuple[object, ...], LimitCurve] = {}

    def add(self, kept: Kept) -> None:
        """Add a measurement."""
        traces = {
            key: replace(trace, frequency_hz=self._grid(trace.frequency_hz))
            for key, trace in kept.traces.items()
        }
        limits = {
            parameter: tuple((place, self._limit(curve)) for place, curve in lines)
            for parameter, lines in kept.limits.items()
        }
        self.kept.append(replace(kept, traces=traces, limits=limits))

    def _grid(self, grid: Floats) -> Floats:
        return self._grids.setdefault(grid.tobytes(), grid)

    def _limit(self, curve: LimitCurve) -> LimitCurve:
        held = b"" if curve.held is None else curve.held.tobytes()
        key = (curve.parameter, curve.sense, curve.frequency_hz.tobytes(), curve.value.tobytes(), held)
        return self._limits.setdefault(key, curve)


def kept_of(group: Sequence[ReportItem]) -> Kept:
    """Return what is kept of the items of one measurement."""
    margins: dict[tuple[str, Parameter], KeptMargin] = {}
    for item in group:
        for row in item.verdict.rows:
            if row.worst_margin_db is None:
                continue
            key = (item.verdict.requirement, row.parameter)
            found = margins.get(key)
            margins[key] = KeptMargin(row, row.outcome) if found is None else _worse(found, row)
    traces: dict[tuple[Parameter, End | None], KeptTrace] = {}
    limits: dict[Parameter, tuple[tuple[int, LimitCurve], ...]] = {}
    # As in the charts of one measurement: graded where there is one requirement, else as measured.
    graded = {key_of(trace): trace for trace in (group[0].graded if len(group) == 1 else ())}
    for parameter in Parameter:
        lines = [
            (place, item.limits[parameter]) for place, item in enumerate(group) if parameter in item.limits
        ]
        if not lines:
            continue
        limits[parameter] = tuple(lines)
        bars = bars_of(parameter, group)
        drawn = [
            graded.get(key_of(trace), trace) for trace in group[0].traces if trace.parameter is parameter
        ]
        for end in dict.fromkeys(trace.end for trace in drawn):
            found_trace = _trace([trace for trace in drawn if trace.end == end], bars, lines[0][1].sense)
            if found_trace is not None:
                traces[parameter, end] = found_trace
    specimen, names = group[0].verdict.specimen, tuple(item.verdict.requirement for item in group)
    return Kept(specimen, names, margins, traces, limits)


def _worse(found: KeptMargin, row: VerdictRow) -> KeptMargin:
    smaller = (row.worst_margin_db or 0.0) < (found.row.worst_margin_db or 0.0)
    outcome = min(found.outcome, row.outcome, key=ORDER.index)
    return KeptMargin(row if smaller else found.row, outcome)


def _trace(traces: Sequence[Trace], bars: Sequence[Bar], sense: str) -> KeptTrace | None:
    """Return what is kept of the traces of one parameter and end; None where none of them was judged."""
    by_key = {key_of(trace): trace for trace in traces}
    rows = [
        row
        for bar in bars
        for key, row in bar.rows.items()
        if key in by_key and row.worst_margin_db is not None
    ]
    if not rows:
        return None
    row = min(rows, key=severity)
    trace = by_key[key_of(row)]
    judged = [by_key[key] for key in dict.fromkeys(key_of(row) for row in rows)]
    judged = [one for one in judged if np.array_equal(one.frequency_hz, trace.frequency_hz)]
    counting = []
    for one in judged:
        idle = idle_of(one, bars)
        counting.append(one.value if idle is None else np.where(idle, np.nan, one.value))
    # The least (or greatest) of the numbers; none where there are none.
    choose = np.fmin if sense == "min" else np.fmax
    worst = choose.reduce(np.array(counting)).astype(np.float32)
    return KeptTrace(row, trace.frequency_hz, trace.value, worst)
