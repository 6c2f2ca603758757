"""The typed border to h5py: a tree of groups as an HDF5 image, read back with every step checked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from benchsweep.archive._digests import (
    Scalar,
    Values,
    as_texts,
    attributes_digest,
    data_digest,
    digest_of_lines,
    line,
    shape_words,
    stored_digest,
)
from benchsweep.archive._files import Piece
from benchsweep.archive._hollow import HollowFile
from benchsweep.archive._layout import describe
from benchsweep.archive._put import put_attribute, put_data
from benchsweep.archive._seal import BLOCK, TRANSIENT, VERSION, Kind, Span, check_seal, sealed
from benchsweep.archive._source import Content, Source, open_content
from benchsweep.errors import ArchiveError, BenchsweepError, RecordDamaged

__all__ = [
    "Block",
    "Node",
    "Scalar",
    "Tree",
    "Values",
    "check_items",
    "content_digest",
    "fill",
    "node_of",
    "opened",
    "to_bytes",
]

_OWN = ("sha256", "attributes_sha256", "content_sha256")
_RESTORE = "Restore the file from a copy, or ask whoever wrote it."


@dataclass
class Block:
    """One group: its attributes and its data sets."""

    attributes: dict[str, Scalar] = field(default_factory=dict)
    data: dict[str, Values] = field(default_factory=dict)


Tree = Mapping[str, Block]
"""Path of a group (``"/"``, ``"/corrected"``) -> its content; parents come before children."""


def to_bytes(kind: Kind, tree: Tree) -> tuple[Piece, ...]:
    """Return the whole file in pieces, so that nothing large is copied: seal, then HDF5 image of `tree`.

    The pieces are the large arrays of `tree` itself and what is between them; nobody may change them before
    they are written. The image is made in memory, so that a file is either stored whole or not at all.

    Raises
    ------
    ArchiveError
        A text holds what UTF-8 or HDF5 cannot store (zero bytes, lone surrogates).
    """
    hollow = HollowFile()
    with h5py.File(hollow, "w", userblock_size=BLOCK, libver=("v110", "v110"), locking=False) as file:
        fill(file, kind, tree, apart=hollow)
    return sealed(kind, *hollow.pieces())


def fill(
    file: Any,
    kind: Kind,
    tree: Tree,
    made: Mapping[str, str] | None = None,
    apart: HollowFile | None = None,
) -> None:
    """Write `tree` into an open, empty HDF5 file, with all checksums unless the kind is `TRANSIENT`.

    Parameters
    ----------
    file
        The h5py file.
    made
        Path of a data set that is there already -> checksum of its data. Its group is one of `tree`.
    apart
        What the file is open on, when large arrays are to be kept apart.

    Raises
    ------
    ArchiveError
        A text holds what UTF-8 or HDF5 cannot store.
    """
    writer = _Writer(kind, apart)
    for path, block in tree.items():
        writer.group(file.require_group(path).id, path, block)
    for where, digest in (made or {}).items():
        writer.describe(file[where].id, where, digest)
    if writer.summed:
        put_attribute(file.id, "content_sha256", digest_of_lines(writer.lines))


class _Writer:
    """Writes groups and keeps the lines that the content hash is made of.

    Parameters
    ----------
    kind
        What the file is.
    apart
        Keeps large arrays apart.
    """

    def __init__(self, kind: Kind, apart: HollowFile | None) -> None:
        self.kind = kind
        self.apart = apart
        self.summed = kind not in TRANSIENT
        self.lines: list[str] = []

    def group(self, group: Any, path: str, block: Block) -> None:
        """Write the content of the group with the h5py identifier `group`."""
        for key, values in block.data.items():
            where = f"{path.rstrip('/')}/{key}"
            for text in () if isinstance(values, np.ndarray) else as_texts(values):
                _check_text(where, text)
            item = put_data(group, key, values, self.apart)
            self.describe(item, where, data_digest(values) if self.summed else "")
        attributes = dict(block.attributes)
        if path == "/":
            attributes |= {"format": f"benchsweep {self.kind}", "format_version": VERSION}
        self._attributes(group, path, "", attributes)

    def describe(self, item: Any, where: str, digest: str) -> None:
        """Say what the data set with the h5py identifier `item` is; `digest` is the checksum of its data."""
        unit, meaning = describe(self.kind, where)
        if self.summed:
            put_attribute(item, "sha256", digest)
        about = f"{shape_words(item)} {digest}" if self.summed else ""
        self._attributes(item, where, about, {"meaning": meaning, "unit": unit})

    def _attributes(self, item: Any, where: str, about: str, attributes: Mapping[str, Scalar]) -> None:
        for key, value in attributes.items():
            if isinstance(value, str):
                _check_text(f"{where}@{key}", value)
            put_attribute(item, key, value)
        if self.summed:
            digest = attributes_digest(attributes)
            put_attribute(item, "attributes_sha256", digest)
            self.lines.append(line(where, about, digest))


def _check_text(where: str, text: str) -> None:
    try:
        usable = "\0" not in text and text.encode("utf-8") is not None
    except UnicodeEncodeError:
        usable = False
    if not usable:
        raise ArchiveError(
            f"{where}: the text {text[:40]!r} holds a character that cannot be stored",
            hint="Leave out zero bytes and bytes that are not UTF-8.",
        )


@contextmanager
def opened(source: Source, kind: Kind) -> Iterator[Node]:
    """Check the seal of the file at `source`, open it and give its root.

    What does not fit is a named error, also in the block of the caller.

    Raises
    ------
    ArchiveError, RecordDamaged, RecordNewer
    """
    with open_content(source, kind) as content, node_of(content, kind) as root:
        yield root


@contextmanager
def node_of(content: Content, kind: Kind) -> Iterator[Node]:
    """Do for an open file what `opened` does.

    Raises
    ------
    ArchiveError, RecordDamaged, RecordNewer
    """
    apart = check_seal(content, kind)
    where = content.source
    try:
        # A record is never changed, so no lock is needed; locks fail on many network drives.
        with h5py.File(content.path or content.stream, "r", locking=False) as file:
            yield Node(file, where, content.size, apart)
    except BenchsweepError:
        raise
    except (OSError, KeyError, ValueError, TypeError, RuntimeError, OverflowError, MemoryError) as error:
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise RecordDamaged(f"{where}: not a sound {kind}: {reason}", hint=_RESTORE) from error


class Node:
    """A group of an open file; every access is checked and errors name the item.

    Parameters
    ----------
    group
        The h5py group.
    path
        The file, or its address, for messages.
    size
        Its length in bytes; no data set can be larger.
    apart
        The stretch of the file that its seal leaves out.
    """

    def __init__(self, group: Any, path: Source, size: int, apart: Span | None = None) -> None:
        self.group = group
        self.path = path
        self.apart = apart
        self._size = size

    def wrong(self, name: str, words: str) -> RecordDamaged:
        """Return the error that says what is wrong with the item `name`."""
        where = f"{self.group.name.rstrip('/')}/{name}"
        return RecordDamaged(f"{self.path}: {where}: {words}", hint=_RESTORE)

    @property
    def name(self) -> str:
        """The last part of the path of the group."""
        return str(self.group.name).rpartition("/")[2]

    def child(self, name: str) -> Node:
        """Return the group `name`."""
        found = self.optional(name)
        if found is None:
            raise self.wrong(name, "this group is missing")
        return found

    def optional(self, name: str) -> Node | None:
        """Return the group `name`, None when there is none."""
        if name not in self.group:
            return None
        item = self._own(name)
        if not isinstance(item, h5py.Group):
            raise self.wrong(name, "should be a group")
        return Node(item, self.path, self._size, self.apart)

    def children(self) -> Iterator[Node]:
        """Yield the groups in this one, by name."""
        for name in sorted(self.group):
            yield self.child(name)

    def count(self) -> int:
        """Return how many groups and data sets there are in this one."""
        return len(self.group)

    def length(self, name: str) -> int:
        """Return how many entries the data set `name` has along its first dimension."""
        shape = self._data(name).shape
        if not shape:
            raise self.wrong(name, "one value where a list is expected")
        return int(shape[0])

    def text(self, name: str) -> str:
        """Return a text attribute."""
        value = self._attribute(name)
        if not isinstance(value, str):
            raise self.wrong(f"@{name}", "should be text")
        return value

    def number(self, name: str) -> float:
        """Return a number attribute."""
        value = self._attribute(name)
        if not isinstance(value, np.float64):
            raise self.wrong(f"@{name}", "should be a 64-bit float")
        return float(value)

    def whole(self, name: str) -> int:
        """Return a whole-number attribute."""
        value = self._attribute(name)
        if not isinstance(value, np.int64):
            raise self.wrong(f"@{name}", "should be a 64-bit integer")
        return int(value)

    def has(self, name: str) -> bool:
        """Tell whether there is an attribute `name`."""
        return name in self.group.attrs

    def contains(self, name: str) -> bool:
        """Tell whether there is a data set or group `name`."""
        return name in self.group

    def _attribute(self, name: str) -> Any:
        if name not in self.group.attrs:
            raise self.wrong(f"@{name}", "this attribute is missing")
        return _scalar(self, self.group, name)

    def array(self, name: str, dtype: type, dimensions: int) -> NDArray[Any]:
        """Return a numeric data set of exactly that type and number of dimensions."""
        values: NDArray[Any] = self.numbers(name, dtype, dimensions)[()]
        return values

    def numbers(self, name: str, dtype: type, dimensions: int) -> Any:
        """Return a numeric data set of exactly that type and number of dimensions, not read yet."""
        item = self._data(name)
        if item.dtype != np.dtype(dtype) or len(item.shape) != dimensions:
            wanted = f"{np.dtype(dtype)} with {dimensions} dimensions"
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where {wanted} is expected")
        return item

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts."""
        item = self._data(name)
        if h5py.check_string_dtype(item.dtype) is None or len(item.shape) != 1:
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where a list of texts is expected")
        return tuple(str(text) for text in item.asstr()[()])

    def long_text(self, name: str) -> str:
        """Return one text stored as a data set."""
        item = self._data(name)
        if h5py.check_string_dtype(item.dtype) is None or item.shape != ():
            raise self.wrong(name, f"{item.dtype} of shape {item.shape} where one text is expected")
        return str(item.asstr()[()])

    def table(self, name: str, key: str, value: str) -> dict[str, float]:
        """Return name -> number from the group `name` with the data sets `key` and `value`."""
        group = self.child(name)
        return dict(zip(group.texts(key), group.array(value, np.float64, 1).tolist(), strict=True))

    def _own(self, name: str) -> Any:
        # A link could lead out of the file, to where no checksum of ours reaches.
        if not isinstance(self.group.get(name, getlink=True), h5py.HardLink):
            raise self.wrong(name, "a link, where the content itself should be")
        return self.group[name]

    def _data(self, name: str) -> Any:
        if name not in self.group:
            raise self.wrong(name, "this data set is missing")
        item = self._own(name)
        if not isinstance(item, h5py.Dataset) or item.shape is None:
            raise self.wrong(name, "should be a data set")
        if item.is_virtual or item.external:
            raise self.wrong(name, "kept in another file, where no checksum reaches")
        if item.nbytes > self._size:
            raise self.wrong(name, f"claims {item.nbytes} bytes in a file of {self._size}")
        return item


