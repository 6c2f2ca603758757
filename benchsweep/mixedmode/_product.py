"""``M S M^T`` without a general matrix product: every row of ``M`` has but two entries, +-1/sqrt(2)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["modes_of_legs"]


def modes_of_legs(
    s: NDArray[np.complex128], plus: list[int], minus: list[int], *, common: bool = True
) -> NDArray[np.complex128]:
    """Return ``(n_freq, n_mode, n_mode)``, read-only: differential modes, then the common ones if wanted.

    With legs p and m of each pair, for example of the differential wave out and the common wave in,
    ``S_dc = ((S_pp + S_pm) - (S_mp + S_mm)) / 2``. In memory the frequency comes last, so that
    ``s[:, i, j]``, of which traces are made, stands together.

    Parameters
    ----------
    s
        ``(n_freq, n_leg, n_leg)``.
    plus, minus
        Places of the positive and of the negative leg of every pair.
    common
        False: no common modes, a quarter of the work.
    """
    n, n_freq = len(plus), s.shape[0]
    n_mode = 2 * n if common else n
    modes = np.empty((n_mode, n_mode, n_freq), dtype=np.complex128)
    for begin in range(0, n_freq, _AT_ONCE):
        some = s[begin : begin + _AT_ONCE]
        here = slice(begin, begin + some.shape[0])
        out = np.empty((n_mode, some.shape[0], s.shape[2]), dtype=np.complex128)
        for row, (p, m) in enumerate(zip(plus, minus, strict=True)):
            np.subtract(some[:, p], some[:, m], out=out[row])
            if common:
                np.add(some[:, p], some[:, m], out=out[n + row])
        out *= 0.5
        for column, (p, m) in enumerate(zip(plus, minus, strict=True)):
            np.subtract(out[:, :, p], out[:, :, m], out=modes[:, column, here])
            if common:
                np.add(out[:, :, p], out[:, :, m], out=modes[:, n + column, here])
    modes.flags.writeable = False
    return modes.transpose(2, 0, 1)


_AT_ONCE = 256
"""Frequencies at once: what is between legs and modes stays in the cache."""
