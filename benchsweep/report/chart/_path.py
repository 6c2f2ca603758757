"""Points as the path commands of SVG, in few letters and little time."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from benchsweep.report.chart._lettering import number
from benchsweep.report.chart._model import Floats, Mask

__all__ = ["each", "lines", "outlines"]


class _Words(dict[int, str]):
    """Tenths of a unit as words that may follow each other: ``" 1.2"``, ``"-.5"``.

    Keys are twice the tenths, and one more where the number before has a point: then another point tells that
    a number begins (SVG 1.1, clause 8.3.9: ``1.2.5`` is 1.2 and 0.5).
    """

    def __missing__(self, key: int) -> str:
        tenths, after_point = divmod(key, 2)
        whole, rest = divmod(abs(tenths), 10)
        told = f"{whole or ''}.{rest}" if rest else str(whole)
        if tenths < 0:
            told = f"-{told}"
        elif not (after_point and told.startswith(".")):
            told = f" {told}"
        self[key] = told
        return told


_WORDS = _Words()
_MOST_WORDS = 20_000


def lines(x: Floats, y: Floats, begins: Mask) -> str:
    """Return the path through points; a new piece where `begins` is True. A lone point is a short stroke."""
    return each(x, y, begins, [0, x.size])[0]


def each(x: Floats, y: Floats, begins: Mask, rows: Sequence[int]) -> list[str]:
    """Return the path of each of several curves; curve `i` has the points ``rows[i]`` to ``rows[i + 1]``."""
    if x.size == 0:
        return [""] * (len(rows) - 1)
    if len(_WORDS) > _MOST_WORDS:
        _WORDS.clear()
    both = np.rint(np.stack((x, y), axis=1) * 10.0).astype(np.intp)
    steps = np.zeros_like(both)
    steps[1:] = both[1:] - both[:-1]
    # Points that fall together go, the steps between the others are as they were.
    moves = np.flatnonzero(begins | (steps[:, 0] != 0) | (steps[:, 1] != 0))
    keys = steps[moves].ravel() * 2
    keys[1:] += keys[:-1] % 20 != 0
    words = list(map(_WORDS.__getitem__, keys.tolist()))
    starts = np.flatnonzero(begins[moves])
    heads = (both[moves[starts]] / 10.0).tolist()
    pieces = []
    ends = [*starts[1:].tolist(), moves.size]
    for (left, top), start, stop in zip(heads, starts.tolist(), ends, strict=True):
        way = f"l{''.join(words[2 * start + 2 : 2 * stop]).lstrip()}" if stop - start > 1 else "h.1"
        pieces.append(f"M{number(left)} {number(top)}{way}")
    borders = np.searchsorted(moves[starts], rows).tolist()
    return ["".join(pieces[first:last]) for first, last in pairwise(borders)]


def outlines(lower: tuple[Floats, Floats, Mask], upper: tuple[Floats, Floats, Mask]) -> str:
    """Return closed paths around what lies between two curves that have gaps at the same places."""
    forth = _pieces(*lower)
    back = _pieces(*upper)
    told = []
    for (x0, y0), (x1, y1) in zip(forth, back, strict=True):
        x, y = np.concatenate((x0, x1[::-1])), np.concatenate((y0, y1[::-1]))
        begins = np.zeros(x.size, dtype=np.bool_)
        begins[:1] = True
        told.append(lines(x, y, begins) + "z")
    return "".join(told)


def _pieces(x: Floats, y: Floats, begins: Mask) -> list[tuple[Floats, Floats]]:
    starts = np.flatnonzero(begins)
    stops = np.append(starts[1:], x.size)
    return [(x[start:stop], y[start:stop]) for start, stop in zip(starts, stops, strict=True)]
