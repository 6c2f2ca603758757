"""Which points of curves are drawn: enough that nothing that could be seen is lost, and no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.report.chart._model import Floats, Mask

__all__ = ["STRETCHES", "Points", "thinned"]

STRETCHES = 250
_TOLERANCE = 0.06
_LARGEST_BLOCK = 64


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


def thinned(x: Floats, y: Floats, begin: float, end: float, keep: Mask | None = None) -> Points:
    """Return the points that are drawn.

    The way from `begin` to `end` is cut into 250 stretches. Each gives its least and its greatest value;
    both ends of what is finite, and what is to be kept, are always there. Where lines between fewer points
    leave these by less than 0.06 drawing units, the points between are left out.

    Parameters
    ----------
    x
        ``(n,)`` drawing units, rising.
    y
        ``(k, n)`` drawing units; NaN where nothing is drawn.
    keep
        ``(k, n)`` True: drawn in any case.
    """
    rows, size = y.shape
    finite = np.isfinite(y)
    chosen = finite.copy() if size <= 2 * STRETCHES else _extremes(x, y, finite, begin, end)
    if size:
        chosen[:, 0] |= finite[:, 0]
        chosen[:, -1] |= finite[:, -1]
        edges = finite[:, 1:] != finite[:, :-1]
        chosen[:, 1:] |= edges & finite[:, 1:]
        chosen[:, :-1] |= edges & finite[:, :-1]
    if keep is not None:
        chosen |= keep & finite
    index = np.flatnonzero(chosen)
    place = index % max(size, 1)
    gaps = np.cumsum(~finite)[index] if index.size else index
    row = index // max(size, 1)
    begins = np.ones(index.size, dtype=np.bool_)
    begins[1:] = (gaps[1:] != gaps[:-1]) | (row[1:] != row[:-1])
    at, value = x[place], y.ravel()[index]
    forced = begins if keep is None else begins | keep.ravel()[index]
    stays = _bends(at, value, begins, forced)
    counts = np.bincount(row[stays], minlength=rows)
    return Points(at[stays], value[stays], begins[stays], np.concatenate(([0], np.cumsum(counts))))


def _extremes(x: Floats, y: Floats, finite: Mask, begin: float, end: float) -> Mask:
    """Return where the least and the greatest value of each stretch is, for all curves at once."""
    size = x.size
    stretch = np.clip(np.floor((x - begin) * (STRETCHES / (end - begin))), -1, STRETCHES).astype(np.intp)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(stretch)) + 1))
    counts = np.diff(np.append(starts, size))
    number = np.repeat(np.arange(starts.size), counts)
    chosen = np.zeros(y.size, dtype=np.bool_)
    for extreme, beyond in ((np.minimum, np.inf), (np.maximum, -np.inf)):
        most = extreme.reduceat(y if finite.all() else np.where(finite, y, beyond), starts, axis=1)
        hits = np.flatnonzero(y == np.repeat(most, counts, axis=1))
        # Of equal values the first.
        group = hits // size * starts.size + number[hits % size]
        chosen[hits[np.concatenate(([True], group[1:] != group[:-1]))] if hits.size else hits] = True
    return chosen.reshape(y.shape)


def _bends(x: Floats, y: Floats, begins: Mask, forced: Mask) -> Mask:
    """Return the points that lines need: of 2, 4 ... 64 in a row those between go if a chord will do.

    Blocks of one size do not overlap and those of half the size lie in them, so that each point that is left
    out lies within the tolerance of one line that is drawn.
    """
    stays = np.ones(x.size, dtype=np.bool_)
    block = 2
    while block <= _LARGEST_BLOCK and x.size > block:
        count = (x.size - 1) // block
        stop = 1 + count * block
        x0, y0 = x[: stop - 1 : block, None], y[: stop - 1 : block, None]
        run, rise = x[block:stop:block, None] - x0, y[block:stop:block, None] - y0
        inside_x, inside_y = x[1:stop].reshape(count, block), y[1:stop].reshape(count, block)
        with np.errstate(divide="ignore", invalid="ignore"):
            away = np.abs(inside_y - y0 - (inside_x - x0) * (rise / run))
        straight = np.max(away, axis=1) <= _TOLERANCE
        straight &= ~forced[1:stop].reshape(count, block)[:, :-1].any(axis=1)
        straight &= ~begins[1:stop].reshape(count, block).any(axis=1)
        if not straight.any():
            break  # a chord that does not do for any pair will hardly do for more
        inner = stays[1:stop].reshape(count, block)
        inner[:, :-1] &= ~straight[:, None]
        block *= 2
    return stays
