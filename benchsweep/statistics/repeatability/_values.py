"""Tables of values that come in: finite, of the right shape, large enough."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchsweep.errors import UsageError

__all__ = ["Floats", "crossed", "finite"]

Floats = NDArray[np.float64]


def finite(values: ArrayLike, *, what: str) -> Floats:
    """Return values as float64 of any shape.

    Raises
    ------
    UsageError
        Rows of different lengths, or a value that is no finite number.
    """
    try:
        found = np.asarray(values, dtype=np.float64)
    except ValueError:
        raise UsageError(
            f"{what}: rows of different lengths", hint="Measure what is missing, or use a nested study."
        ) from None
    wrong = np.argwhere(~np.isfinite(found))
    if wrong.size:
        place = tuple(int(each) for each in wrong[0])
        told = ", ".join(str(each + 1) for each in place)
        raise UsageError(f"{what}: value ({told}) is {found[place]}", hint="Every run needs a finite value.")
    return found


def crossed(values: ArrayLike, *, what: str) -> Floats:
    """Return values ``(part, operator, trial)`` of a crossed study, two or more of each.

    Raises
    ------
    UsageError
    """
    found = finite(values, what=what)
    if found.ndim != 3:
        raise UsageError(
            f"{what}: values by part, operator and trial are needed, not {found.ndim} dimensions"
        )
    for count, name in zip(found.shape, ("part", "operator", "trial"), strict=True):
        if count < 2:
            raise UsageError(
                f"{what} with {count} {name}{'' if count == 1 else 's'}", hint="It takes two or more."
            )
    return found
