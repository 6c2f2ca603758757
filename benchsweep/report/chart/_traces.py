"""Values over a grid as paths, cut off at the panel where they reach out of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from benchsweep.report.chart._layout import Frame
from benchsweep.report.chart._model import Floats, Mask
from benchsweep.report.chart._path import each, outlines
from benchsweep.report.chart._thinning import FINE, Thinning, thinned

__all__ = ["Piece", "Trace", "Traces", "between", "gapped"]

Piece: TypeAlias = tuple[Floats, Floats, Mask]
"""x and y of points (drawing units), and where pieces without gaps begin."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The points that are drawn of a row of values.

    Parameters
    ----------
    piece
        The points.
    path
        Its commands; empty if there is nothing to draw, or if only the points were wanted.
    clip
        The attribute that cuts it off at the panel; empty where it stays inside.
    lone
        The points inside the panel that have no neighbour.
    """

    piece: Piece
    path: str
    clip: str
    lone: Sequence[tuple[float, float]] = ()

    def line(self, look: str) -> str:
        """Return it as a line that looks like that; empty if there is nothing to draw."""
        return f'<path d="{self.path}" fill="none" {look}{self.clip}/>' if self.path else ""


def gapped(y: Floats, shown: Mask, *, joined: bool = False) -> Floats:
    """Return `y` where `shown`, else NaN; `joined`: and at the neighbours, so that no gap opens to them."""
    if joined:
        wider = shown.copy()
        wider[1:] |= shown[:-1]
        wider[:-1] |= shown[1:]
        shown = wider
    return np.where(shown, y, np.nan)


@dataclass(slots=True, eq=False)
class _Grid:
    x: Floats
    rows: list[tuple[int, Floats, Mask | None]] = field(default_factory=list)
    points_only: list[tuple[int, Floats, Mask | None]] = field(default_factory=list)


class Traces:
    """Rows of values of a panel; those over one grid are thinned and written together.

    First all are told to `add`, then `made` gives what is drawn of each.
    """

    def __init__(self, frame: Frame, thinning: Thinning = FINE) -> None:
        self._thinning = thinning
        self._frame = frame
        self._grids: dict[bytes, _Grid] = {}
        self._keys: dict[int, tuple[Floats, bytes]] = {}
        self._count = 0

    def add(self, x: Floats, y: Floats, keep: Mask | None = None, *, points_only: bool = False) -> int:
        """Take a row of values and return its number.

        Parameters
        ----------
        x, y
            ``(n,)`` values; not drawn where `y` is NaN.
        keep
            ``(n,)`` True: drawn in any case.
        points_only
            The path is not wanted.
        """
        if id(x) not in self._keys:
            # The array is kept beside it, so that no other takes its identity.
            self._keys[id(x)] = (x, x.tobytes())
        grid = self._grids.setdefault(self._keys[id(x)][1], _Grid(x))
        (grid.points_only if points_only else grid.rows).append((self._count, y, keep))
        self._count += 1
        return self._count - 1

    def made(self) -> list[Trace]:
        """Return what is drawn of all rows, by their numbers."""
        found: dict[int, Trace] = {}
        for grid in self._grids.values():
            rows = [*grid.rows, *grid.points_only]
            traces = _traced(self._frame, grid.x, rows, len(grid.rows), self._thinning)
            found.update(zip((number for number, _, _ in rows), traces, strict=True))
        return [found[number] for number in range(self._count)]


def _traced(
    frame: Frame, x: Floats, rows: Sequence[tuple[int, Floats, Mask | None]], lined: int, by: Thinning
) -> list[Trace]:
    """Return what is drawn of rows over one grid; the first `lined` get paths."""
    at, y = frame.x(x), frame.y(np.array([row for _, row, _ in rows]))
    keep: Mask | None = None
    for place, (_, _, wanted) in enumerate(rows):
        if wanted is not None:
            keep = np.zeros(y.shape, dtype=np.bool_) if keep is None else keep
            keep[place] = wanted
    usable = np.isfinite(at)
    if not usable.all():
        at, y, keep = at[usable], y[:, usable], None if keep is None else keep[:, usable]
    points = thinned(at, y, frame.left, frame.right, keep, by=by)
    outside = points.y < frame.top - 0.05
    outside |= points.y > frame.bottom + 0.05
    outside |= points.x < frame.left - 0.05
    outside |= points.x > frame.right + 0.05
    borders = points.rows.tolist()
    beyond = np.diff(np.searchsorted(np.flatnonzero(outside), borders)).tolist()
    stop = borders[lined]
    told = each(points.x[:stop], points.y[:stop], points.begins[:stop], borders[: lined + 1])
    told += [""] * (len(rows) - lined)
    alone = points.begins & np.append(points.begins[1:], True) & ~outside
    some = bool(alone.any())
    clip = f' clip-path="url(#{frame.clip})"'
    return [
        Trace(
            (points.x[first:last], points.y[first:last], points.begins[first:last]),
            told[row],
            clip if beyond[row] else "",
            list(
                zip(
                    *(part[first:last][alone[first:last]].tolist() for part in (points.x, points.y)),
                    strict=True,
                )
            )
            if some
            else (),
        )
        for row, (first, last) in enumerate(pairwise(borders))
    ]


def between(lower: Trace, upper: Trace, look: str) -> str:
    """Return what lies between two rows that have gaps at the same places; empty if that is nothing."""
    path = outlines(lower.piece, upper.piece)
    return f'<path d="{path}" {look}{lower.clip or upper.clip}/>' if path else ""
