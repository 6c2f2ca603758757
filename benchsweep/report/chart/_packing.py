"""Values as few letters: differences in as many bytes as they need."""

from __future__ import annotations

import binascii
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from benchsweep.report.chart._model import Floats, Mask

__all__ = ["COARSE_PER_UNIT", "PER_UNIT", "Packed", "packed", "stretches"]

PER_UNIT, COARSE_PER_UNIT = 10_000, 1_000
# Four times as large still is a whole number in a 64-bit float, which a browser counts in.
_LARGEST = 2e11


class Packed(TypedDict):
    """Base64 of the bytes, and the places without a value: begin and end, the end not included."""

    v: str
    gaps: list[list[int]]


def packed(rows: Floats, per_unit: int = PER_UNIT) -> list[Packed]:
    """Pack curves, all at once.

    Values are counted in steps of ``1 / per_unit``. The bytes hold, for each value, its difference to the one
    before (to 0 for the first), as an unsigned number (0, -1, 1, -2 ... as 0, 1, 2, 3 ...) of seven bits a
    byte, the least significant first, the eighth bit set in all but the last byte of a number. Where there is
    no value the difference is 0.

    Parameters
    ----------
    rows
        ``(k, n)``; without a value where not finite, or too large to be counted (2e11).
    per_unit
        How many steps a value of 1 has, up to 10 000.
    """
    count, size = rows.shape
    if size == 0:
        return [{"v": "", "gaps": []} for _ in range(count)]
    present = np.abs(rows) <= _LARGEST
    whole = np.rint(np.where(present, rows, 0.0) * per_unit).astype(np.int64)
    if not present.all():
        whole = _filled(whole, present)
    steps = np.diff(whole, axis=1, prepend=0)
    numbers = ((steps << 1) ^ (steps >> 63)).ravel()
    data, stops = _bytes(numbers)
    ends = stops[size - 1 :: size].tolist()
    told: list[Packed] = []
    for row, (start, stop) in enumerate(zip([0, *ends], ends, strict=False)):
        letters = binascii.b2a_base64(data[start:stop], newline=False).decode("ascii")
        told.append({"v": letters, "gaps": stretches(~present[row])})
    return told


def _filled(whole: NDArray[np.int64], present: Mask) -> NDArray[np.int64]:
    """Return the numbers with the last one present (0 at first) in each gap."""
    last = np.maximum.accumulate(np.where(present, np.arange(whole.shape[1]), -1), axis=1)
    kept = np.take_along_axis(whole, np.maximum(last, 0), axis=1)
    return np.where(last >= 0, kept, 0)


def _bytes(numbers: NDArray[np.int64]) -> tuple[bytes, NDArray[np.intp]]:
    """Return all numbers as bytes, and where each ends."""
    lengths = np.ones(numbers.size, dtype=np.intp)
    rest = numbers >> 7
    while rest.any():
        lengths += rest > 0
        rest >>= 7
    stops = np.cumsum(lengths)
    data = np.empty(int(stops[-1]), dtype=np.uint8)
    which, at, left = np.arange(numbers.size), stops - lengths, numbers
    while which.size:
        more = left > 0x7F
        data[at] = (left & 0x7F) | (more << 7)
        at, left = at[more] + 1, left[more] >> 7
        which = which[more]
    return data.tobytes(), stops


def stretches(mask: Mask) -> list[list[int]]:
    """Return where `mask` is True: begin and end of each stretch, the end not included."""
    if not mask.any():
        return []
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    return edges.reshape(-1, 2).tolist()
