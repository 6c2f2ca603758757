"""The typed border to h5py: a tree of groups as an HDF5 image, read back with every step checked."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import h5py
import numpy as np

from benchsweep.archive.format._catalogue import Catalogue, Numbers
from benchsweep.archive.format._catalogue_node import CatalogueNode, Cataloguing
from benchsweep.archive.format._catalogue_seal import VERSION as CATALOGUED
from benchsweep.archive.format._catalogue_seal import (
    CatalogueSeal,
    base_for,
    check_rest,
    gaps,
    padded,
    read_catalogue,
)
from benchsweep.archive.format._digests import (
    Scalar,
    Values,
    as_texts,
    attributes_digest,
    data_digest,
    digest_of_lines,
    line,
    shape_words,
)
from benchsweep.archive.format._hdf_node import HdfNode
from benchsweep.archive.format._heaps import check_heaps
from benchsweep.archive.format._hollow import HollowFile
from benchsweep.archive.format._item_checks import check_file
from benchsweep.archive.format._layout import describe
from benchsweep.archive.format._node import RESTORE, Node
from benchsweep.archive.format._put import put_attribute, put_data
from benchsweep.archive.format._seal import (
    BLOCK,
    TRANSIENT,
    Kind,
    Span,
    check_seal,
    first_block,
    identified,
    sealed,
    version_of,
)
from benchsweep.archive.places import Content, Piece, Source, drive_gone, open_content, storage_errors
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
    "new_image",
    "node_of",
    "opened",
    "to_bytes",
]


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
    if version_of(kind) == CATALOGUED:
        return _catalogued(kind, tree)
    hollow = HollowFile()
    with new_image(hollow, BLOCK) as file:
        fill(file, kind, tree, apart=hollow)
    return sealed(kind, *hollow.pieces(BLOCK))


def new_image(hollow: HollowFile, base: int) -> h5py.File:
    """Open a new HDF5 file in memory whose first `base` bytes are left to the seal; the caller closes it."""
    return h5py.File(hollow, "w", userblock_size=base, libver=("v110", "v110"), locking=False)


def _catalogued(kind: Kind, tree: Tree) -> tuple[Piece, ...]:
    """Return the whole file of a kind that has a catalogue."""
    base = base_for(len(_planned(kind, tree).encoded()))
    hollow, catalogue = HollowFile(), Catalogue()
    with new_image(hollow, base) as file:
        fill(file, kind, tree, apart=hollow, catalogue=catalogue)
    digest = hashlib.sha256()
    for gap in gaps(catalogue.spans(), base, hollow.size()):
        digest.update(hollow.between(gap))
    front = padded(catalogue.encoded(), base)
    seal = CatalogueSeal(kind, hollow.size(), base, hashlib.sha256(front).hexdigest(), digest.hexdigest())
    return seal.block(), front, *hollow.pieces(base)


def _planned(kind: Kind, tree: Tree) -> Catalogue:
    """Return a catalogue of `tree` that is not shorter than the one that will be written."""
    plan = Catalogue()
    none = "0" * 64
    for path, block in tree.items():
        plan.groups[path] = dict(block.attributes)
        for key, values in block.data.items():
            where = f"{path.rstrip('/')}/{key}"
            if isinstance(values, np.ndarray):
                plan.numbers[where] = Numbers(values.dtype.str, values.shape, 10**18, none)
            else:
                plan.texts[where] = values
    plan.groups["/"] |= {**_own_attributes(kind), "content_sha256": none}
    return plan


def _own_attributes(kind: Kind) -> dict[str, Scalar]:
    return {"format": f"benchsweep {kind}", "format_version": version_of(kind)}


def fill(
    file: Any,
    kind: Kind,
    tree: Tree,
    made: Mapping[str, str] | None = None,
    apart: HollowFile | None = None,
    catalogue: Catalogue | None = None,
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
    catalogue
        Is filled with what is written.

    Raises
    ------
    ArchiveError
        A text holds what UTF-8 or HDF5 cannot store.
    """
    writer = _Writer(kind, apart, catalogue)
    for path, block in tree.items():
        writer.group(file.require_group(path).id, path, block)
    for where, digest in (made or {}).items():
        writer.describe(file[where].id, where, digest)
    if writer.summed:
        content = digest_of_lines(writer.lines)
        put_attribute(file.id, "content_sha256", content)
        if catalogue is not None:
            catalogue.groups["/"]["content_sha256"] = content


