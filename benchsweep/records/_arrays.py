from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def frozen_array(values: Any, dtype: type, shape: tuple[int | None, ...], name: str) -> NDArray[Any]:
    """Return `values` as a read-only array of `dtype`, refusing another shape (None matches any length).

    The one place where arrays are checked on their way into a record.

    Raises
    ------
    ValueError
        The shape differs.
    """
    array: NDArray[Any] = np.array(values, dtype=dtype)
    fits = array.shape == shape or (
        array.ndim == len(shape)
        and all(want is None or got == want for got, want in zip(array.shape, shape, strict=True))
    )
    if not fits:
        wanted = tuple("any" if n is None else n for n in shape)
        raise ValueError(f"{name}: shape {array.shape}, expected {wanted}")
    array.flags.writeable = False
    return array


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
    if grid.size == 0 and may_be_empty:
        return grid
    if grid.size == 0 or not np.all(np.isfinite(grid)) or grid[0] <= 0.0 or np.any(np.diff(grid) <= 0.0):
        raise ValueError(f"{name}: a frequency grid must be positive, finite and strictly rising")
    return grid
