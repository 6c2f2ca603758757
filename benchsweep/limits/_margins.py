"""The margin of a trace to a limit line, and the points of it that may decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._adjust import Adjusted, Key
from benchsweep.limits._exempt import exempt_points
from benchsweep.limits._line import LimitLine, Standing, worst_standing
from benchsweep.records import Outcome, Trace, VerdictRow

__all__ = ["STRETCHES", "LineOnGrid", "Margins", "margins_of", "undecided_row"]

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
        """Return the line on a grid; records that follow each other mostly have the same."""
        _, last = _LAST.get((id(line), length_m), (line, None))
        if last is not None and _same(last.frequency_hz, frequency_hz):
            return last
        f_mhz = frequency_hz / 1e6
        band = line.band_of(f_mhz)
        inside = band >= 0
        found = cls(
            frequency_hz,
            inside,
            line.evaluate(f_mhz[inside], length_m),
            band[inside],
            _uncovered(line, float(f_mhz[0]), float(f_mhz[-1])),
        )
        if len(_LAST) >= _MOST_LINES:
            _LAST.clear()
        _LAST[id(line), length_m] = line, found
        return found

    def is_on(self, frequency_hz: NDArray[np.float64]) -> bool:
        """Tell whether it is on that grid."""
        return _same(self.frequency_hz, frequency_hz)


def _same(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    return one is other or np.array_equal(one, other)


_MOST_LINES = 256
# The line is kept with what it became, so that no other gets its identity.
_LAST: dict[tuple[int, float | None], tuple[LimitLine, LineOnGrid | None]] = {}


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
    adjusted, line
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

    adjusted: Adjusted
    line: LimitLine
    points: NDArray[np.intp]
    margin: NDArray[np.float64]
    limit: NDArray[np.float64]
    standing: Standing
    note: str
    uncovered: str

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """Grid of the trace."""
        return self.adjusted.measured.frequency_hz

    @property
    def key(self) -> Key:
        """Parameter, end and pairs."""
        return _key_of(self.adjusted)


def _key_of(adjusted: Adjusted) -> Key:
    trace = adjusted.measured
    return trace.parameter, trace.end, trace.pairs


def undecided_row(key: Key, standing: Standing, note: str) -> VerdictRow:
    """Return the row of a trace of which no point could be held against the limit."""
    return VerdictRow(*key, None, None, None, None, None, Outcome.UNDECIDED, standing, note)


def margins_of(
    adjusted: Adjusted, line: LimitLine, on_grid: LineOnGrid, measured: Mapping[Key, Trace], *, stretches: int
) -> Margins | VerdictRow:
    """Return the margins of a trace at the points that may decide; a row where no point counts.

    The margin is value - limit for a ``min`` line, limit - value for a ``max`` line, unrounded.

    Parameters
    ----------
    measured
        The traces as measured, some of which may say where the line does not count.
    stretches
        1: only the worst-margin point; more: the smallest margin of each of so many stretches.
    """
    key = _key_of(adjusted)
    if on_grid.limit.size == 0:
        return undecided_row(key, line.weakest_standing, f"not measured from {on_grid.uncovered}")
    value = adjusted.value[on_grid.inside]
    margin = value - on_grid.limit if line.sense == "min" else on_grid.limit - value
    standing = _standing_of(line, on_grid)
    if adjusted.standing is not None:
        standing = worst_standing(standing, adjusted.standing)
    notes = [adjusted.note] if adjusted.note else []
    found = exempt_points(line.exempt_where, key, adjusted.measured.frequency_hz, measured)
    if found.missing:
        notes.append(f"every point counts, because {found.missing} was not measured")
    exempt = None if found.points is None else found.points[on_grid.inside]
    if exempt is not None and exempt.any() and line.exempt_where is not None:
        rule = line.exempt_where
        standing = worst_standing(standing, rule.standing)
        words = f"does not count where {rule.words()}"
        if exempt.all():
            if on_grid.uncovered:
                return undecided_row(key, standing, f"{words}; not measured from {on_grid.uncovered}")
            words += ": at every point of this measurement"
            return VerdictRow(*key, None, None, None, None, None, Outcome.PASS, standing, words)
        notes.append(f"{words}: {_where(exempt, on_grid)}")
        margin = np.where(exempt, np.inf, margin)
    worst = _worst_point(margin, exempt)
    chosen = _spread(margin, exempt, worst, stretches) if stretches > 1 else np.array([worst])
    inside = np.flatnonzero(on_grid.inside)
    return Margins(
        adjusted,
        line,
        inside[chosen],
        margin[chosen],
        on_grid.limit[chosen],
        standing,
        "; ".join(notes),
        on_grid.uncovered,
    )


def _where(exempt: NDArray[np.bool_], on_grid: LineOnGrid) -> str:
    """Return how many points do not count, and between which frequencies they lie."""
    at_mhz = on_grid.frequency_hz[on_grid.inside][exempt] / 1e6
    count = int(np.count_nonzero(exempt))
    return f"{count} of {exempt.size} points, {at_mhz[0]:.6g} to {at_mhz[-1]:.6g} MHz"


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