class _Writer:
    """Writes groups and keeps the lines that the content hash is made of.

    Parameters
    ----------
    kind
        What the file is.
    apart
        Keeps large arrays apart.
    catalogue
        Is filled with what is written.
    """

    def __init__(self, kind: Kind, apart: HollowFile | None, catalogue: Catalogue | None) -> None:
        self.kind = kind
        self.apart = apart
        self.catalogue = catalogue
        self.summed = kind not in TRANSIENT
        self.lines: list[str] = []

    def group(self, group: Any, path: str, block: Block) -> None:
        """Write the content of the group with the h5py identifier `group`."""
        for key, values in block.data.items():
            where = f"{path.rstrip('/')}/{key}"
            for text in () if isinstance(values, np.ndarray) else as_texts(values):
                _check_text(where, text)
            item = put_data(group, key, values, self.apart)
            digest = data_digest(values) if self.summed else ""
            self.describe(item, where, digest)
            if self.catalogue is None:
                continue
            if isinstance(values, np.ndarray):
                start = item.get_offset() or 0
                self.catalogue.numbers[where] = Numbers(item.dtype.str, values.shape, start, digest)
            else:
                self.catalogue.texts[where] = values
        attributes = dict(block.attributes)
        if path == "/":
            attributes |= _own_attributes(self.kind)
        self._attributes(group, path, "", attributes)
        if self.catalogue is not None:
            self.catalogue.groups[path] = attributes

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
def opened(source: Source, kind: Kind, *, whole: bool = True) -> Iterator[Node]:
    """Check the file at `source`, open it and give its root; what does not fit is a named error.

    Parameters
    ----------
    whole
        Every byte is checked, be it read or not; an array that was not read in the block of the caller when
        the block ends. Else, in a file that has a catalogue, only what is read.

    Raises
    ------
    ArchiveError, RecordDamaged, RecordNewer
        Also for whatever does not fit in the block of the caller.
    """
    with open_content(source, kind, whole=whole) as content, node_of(content, kind, whole=whole) as root:
        yield root


@contextmanager
def node_of(content: Content, kind: Kind, *, whole: bool = True) -> Iterator[Node]:
    """Do for an open file what `opened` does.

    Raises
    ------
    ArchiveError, RecordDamaged, RecordNewer
    """
    where = content.source
    head = first_block(content)
    version, _ = identified(where, head, kind)
    apart = check_seal(content, kind) if version == 1 else None
    try:
        if version == 1:
            with _hdf5(content, apart) as file:
                yield HdfNode(file, "/", where, content.size, version, apart)
            return
        seal, catalogue = read_catalogue(content, head, kind)
        if whole:
            check_rest(content, seal, catalogue)
        found = Cataloguing(content, catalogue)
        yield CatalogueNode(found)
        if whole:
            found.read_unread()
    except BenchsweepError:
        raise
    except (OSError, KeyError, ValueError, TypeError, RuntimeError, OverflowError, MemoryError) as error:
        if isinstance(error, OSError) and drive_gone(error):
            with storage_errors(where, "reading"):
                raise
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise RecordDamaged(f"{where}: not a sound {kind}: {reason}", hint=RESTORE) from error


def _hdf5(content: Content, apart: Span | None = None) -> h5py.File:
    check_heaps(content, BLOCK, apart)
    # A file is never changed, so no lock is needed; locks fail on many network drives.
    return h5py.File(content.path or content.stream, "r", locking=False)


def content_digest(root: Node) -> str:
    """Return the stored content hash."""
    return root.text("content_sha256")


def check_items(root: Node) -> None:
    """Compare every data set and attribute block with its checksum, and the content hash with all of them.

    Raises
    ------
    RecordDamaged
        Names the first item that does not match; or that of which the catalogue of the file says something
        else.
    """
    if isinstance(root, HdfNode):
        check_file(root)
    elif isinstance(root, CatalogueNode):
        _check_catalogued(root.file)


def _check_catalogued(found: Cataloguing) -> None:
    source = found.content.source
    with _hdf5(found.content) as file:
        root = HdfNode(file, "/", source, found.content.size, CATALOGUED)
        there = check_file(root, found.catalogue).items()
    told = found.catalogue.items()
    for where in (*there, *told):
        if told.get(where) != there.get(where):
            raise RecordDamaged(f"{source}: {where}: the catalogue says something else", hint=RESTORE)