def _scalar(node: Node, item: Any, key: str) -> Any:
    # Looked at before it is read: an attribute that claims a thousand million items would take minutes.
    if item.attrs.get_id(key).shape != ():
        raise node.wrong(f"@{key}", "should be a single value")
    return item.attrs[key]


def _scalar_or_none(node: Node, item: Any, key: str) -> Any:
    return _scalar(node, item, key) if key in item.attrs else None


def content_digest(root: Node) -> str:
    """Return the stored content hash."""
    return root.text("content_sha256")


def check_items(root: Node) -> None:
    """Compare every data set and attribute block with its checksum, and the content hash with all of them.

    Raises
    ------
    RecordDamaged
        Names the first item that does not match.
    """
    lines: list[str] = []
    _check_group(root, lines)
    if digest_of_lines(lines) != content_digest(root):
        raise root.wrong("@content_sha256", "does not match the checksums of the items")


def _check_group(node: Node, lines: list[str]) -> None:
    where = node.group.name
    lines.append(line(where, "", _check_attributes(node, where, node.group)))
    for name in sorted(node.group):
        if isinstance(node.group.get(name), h5py.Group):
            _check_group(node.child(name), lines)
            continue
        item = node._data(name)  # noqa: SLF001
        if h5py.check_string_dtype(item.dtype) is None:
            digest = stored_digest(item)
        else:
            digest = data_digest(node.long_text(name) if item.shape == () else node.texts(name))
        if _scalar_or_none(node, item, "sha256") != digest:
            raise node.wrong(name, "the data do not match their checksum")
        attributes = _check_attributes(node, item.name, item)
        lines.append(line(item.name, f"{shape_words(item)} {digest}", attributes))


def _check_attributes(node: Node, where: str, item: Any) -> str:
    attributes = {
        key: value.item() if isinstance(value, np.generic) else value
        for key, value in ((key, _scalar(node, item, key)) for key in item.attrs)
        if key not in _OWN
    }
    digest = attributes_digest(attributes)
    if _scalar_or_none(node, item, "attributes_sha256") != digest:
        raise RecordDamaged(
            f"{node.path}: {where}: its attributes do not match their checksum", hint=_RESTORE
        )
    return digest
