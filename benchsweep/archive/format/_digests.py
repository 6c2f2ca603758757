"""Checksums of items and of the content as a whole.

They are such that a reader with nothing but h5py can tell *which* item changed:

- ``sha256`` of a data set: over its bytes in C order, little-endian; of text: UTF-8, a zero byte after each;
- ``attributes_sha256`` of every group and data set: over ``json.dumps(attributes, sort_keys=True)`` of its
  attributes other than these checksums;
- ``content_sha256`` of the root: over one line per group and data set, sorted: path, shape, type and the
  checksums. It does not depend on how HDF5 lays the file out, and names the content.

Files of unfinished work have none of these, see `TRANSIENT` of the seal.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Scalar",
    "Values",
    "as_texts",
    "attributes_digest",
    "data_digest",
    "digest_of_lines",
    "line",
    "shape_words",
    "stored_digest",
]

Scalar = str | int | float
Values = NDArray[Any] | tuple[str, ...] | str

_PIECE = 1 << 24


def shape_words(item: Any) -> str:
    """Return shape and type of a data set as one text."""
    return f"{'x'.join(str(n) for n in item.shape) or 'scalar'} {_type_name(item.dtype)}"


def _type_name(dtype: Any) -> str:
    return "text" if h5py.check_string_dtype(dtype) is not None else str(np.dtype(dtype).str)


def as_texts(values: tuple[str, ...] | str) -> tuple[str, ...]:
    """Return one text or several as several."""
    return (values,) if isinstance(values, str) else values


def data_digest(values: Values) -> str:
    """Return the checksum of the data of a data set."""
    if isinstance(values, np.ndarray):
        little = values.astype(values.dtype.newbyteorder("<"), order="C", copy=False)
        return hashlib.sha256(little.data).hexdigest()
    return hashlib.sha256("".join(f"{text}\0" for text in as_texts(values)).encode("utf-8")).hexdigest()


def attributes_digest(attributes: Mapping[str, Scalar]) -> str:
    """Return the checksum of a block of attributes."""
    return hashlib.sha256(json.dumps(dict(attributes), sort_keys=True).encode("ascii")).hexdigest()


def line(where: str, about: str, attributes: str) -> str:
    """Return the line of a group or data set that the content hash is made of."""
    return f"{where} {about or 'group'} {attributes}\n"


def digest_of_lines(lines: list[str]) -> str:
    """Return the content hash."""
    return hashlib.sha256("".join(sorted(lines)).encode("utf-8")).hexdigest()


def stored_digest(item: Any) -> str:
    """Return the checksum of a numeric data set, read piece by piece when it is large."""
    if item.ndim == 0 or item.nbytes <= _PIECE:
        return data_digest(item[()])
    digest = hashlib.sha256()
    rows = max(_PIECE * item.shape[0] // item.nbytes, 1)
    for first in range(0, item.shape[0], rows):
        piece = item[first : first + rows]
        digest.update(piece.astype(piece.dtype.newbyteorder("<"), order="C", copy=False).data)
    return digest.hexdigest()
