"""A trace against its limit in a few lines of characters.

Own code: one curve, one limit and one mark over a logarithmic axis need few lines. A library for plots in
terminals would be one more dependency for them, and still would not know what a limit is, nor where none
counts, nor which point is the worst. Nothing is told by colour: the value is dots, the limit a line, the
worst point a letter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import LimitCurve, Trace, VerdictRow
from benchsweep.report.document import clean
from benchsweep.report.terminal._canvas import ASCII, UNICODE, Canvas, Glyphs
from benchsweep.report.terminal._english import number, row_words, trace_words
from benchsweep.report.terminal._frame import framed, number_axis
from benchsweep.report.terminal._lines import NARROWEST, wrapped
from benchsweep.report.terminal._ticks import frequency_ticks, value_ticks

__all__ = ["PlottedTrace", "can_draw", "trace_plot"]

Floats = NDArray[np.float64]

_ROWS = 12
_FEWEST_POINTS = 2
# Beyond any decibel or nanosecond: what a file claims must not make numbers of any width.
_FURTHEST = 1e7


@dataclass(frozen=True, slots=True, eq=False)
class PlottedTrace:
    """The trace of a row, as graded, and its limit.

    Parameters
    ----------
    row
        The row of the verdict.
    frequency_hz, value, limit
        ``(n_freq,)`` float64; `value` in the unit of the parameter, ``+inf`` where there is no signal at all;
        `limit` NaN where none counts for this trace.
    sense
        ``min``: values below the limit fail; ``max``: values above it fail.
    """

    row: VerdictRow
    frequency_hz: Floats
    value: Floats
    limit: Floats
    sense: str

    @classmethod
    def of(
        cls, row: VerdictRow, trace: Trace, curve: LimitCurve, not_counting: NDArray[np.bool_] | None
    ) -> PlottedTrace | None:
        """Return the trace with its limit where it counts; None where they are not of one grid."""
        if not np.array_equal(trace.frequency_hz, curve.frequency_hz):
            return None
        limit = curve.value if not_counting is None else np.where(not_counting, np.nan, curve.value)
        return cls(row, trace.frequency_hz, trace.value, limit, curve.sense)


def can_draw(encoding: str | None) -> bool:
    """Return whether a terminal of this encoding can show other characters than ASCII in a plot."""
    try:
        UNICODE.all().encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def trace_plot(plotted: PlottedTrace, *, width: int = 80, ascii_only: bool = False) -> str:
    """Return value and limit over frequency as plain text of at most `width` columns, at least 40.

    First which trace it is and what is shown how, then the plot: the frequency axis is logarithmic, the
    numbers at the axes are in MHz and in the unit of the parameter, and X marks the worst point. Empty where
    fewer than two points could be shown.
    """
    width = max(width, NARROWEST)
    usable = (plotted.frequency_hz > 0.0) & np.isfinite(plotted.value)
    if np.count_nonzero(usable) < _FEWEST_POINTS:
        return ""
    glyphs = ASCII if ascii_only else UNICODE
    place = np.log10(plotted.frequency_hz[usable])
    value, limit = (np.clip(y[usable], -_FURTHEST, _FURTHEST) for y in (plotted.value, plotted.limit))
    low, high = _span(value, limit)
    ticks = value_ticks(low, high, _ROWS)
    left = max(3, *(len(words) + 1 for _, words in ticks))
    canvas = Canvas(width - left - 1, _ROWS, (float(place[0]), float(place[-1])), (low, high), glyphs)
    canvas.trace(place, value)
    canvas.limit(place, limit)
    worst = plotted.row.frequency_hz
    if worst is not None and worst > 0.0 and plotted.row.value is not None:
        canvas.mark(math.log10(worst), plotted.row.value)
    lines = [
        line for words in _told(plotted, glyphs, canvas.limit_sample()) for line in wrapped(words, width)
    ]
    lines += framed(canvas.lines(), ticks, left, glyphs, (low, high))
    lines += _frequency_axis(canvas, left, plotted.frequency_hz[usable], glyphs)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _told(plotted: PlottedTrace, glyphs: Glyphs, limit_sample: str) -> Sequence[str]:
    row = plotted.row
    unit = row.parameter.unit
    side = "below" if plotted.sense == "min" else "above"
    what = clean(trace_words(row.parameter, row.end, row.pairs))
    legend = f"{glyphs.sample} {what} in {unit}"
    if np.isfinite(plotted.limit).any():
        limit = f"{limit_sample} limit" if limit_sample else "limit, covered by it"
        legend += f"   {limit}, fails {side}"
    if row.worst_margin_db is None or row.frequency_hz is None:
        return ["plot", legend]
    mark = f"{glyphs.mark} worst, {number(row.value)} {unit}"
    return [f"worst: {row_words(row)}", f"{legend}   {mark}"]


def _span(value: Floats, limit: Floats) -> tuple[float, float]:
    """Return lowest and highest value shown, with some room about them."""
    seen = np.concatenate((value, limit[np.isfinite(limit)]))
    low, high = float(np.min(seen)), float(np.max(seen))
    # of a flat trace enough for numbers of two decimals
    room = max(0.03 * (high - low), 1e-3 * max(abs(low), abs(high)), 0.05)
    return low - room, high + room


def _frequency_axis(canvas: Canvas, left: int, frequency_hz: Floats, glyphs: Glyphs) -> list[str]:
    """Return the line below the plot and the one with the numbers."""
    ticks = frequency_ticks(float(frequency_hz[0]), float(frequency_hz[-1]))
    places = [(canvas.column(math.log10(hertz)), words) for hertz, words in ticks]
    return number_axis(places, canvas.columns, left, glyphs, unit="MHz")
