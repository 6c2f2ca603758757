"""Read a group of an open HDF5 file; for files of version 1, and to check those of version 2."""

from __future__ import annotations

import os
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format._migrations import supplied
from benchsweep.archive.format._node import Node
from benchsweep.archive.format._seal import Span
from benchsweep.archive.places import Source

__all__ = ["HdfNode"]


class HdfNode(Node):
    """A group of an open HDF5 file.

    Parameters
    ----------
    group
        The h5py group; None for one that a file of an earlier version has not, and that counts as empty.
    where
        Its path in the file.
    path
        The file, or its address, for messages.
    size
        Its length in bytes; no data set can be larger.
    version
        Version of the format.
    apart
        The stretch of the file that its seal leaves out.
    """

    def __init__(
        self, group: Any, where: str, path: Source, size: int, version: int, apart: Span | None = None
    ) -> None:
        self.group = group
        self.where = where
        self.path = path
        self.apart = apart
        self.size = size
        self._version = version

    def child(self, name: str) -> Node:
        if not self.contains(name) and supplied(self._version, name, "") is not None:
            return HdfNode(None, self.below(name), self.path, self.size, self._version)
        return super().child(name)

    def optional(self, name: str) -> HdfNode | None:
        if not self.contains(name):
            return None
        item = self._own(name)
        if not isinstance(item, h5py.Group):
            raise self.wrong(name, "should be a group")
        return HdfNode(item, self.below(name), self.path, self.size, self._version, self.apart)

    def group_or_none(self, name: str) -> HdfNode | None:
        """Return the item `name` if it is a group."""
        kind = self.group.get(name, getclass=True)
        return self.optional(name) if kind is h5py.Group else None

    def names(self) -> list[str]:
        return [] if self.group is None else list(self.group)

    def has(self, name: str) -> bool:
        return self.group is not None and name in self.group.attrs

    def contains(self, name: str) -> bool:
        return self.group is not None and name in self.group

    def text(self, name: str) -> str:
        value = self._attribute(name)
        if not isinstance(value, str):
            raise self.wrong(f"@{name}", "should be text")
        return value

    def number(self, name: str) -> float:
        value = self._attribute(name)
        if not isinstance(value, np.float64):
            raise self.wrong(f"@{name}", "should be a 64-bit float")
        return float(value)

    def whole(self, name: str) -> int:
        value = self._attribute(name)
        if not isinstance(value, np.int64):
            raise self.wrong(f"@{name}", "should be a 64-bit integer")
        return int(value)

    def _attribute(self, name: str) -> Any:
        if self.has(name):
            return _scalar(self, self.group, name)
        value = self._supplied(f"@{name}")
        if value is None:
            raise self.wrong(f"@{name}", "this attribute is missing")
        return value

    def _supplied(self, item: str) -> Any:
        return supplied(self._version, self.name, item)

    def array(self, name: str, dtype: type, dimensions: int) -> NDArray[Any]:
        if not self.contains(name) and self._supplied(name) is not None:
            return np.empty((0,) * dimensions, dtype=dtype)
        values: NDArray[Any] = self.numbers(name, dtype, dimensions)[()]
        values.flags.writeable = False
        return values

    def numbers(self, name: str, dtype: type, dimensions: int) -> Any:
        item = self.data(name)
        if item.dtype != np.dtype(dtype) or len(item.shape) != dimensions:
            wanted = f"{np.dtype(dtype)} with {dimensions} dimensions"
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where {wanted} is expected")
        return item

    def texts(self, name: str) -> tuple[str, ...]:
        if not self.contains(name) and self._supplied(name) is not None:
            return ()
        item = self.data(name)
        if h5py.check_string_dtype(item.dtype) is None or len(item.shape) != 1:
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where a list of texts is expected")
        self._refuse_long(name, item)
        return tuple(str(text) for text in item.asstr()[()])

    def long_text(self, name: str) -> str:
        if not self.contains(name) and (text := self._supplied(name)) is not None:
            return str(text)
        item = self.data(name)
        if h5py.check_string_dtype(item.dtype) is None or item.shape != ():
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where one text is expected")
        self._refuse_long(name, item)
        return str(item.asstr()[()])

    def length(self, name: str) -> int:
        shape = self.data(name).shape
        if not shape:
            raise self.wrong(name, "one value where a list is expected")
        return int(shape[0])

    def data(self, name: str) -> Any:
        """Return the data set `name`, not read yet."""
        if not self.contains(name):
            raise self.wrong(name, "this data set is missing")
        item = self._own(name)
        if not isinstance(item, h5py.Dataset) or item.shape is None:
            raise self.wrong(name, "should be a data set")
        if item.is_virtual or item.external:
            raise self.wrong(name, "kept in another file, where no checksum reaches")
        if item.nbytes > self.size:
            raise self.wrong(name, f"claims {item.nbytes} bytes in a file of {self.size}")
        return item

    def _refuse_long(self, name: str, item: Any) -> None:
        """Refuse texts that claim more bytes than the file has: HDF5 takes the memory before it looks.

        Texts of any length stand elsewhere; the data set itself holds 16 bytes for each, the first four of
        which are its length (HDF5 File Format Specification version 3.0, VI.A "Variable-length datatype").
        """
        start, file = item.id.get_offset(), item.file
        if not item.id.get_type().is_variable_str() or start is None or file.driver != "sec2":
            return
        raw = os.pread(file.id.get_vfd_handle(), 16 * item.size, start)
        claimed = int(np.frombuffer(raw, "<u4")[::4].sum(dtype=np.uint64)) if len(raw) % 16 == 0 else 0
        if claimed > self.size:
            raise self.wrong(name, f"texts of {claimed} bytes in a file of {self.size}")

    def _own(self, name: str) -> Any:
        # A link could lead out of the file, to where no checksum of ours reaches.
        if not isinstance(self.group.get(name, getlink=True), h5py.HardLink):
            raise self.wrong(name, "a link, where the content itself should be")
        return self.group[name]


def _scalar(node: HdfNode, item: Any, key: str) -> Any:
    # Looked at before it is read: an attribute that claims a thousand million items would take minutes.
    if item.attrs.get_id(key).shape != ():
        raise node.wrong(f"@{key}", "should be a single value")
    return item.attrs[key]
