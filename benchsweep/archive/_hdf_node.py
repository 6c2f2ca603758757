"""Read a group of an open HDF5 file; for files of version 1, and to check those of version 2."""

from __future__ import annotations

from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from benchsweep.archive._catalogue import Catalogue, Numbers
from benchsweep.archive._digests import (
    attributes_digest,
    data_digest,
    digest_of_lines,
    line,
    shape_words,
    stored_digest,
)
from benchsweep.archive._migrations import supplied
from benchsweep.archive._node import RESTORE, Node
from benchsweep.archive._seal import Span
from benchsweep.archive._source import Source
from benchsweep.errors import RecordDamaged

__all__ = ["HdfNode", "catalogue_of"]

_OWN = ("sha256", "attributes_sha256", "content_sha256")


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
        self._size = size
        self._version = version

    def child(self, name: str) -> Node:
        if not self.contains(name) and supplied(self._version, name, "") is not None:
            return HdfNode(None, self.below(name), self.path, self._size, self._version)
        return super().child(name)

    def optional(self, name: str) -> HdfNode | None:
        if not self.contains(name):
            return None
        item = self._own(name)
        if not isinstance(item, h5py.Group):
            raise self.wrong(name, "should be a group")
        return HdfNode(item, self.below(name), self.path, self._size, self._version, self.apart)

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
        return tuple(str(text) for text in item.asstr()[()])

    def long_text(self, name: str) -> str:
        if not self.contains(name) and (text := self._supplied(name)) is not None:
            return str(text)
        item = self.data(name)
        if h5py.check_string_dtype(item.dtype) is None or item.shape != ():
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where one text is expected")
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
        if item.nbytes > self._size:
            raise self.wrong(name, f"claims {item.nbytes} bytes in a file of {self._size}")
        return item

    def _own(self, name: str) -> Any:
        # A link could lead out of the file, to where no checksum of ours reaches.
        if not isinstance(self.group.get(name, getlink=True), h5py.HardLink):
            raise self.wrong(name, "a link, where the content itself should be")
        return self.group[name]

    def attributes(self, item: Any) -> dict[str, Any]:
        """Return the attributes of a group or data set of h5py, without those that hold checksums."""
        return {
            key: value.item() if isinstance(value, np.generic) else value
            for key, value in ((key, _scalar(self, item, key)) for key in item.attrs)
            if key not in _OWN
        }

    def check(self) -> None:
        lines: list[str] = []
        self._check(lines)
        if digest_of_lines(lines) != self.text("content_sha256"):
            raise self.wrong("@content_sha256", "does not match the checksums of the items")

    def _check(self, lines: list[str]) -> None:
        lines.append(line(self.where, "", self._check_attributes(self.where, self.group)))
        for name in sorted(self.names()):
            if isinstance(self.group.get(name), h5py.Group):
                found = self.optional(name)
                if found is not None:
                    found._check(lines)  # noqa: SLF001 - of its own kind
                continue
            item = self.data(name)
            if h5py.check_string_dtype(item.dtype) is None:
                digest = stored_digest(item)
            else:
                digest = data_digest(self.long_text(name) if item.shape == () else self.texts(name))
            if _scalar_or_none(self, item, "sha256") != digest:
                raise self.wrong(name, "the data do not match their checksum")
            where = self.below(name)
            lines.append(line(where, f"{shape_words(item)} {digest}", self._check_attributes(where, item)))

    def _check_attributes(self, where: str, item: Any) -> str:
        digest = attributes_digest(self.attributes(item))
        if _scalar_or_none(self, item, "attributes_sha256") != digest:
            raise RecordDamaged(
                f"{self.path}: {where}: its attributes do not match their checksum", hint=RESTORE
            )
        return digest


def catalogue_of(root: HdfNode) -> Catalogue:
    """Return the catalogue of an HDF5 file as the file itself tells it."""
    found = Catalogue()
    _collect(root, found)
    found.groups["/"]["content_sha256"] = root.text("content_sha256")
    return found


def _collect(node: HdfNode, found: Catalogue) -> None:
    found.groups[node.where] = node.attributes(node.group)
    for name in node.names():
        below = node.optional(name) if isinstance(node.group.get(name), h5py.Group) else None
        if below is not None:
            _collect(below, found)
            continue
        item, where = node.data(name), node.below(name)
        if h5py.check_string_dtype(item.dtype) is not None:
            found.texts[where] = node.long_text(name) if item.shape == () else node.texts(name)
        else:
            start = item.id.get_offset() or 0
            found.numbers[where] = Numbers(item.dtype.str, item.shape, start, _scalar(node, item, "sha256"))


def _scalar(node: HdfNode, item: Any, key: str) -> Any:
    # Looked at before it is read: an attribute that claims a thousand million items would take minutes.
    if item.attrs.get_id(key).shape != ():
        raise node.wrong(f"@{key}", "should be a single value")
    return item.attrs[key]


def _scalar_or_none(node: HdfNode, item: Any, key: str) -> Any:
    return _scalar(node, item, key) if key in item.attrs else None
