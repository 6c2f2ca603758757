"""Numbers that come in: finite, enough of them, each with a label."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError

__all__ = ["Floats", "baseline_of", "finite", "labelled"]

Floats = NDArray[np.float64]


def finite(values: Sequence[float] | Floats, *, least: int, what: str) -> Floats:
    """Return values as ``(n,)`` float64.

    Raises
    ------
    UsageError
        Fewer than `least`, or one that is no finite number.
    """
    found = np.asarray(values, dtype=np.float64)
    if found.ndim != 1 or found.size < least:
        raise UsageError(
            f"{what} needs {least} values or more, there are {found.size}", hint="Wait for more results."
        )
    if not np.isfinite(found).all():
        place = int(np.flatnonzero(~np.isfinite(found))[0])
        raise UsageError(
            f"{what}: value {place + 1} is {found[place]}", hint="Leave out what has no finite value."
        )
    return found


def labelled(values: Sequence[float] | Floats, labels: Sequence[str], *, least: int, what: str) -> Floats:
    """Return values as `finite` does; a value that is none is named by its label.

    Raises
    ------
    UsageError
        As `finite`, or not as many labels as values.
    """
    found = np.asarray(values, dtype=np.float64)
    if found.ndim != 1 or len(labels) != found.size:
        raise UsageError(f"{what}: {len(labels)} labels for {found.size} values")
    wrong = np.flatnonzero(~np.isfinite(found))
    if wrong.size:
        place = int(wrong[0])
        raise UsageError(
            f"{what}: the value of {labels[place]} is {found[place]}",
            hint="Leave out what has no finite value.",
        )
    return finite(found, least=least, what=what)


def baseline_of(count: int, baseline: int | None, *, least: int = 2) -> int:
    """Return how many of the first points set centre and limits.

    Raises
    ------
    UsageError
        Fewer than `least`, or more than there are.
    """
    if baseline is None:
        return count
    if not least <= baseline <= count:
        raise UsageError(
            f"a baseline of {baseline} points", hint=f"Give {least} to {count}: so many points there are."
        )
    return baseline
