"""The margin of a trace to a limit line, and the points of it that may decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._line import LimitLine, Standing, worst_standing
from benchsweep.records import End, Outcome, Parameter, Trace, VerdictRow

__all__ = ["STRETCHES", "Key", "LineOnGrid", "Margins", "margins_of", "undecided_row"]

Key = tuple[Parameter, End | None, tuple[str, ...]]

STRETCHES = 5
"""How many points of a trace may decide: the smallest margin of each fifth of the points of the line.

A guard band differs from point to point, so the point that is nearest to its limit need not be the one that
is nearest to its acceptance limit, and the uncertainty of every point of every trace would take too long.
With the same residual error e everywhere it would be the same point: the far end of the interval of a loss,
-20 log10(abs(S) +- e), rises with the loss. The residual errors change slowly over frequency, so the smallest
margin of each stretch stands for the stretch.
"""

# How far the ends of the sweep may miss the ends of a line, relative.
_EDGE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class LineOnGrid:
    """A line evaluated on the grid of a trace.

    `inside` marks the points of the grid in the line's bands; `limit` and `band` hold for those points.
    """

    frequency_hz: NDArray[np.float64]
    inside: NDArray[np.bool_]
    limit: NDArray[np.float64]
    band: NDArray[np.intp]
    uncovered: str

    @classmethod
    def of(cls, line: LimitLine, frequency_hz: NDArray[np.float64], length_m: float | None) -> LineOnGrid:
        f_mhz = frequency_hz / 1e6
        band = line.band_of(f_mhz)
        inside = band >= 0
        return cls(
            frequency_hz,
            inside,
            line.evaluate(f_mhz[inside], length_m),
            band[inside],
            _uncovered(line, float(f_mhz[0]), float(f_mhz[-1])),
        )


def _uncovered(line: LimitLine, lowest_mhz: float, highest_mhz: float) -> str:
    if highest_mhz < line.from_mhz or lowest_mhz > line.to_mhz:
        return f"{line.from_mhz:g} to {line.to_mhz:g} MHz"
    parts = []
    if lowest_mhz > line.from_mhz * (1.0 + _EDGE):
        parts.append(f"{line.from_mhz:g} to {lowest_mhz:g} MHz")
    if highest_mhz < line.to_mhz * (1.0 - _EDGE):
        parts.append(f"{highest_mhz:g} to {line.to_mhz:g} MHz")
    return " and ".join(parts)


@dataclass(frozen=True, slots=True, eq=False)
class Margins:
    """The points of one trace that may decide, and what the row says of it.

    Parameters
    ----------
    key, trace, line
        What is held against what.
    points
        ``(n,)`` indices into the grid of the trace, the worst-margin point first.
    margin, limit
        ``(n,)`` at those points.
    standing, note
        Of the row.
    uncovered
        The part of the line that was not measured, in words; empty when there is none.
    """

    key: Key
    trace: Trace
    line: LimitLine
    points: NDArray[np.intp]
    margin: NDArray[np.float64]
    limit: NDArray[np.float64]
    standing: Standing
    note: str
    uncovered: str


def undecided_row(key: Key, standing: Standing, note: str) -> VerdictRow:
    """Return the row of a trace of which no point could be held against the limit."""
    return VerdictRow(*key, None, None, None, None, None, Outcome.UNDECIDED, standing, note)


def margins_of(
    trace: Trace, line: LimitLine, on_grid: LineOnGrid, measured: Mapping[Key, Trace], *, stretches: int
) -> Margins | VerdictRow:
    """Return the margins of a trace at the points that may decide; a row where no point counts.

    The margin is value - limit for a ``min`` line, limit - value for a ``max`` line, unrounded.

    Parameters
    ----------
    measured
        The other traces, one of which may say where the line does not count.
    stretches
        1: only the worst-margin point; more: the smallest margin of each of so many stretches.
    """
    key: Key = (trace.parameter, trace.end, trace.pairs)
    if on_grid.limit.size == 0:
        return undecided_row(key, line.weakest_standing, f"not measured from {on_grid.uncovered}")
    value = trace.value[on_grid.inside]
    margin = value - on_grid.limit if line.sense == "min" else on_grid.limit - value
    standing = _standing_of(line, on_grid)
    note = ""
    exempt = _exempt(key, trace, line, on_grid, measured)
    if exempt is not None and exempt.any() and line.exempt_where is not None:
        rule = line.exempt_where
        standing = worst_standing(standing, rule.standing)
        note = f"does not count where {rule.words()}"
        if exempt.all():
            if on_grid.uncovered:
                return undecided_row(key, standing, f"{note}; not measured from {on_grid.uncovered}")
            note += ": nowhere in this measurement"
            return VerdictRow(*key, None, None, None, None, None, Outcome.PASS, standing, note)
        margin = np.where(exempt, np.inf, margin)
    worst = _worst_point(margin, exempt)
    chosen = _spread(margin, exempt, worst, stretches) if stretches > 1 else np.array([worst])
    inside = np.flatnonzero(on_grid.inside)
    return Margins(
        key,
        trace,
        line,
        inside[chosen],
        margin[chosen],
        on_grid.limit[chosen],
        standing,
        note,
        on_grid.uncovered,
    )


def _worst_point(margin: NDArray[np.float64], exempt: NDArray[np.bool_] | None) -> int:
    worst = int(np.argmin(margin))
    if exempt is not None and exempt[worst]:  # every point that counts has an infinite margin
        worst = int(np.argmin(exempt))
    return worst


def _spread(
    margin: NDArray[np.float64], exempt: NDArray[np.bool_] | None, worst: int, stretches: int
) -> NDArray[np.intp]:
    """Return the worst point, then the smallest margin of every other stretch with a point that counts."""
    length = -(-margin.size // stretches)
    padded = np.full(stretches * length, np.inf)
    padded[: margin.size] = margin
    lowest = padded.reshape(stretches, length).argmin(axis=1).tolist()
    chosen = [worst]
    for place, within in enumerate(lowest):
        at = place * length + within
        counts = at < margin.size and (exempt is None or not exempt[at])
        if counts and place != worst // length:
            chosen.append(at)
    return np.array(chosen, dtype=np.intp)


def _standing_of(line: LimitLine, on_grid: LineOnGrid) -> Standing:
    if all(band.standing is None for band in line.bands):
        return line.standing
    used = [line.bands[number].standing or line.standing for number in np.unique(on_grid.band)]
    return worst_standing(*used)


def _exempt(
    key: Key, trace: Trace, line: LimitLine, on_grid: LineOnGrid, measured: Mapping[Key, Trace]
) -> NDArray[np.bool_] | None:
    """Return which points inside do not count; None without such a rule or without the values it needs."""
    if line.exempt_where is None:
        return None
    _, end, pairs = key
    other: End = "A" if end == "B" else "B"
    for at in (end, other):
        deciding = measured.get((line.exempt_where.parameter, at, pairs[:1]))
        if deciding is not None and np.array_equal(deciding.frequency_hz, trace.frequency_hz):
            return line.exempt_where.met(deciding.value[on_grid.inside])
    return None
