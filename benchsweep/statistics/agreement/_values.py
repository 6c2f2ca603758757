"""Numbers that come in: finite, enough of them, of one shape."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchsweep.errors import UsageError

__all__ = ["Floats", "finite", "number", "part", "row"]

Floats = NDArray[np.float64]


def finite(values: ArrayLike, *, what: str) -> Floats:
    """Return values of any shape as float64, all finite.

    Raises
    ------
    UsageError
        One that is no finite number; its place counts from 1.
    """
    found = np.asarray(values, dtype=np.float64)
    wrong = np.flatnonzero(~np.isfinite(found))
    if wrong.size:
        place = f"value {int(wrong[0]) + 1} of {what}" if found.ndim else what
        raise UsageError(f"{place} is {found.ravel()[wrong[0]]}", hint="Leave out what has no finite value.")
    return found


def row(values: Sequence[float] | Floats, *, least: int, what: str) -> Floats:
    """Return values as ``(n,)`` float64, all finite.

    Raises
    ------
    UsageError
        As `finite`; not a plain row; fewer than `least`.
    """
    found = finite(values, what=what)
    if found.ndim != 1:
        raise UsageError(f"{what}: a row of values is needed, this has {found.ndim} dimensions")
    if found.size < least:
        raise UsageError(
            f"{what}: {least} values or more are needed, there are {found.size}",
            hint="Wait for more results.",
        )
    return found


def number(value: float, *, what: str, above: float | None = None) -> float:
    """Return a finite number, above a bound where one is given.

    Raises
    ------
    UsageError
    """
    if not math.isfinite(value) or (above is not None and not value > above):
        bound = "" if above is None else f" above {above:g}"
        raise UsageError(f"{what} of {value:g} makes no sense", hint=f"Give a finite number{bound}.")
    return float(value)


def part(value: float, *, what: str) -> float:
    """Return a share between 0 and 1, both left out.

    Raises
    ------
    UsageError
    """
    if not 0.0 < value < 1.0:
        raise UsageError(f"{what} of {value:g} makes no sense", hint="Give a number between 0 and 1.")
    return float(value)
