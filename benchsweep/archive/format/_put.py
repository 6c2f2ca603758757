"""Put attributes and data sets into an HDF5 file by the plain calls of the library.

What is stored is the same, to the byte, as by the convenient calls of h5py. Those find out anew each time
what is known here, which for a small file takes longer than all the rest.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import h5py
import numpy as np

from benchsweep.archive.format._digests import Scalar, Values
from benchsweep.archive.format._hollow import HollowFile

__all__ = ["put_attribute", "put_data"]

_TEXT = h5py.string_dtype("utf-8")
_STORED_TEXT = h5py.h5t.py_create(_TEXT, logical=True)
_SINGLE = h5py.h5s.create(h5py.h5s.SCALAR)
_WHOLE = h5py.h5s.ALL
# Without the time at which it was made: equal content gives equal bytes.
_UNTIMED = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
_UNTIMED.set_obj_track_times(False)


def put_attribute(item: Any, key: str, value: Scalar) -> None:
    """Store one attribute of the group or data set with the h5py identifier `item`; it must be new."""
    if isinstance(value, str):
        made = h5py.h5a.create(item, key.encode("ascii"), _STORED_TEXT, _SINGLE)
        made.write(np.array(value, dtype=_TEXT))
        return
    number = np.array(value, dtype=np.float64 if isinstance(value, float) else np.int64)
    h5py.h5a.create(item, key.encode("ascii"), _stored(number.dtype), _SINGLE).write(number)


def put_data(group: Any, key: str, values: Values, apart: HollowFile | None = None) -> Any:
    """Store a data set in the group with the h5py identifier `group`; return its own identifier.

    Parameters
    ----------
    apart
        The file that the group is in, when it is one that keeps large arrays apart.
    """
    if isinstance(values, np.ndarray):
        kept = None if apart is None else apart.keep(group, key, values)
        if kept is not None:
            return kept
        data, stored = np.ascontiguousarray(values), _stored(values.dtype)
    else:
        data, stored = np.array(values, dtype=_TEXT), _STORED_TEXT
    space = h5py.h5s.create_simple(data.shape) if data.ndim else _SINGLE
    made = h5py.h5d.create(group, key.encode("ascii"), stored, space, _UNTIMED)
    made.write(_WHOLE, _WHOLE, data)
    return made


@cache
def _stored(dtype: np.dtype[Any]) -> Any:
    return h5py.h5t.py_create(dtype, logical=True)
