"""Which points of curves are drawn: enough that nothing that could be seen is lost, and no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.report.chart._model import Floats, Mask

__all__ = ["COARSE", "FINE", "Points", "Thinning", "thinned"]

_LARGEST_BLOCK = 64


@dataclass(frozen=True, slots=True)
class Thinning:
    """How much is left out.

    Parameters
    ----------
    stretches
        Into how many the width of a panel is cut; each keeps its least and its greatest value.
    tolerance
        How far these may then lie from the lines that are drawn, in drawing units.
    """

    stretches: int
    tolerance: float


FINE, COARSE = Thinning(250, 0.1), Thinning(100, 0.4)


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Points of several curves, one curve after the other.

    Parameters
    ----------
    x, y
        ``(m,)`` drawing units.
    begins
        ``(m,)`` True where a stretch without gaps begins.
    rows
        ``(k + 1,)`` where each of the curves begins, and the end.
    """

    x: Floats
    y: Floats
    begins: Mask
    rows: NDArray[np.intp]


def thinned(
    x: Floats, y: Floats, begin: float, end: float, keep: Mask | None = None, *, by: Thinning = FINE
) -> Points:
    """Return the points that are drawn.

    The way from `begin` to `end` is cut into stretches. Each gives its least and its greatest value; both
    ends of what is finite, and what is to be kept, are always there. Where lines between fewer points leave
    these by no more than the tolerance, the points between are left out.

    Parameters
    ----------
    x
        ``(n,)`` drawing units, rising.
    y
        ``(k, n)`` drawing units; NaN where nothing is drawn.
    keep
        ``(k, n)`` True: drawn in any case.
    by
        How much is left out.
    """
    rows, size = y.shape
    finite = np.isfinite(y)
    whole = bool(finite.all())
    chosen = (
        finite.copy()
        if size <= 2 * by.stretches
        else _extremes(x, y, None if whole else finite, begin, end, by.stretches)
    )
    if size:
        chosen[:, 0] |= finite[:, 0]
        chosen[:, -1] |= finite[:, -1]
    if not whole:
        edges = finite[:, 1:] != finite[:, :-1]
        chosen[:, 1:] |= edges & finite[:, 1:]
        chosen[:, :-1] |= edges & finite[:, :-1]
    if keep is not None:
        chosen |= keep & finite
    row, place = np.nonzero(chosen)
    begins = np.ones(row.size, dtype=np.bool_)
    begins[1:] = row[1:] != row[:-1]
    if not whole:
        gaps = np.cumsum(~finite, axis=1)[row, place]
        begins[1:] |= gaps[1:] != gaps[:-1]
    at, value = x[place], y[row, place]
    forced = begins if keep is None else begins | keep[row, place]
    stays = _bends(at, value, begins, forced, by.tolerance)
    counts = np.bincount(row[stays], minlength=rows)
    return Points(at[stays], value[stays], begins[stays], np.concatenate(([0], np.cumsum(counts))))


def _extremes(x: Floats, y: Floats, finite: Mask | None, begin: float, end: float, stretches: int) -> Mask:
    """Return where the least and the greatest value of each stretch is, for all curves at once."""
    size = x.size
    stretch = np.clip(np.floor((x - begin) * (stretches / (end - begin))), -1, stretches).astype(np.intp)
    starts = np.concatenate(([0], np.flatnonzero(stretch[1:] != stretch[:-1]) + 1))
    number = np.repeat(np.arange(starts.size), np.diff(np.append(starts, size)))
    chosen = np.zeros(y.shape, dtype=np.bool_)
    for extreme, beyond in ((np.minimum, np.inf), (np.maximum, -np.inf)):
        most = extreme.reduceat(y if finite is None else np.where(finite, y, beyond), starts, axis=1)
        hits = y == most[:, number]
        row, place = np.nonzero(hits)
        if row.size > most.size:
            # Of equal values the first.
            group = row * starts.size + number[place]
            again = np.flatnonzero(group[1:] == group[:-1]) + 1
            hits[row[again], place[again]] = False
        chosen |= hits
    return chosen


def _bends(x: Floats, y: Floats, begins: Mask, forced: Mask, tolerance: float) -> Mask:
    """Return the points that lines need: of 2, 4 ... 64 in a row those between go if a chord will do.

    Blocks of one size do not overlap and those of half the size lie in them, so that each point that is left
    out lies within the tolerance of one line that is drawn.
    """
    stays = np.ones(x.size, dtype=np.bool_)
    count = (x.size - 1) // 2
    stop = 1 + 2 * count
    free = ~(forced[1:stop:2] | begins[1:stop:2] | begins[2:stop:2])
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = (y[2:stop:2] - y[: stop - 2 : 2]) / (x[2:stop:2] - x[: stop - 2 : 2])
        away = np.abs(y[1:stop:2] - y[: stop - 2 : 2] - (x[1:stop:2] - x[: stop - 2 : 2]) * rise)
    straight = np.flatnonzero(free & (away <= tolerance))
    block = 2
    while straight.size:
        # The other points between went with the halves.
        stays[straight * block + block // 2] = False
        block *= 2
        if block > _LARGEST_BLOCK:
            break
        # Only what is straight in both halves is tried as a whole.
        pairs = straight[:-1][(straight[:-1] % 2 == 0) & (straight[1:] == straight[:-1] + 1)] // 2
        pairs = pairs[~forced[pairs * block + block // 2]]
        straight = pairs[_straight(x, y, pairs * block, block, tolerance)]
    return stays


def _straight(x: Floats, y: Floats, starts: NDArray[np.intp], block: int, tolerance: float) -> Mask:
    """Return whether a chord over `block` steps from each start leaves no point by more than is allowed."""
    inner = starts[:, None] + np.arange(1, block)
    x0, y0 = x[starts], y[starts]
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = (y[starts + block] - y0) / (x[starts + block] - x0)
        away = np.abs(y[inner] - y0[:, None] - (x[inner] - x0[:, None]) * rise[:, None])
    fits: Mask = np.max(away, axis=1, initial=0.0) <= tolerance
    return fits
