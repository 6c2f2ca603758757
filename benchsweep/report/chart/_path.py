"""Points as the path commands of SVG, in few letters and little time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.report.chart._lettering import number
from benchsweep.report.chart._model import Floats, Mask

__all__ = ["lines", "lone", "outlines"]


class _Words(dict[int, str]):
    """Tenths of a unit as words that may follow each other: ``" 1.2"``, ``"-.5"``."""

    def __missing__(self, tenths: int) -> str:
        whole, rest = divmod(abs(tenths), 10)
        told = f"{whole or ''}.{rest}" if rest else str(whole)
        told = f"{'-' if tenths < 0 else ' '}{told}"
        self[tenths] = told
        return told


_WORDS = _Words()
_MOST_WORDS = 20_000


def _tenths(values: Floats) -> NDArray[np.intp]:
    return np.rint(values * 10.0).astype(np.intp)


def lines(x: Floats, y: Floats, begins: Mask) -> str:
    """Return the path through points; a new piece where `begins` is True. A lone point is a short stroke."""
    return "".join(_strokes(x, y, begins))


def lone(x: Floats, y: Floats, begins: Mask) -> list[tuple[float, float]]:
    """Return the points without a neighbour."""
    alone = np.flatnonzero(begins & np.append(begins[1:], True))
    return list(zip(x[alone].tolist(), y[alone].tolist(), strict=True))


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


def _strokes(x: Floats, y: Floats, begins: Mask) -> list[str]:
    if x.size == 0:
        return []
    if len(_WORDS) > _MOST_WORDS:
        _WORDS.clear()
    both = np.column_stack((_tenths(x), _tenths(y)))
    steps = np.zeros_like(both)
    steps[1:] = both[1:] - both[:-1]
    moves = begins | steps.any(axis=1)
    both, steps, begins = both[moves], steps[moves], begins[moves]
    # Points that fall together have gone, the steps between the others are as they were.
    words = list(map(_WORDS.__getitem__, steps.ravel().tolist()))
    starts = np.flatnonzero(begins).tolist()
    told = []
    for start, stop in zip(starts, [*starts[1:], both.shape[0]], strict=True):
        head = f"M{number(both[start, 0] / 10.0)} {number(both[start, 1] / 10.0)}"
        told.append(
            f"{head}l{''.join(words[2 * start + 2 : 2 * stop])}" if stop - start > 1 else f"{head}h.1"
        )
    return told
