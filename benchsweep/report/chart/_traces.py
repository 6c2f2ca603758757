"""Values over a grid as paths, cut off at the panel where they reach out of it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from benchsweep.report.chart._layout import Frame
from benchsweep.report.chart._model import Floats, Mask
from benchsweep.report.chart._path import each, outlines
from benchsweep.report.chart._thinning import thinned

__all__ = ["Piece", "Trace", "between", "gapped", "traced"]

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
    """

    piece: Piece
    path: str
    clip: str


def gapped(y: Floats, shown: Mask, *, joined: bool = False) -> Floats:
    """Return `y` where `shown`, else NaN; `joined`: and at the neighbours, so that no gap opens to them."""
    if joined:
        wider = shown.copy()
        wider[1:] |= shown[:-1]
        wider[:-1] |= shown[1:]
        shown = wider
    return np.where(shown, y, np.nan)


def traced(
    frame: Frame, x: Floats, y: Floats, keep: Mask | None = None, paths: int | None = None
) -> list[Trace]:
    """Return what is drawn of rows of values over one grid.

    Parameters
    ----------
    x, y
        ``(n,)`` and ``(k, n)`` drawing units; not drawn where NaN.
    keep
        ``(k, n)`` True: drawn in any case.
    paths
        The number of rows, from the first, whose path is wanted; None: of all.
    """
    usable = np.isfinite(x)
    if not usable.all():
        x, y, keep = x[usable], y[:, usable], None if keep is None else keep[:, usable]
    points = thinned(x, y, frame.left, frame.right, keep)
    rows = points.rows.tolist()
    outside = points.y < frame.top - 0.05
    outside |= points.y > frame.bottom + 0.05
    outside |= points.x < frame.left - 0.05
    outside |= points.x > frame.right + 0.05
    beyond = np.diff(np.searchsorted(np.flatnonzero(outside), rows)).tolist()
    lined = len(rows) - 1 if paths is None else paths
    stop = rows[lined]
    told = each(points.x[:stop], points.y[:stop], points.begins[:stop], rows[: lined + 1])
    clip = f' clip-path="url(#{frame.clip})"'
    return [
        Trace(
            (points.x[first:last], points.y[first:last], points.begins[first:last]),
            told[row] if row < lined else "",
            clip if beyond[row] else "",
        )
        for row, (first, last) in enumerate(pairwise(rows))
    ]


def between(lower: Trace, upper: Trace, look: str) -> str:
    """Return what lies between two rows that have gaps at the same places; empty if that is nothing."""
    path = outlines(lower.piece, upper.piece)
    return f'<path d="{path}" {look}{lower.clip or upper.clip}/>' if path else ""
