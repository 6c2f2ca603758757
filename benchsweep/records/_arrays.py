from __future__ import annotations

from typing import Any
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import NDArray


def frozen_array(values: Any, dtype: type, shape: tuple[int | None, ...], name: str) -> NDArray[Any]:
    """Return `values` as a read-only array of `dtype`, refusing another shape (None matches any length).

    The one place where arrays are checked on their way into a record. What nobody can write to any more is
    taken as it is, anything else is copied.

    Raises
    ------
    ValueError
        The shape differs.
    """
    array: NDArray[Any] = values if _is_frozen(values, dtype) else np.array(values, dtype=dtype)
    fits = array.shape == shape or (
        array.ndim == len(shape)
        and all(want is None or got == want for got, want in zip(array.shape, shape, strict=True))
    )
    if not fits:
        wanted = tuple("any" if n is None else n for n in shape)
        raise ValueError(f"{name}: shape {array.shape}, expected {wanted}")
    array.flags.writeable = False
    return array


def _is_frozen(values: Any, dtype: type) -> bool:
    """Tell whether `values` is a read-only array of `dtype`, and so is all that it is a view of."""
    if type(values) is not np.ndarray or values.dtype != dtype:
        return False
    while type(values) is np.ndarray:
        if values.flags.writeable:
            return False
        values = values.base
    return values is None


_GRIDS: WeakValueDictionary[int, NDArray[np.float64]] = WeakValueDictionary()
"""Grids that were found right and are in use, by their identity: all traces of a matrix share one."""


def frozen_grid(
    values: Any, name: str = "frequency_hz", *, may_be_empty: bool = False
) -> NDArray[np.float64]:
    """Return a read-only, strictly rising, positive frequency grid in Hz.

    Parameters
    ----------
    may_be_empty
        For arrays that may have been left out when a record was read.

    Raises
    ------
    ValueError
        Empty, not finite, not positive or not rising.
    """
    grid = frozen_array(values, np.float64, (None,), name)
    if _GRIDS.get(id(grid)) is grid:
        return grid
    if grid.size == 0 and may_be_empty:
        return grid
    if grid.size == 0 or not np.all(np.isfinite(grid)) or grid[0] <= 0.0 or np.any(np.diff(grid) <= 0.0):
        raise ValueError(f"{name}: a frequency grid must be positive, finite and strictly rising")
    _GRIDS[id(grid)] = grid
    return grid
