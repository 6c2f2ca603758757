"""Results that are kept because they are asked for again, the oldest forgotten first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable

import numpy as np
from numpy.typing import NDArray

__all__ = ["KeptMatrices"]

Complex = NDArray[np.complex128]

_MOST_BYTES = 96 << 20
_FEWEST, _MOST = 3, 256


class KeptMatrices:
    """Matrices by key, within a limit of memory; the last few stay in any case."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, tuple[object, Complex]] = OrderedDict()
        self._bytes = 0

    def __contains__(self, key: Hashable) -> bool:
        return key in self._kept

    def get(self, key: Hashable, owner: object, compute: Callable[[], Complex]) -> Complex:
        """Return the matrix of `key`, computed when it is not kept. Nobody may change it.

        Parameters
        ----------
        owner
            What an ``id()`` in the key belongs to: kept beside the matrix, so that it does not come back as
            another object's.
        """
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key][1]
        matrix = compute()
        self._kept[key] = owner, matrix
        self._bytes += matrix.nbytes
        while len(self._kept) > (_FEWEST if self._bytes > _MOST_BYTES else _MOST):
            _, (_, oldest) = self._kept.popitem(last=False)
            self._bytes -= oldest.nbytes
        return matrix
