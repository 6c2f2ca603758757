"""Compare every item of an HDF5 file with its checksums, by the plain calls of the library.

A record has some three hundred attributes, most of which say units and meanings; the convenient calls of h5py
take ten times as long for them as these.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np

from benchsweep.archive.format._catalogue import Catalogue, Numbers, numbers_of
from benchsweep.archive.format._digests import (
    Scalar,
    attributes_digest,
    data_digest,
    digest_of_lines,
    line,
    shape_words,
    stored_digest,
)
from benchsweep.archive.format._hdf_node import HdfNode
from benchsweep.archive.format._node import RESTORE
from benchsweep.errors import RecordDamaged

__all__ = ["check_file"]

_SUMS = ("sha256", "attributes_sha256", "content_sha256")
# No group or data set of ours takes fewer bytes, with its two checksums.
_LEAST = 128
_TEXT = h5py.string_dtype("utf-8")
_IN_MEMORY = h5py.h5t.py_create(_TEXT)


def check_file(root: HdfNode, known: Catalogue | None = None) -> Catalogue:
    """Compare every data set and attribute block with its checksum, and the content hash with all of them.

    Parameters
    ----------
    known
        The catalogue of the file, of which every array is checked elsewhere: what is where it says is not
        read again.

    Returns
    -------
    The catalogue of the file as the HDF5 file itself tells it.

    Raises
    ------
    RecordDamaged
        Names the first item that does not match.
    """
    check = _Check(known)
    check.group(root)
    content = root.text("content_sha256")
    if digest_of_lines(check.lines) != content:
        raise root.wrong("@content_sha256", "does not match the checksums of the items")
    check.found.groups["/"]["content_sha256"] = content
    return check.found


class _Check:
    """One walk through a file.

    Parameters
    ----------
    known
        Its catalogue.
    """

    def __init__(self, known: Catalogue | None) -> None:
        self.known = {} if known is None else known.numbers
        self.found = Catalogue()
        self.lines: list[str] = []
        self._claimed = 0

    def group(self, node: HdfNode) -> None:
        """Check a group and all that is in it."""
        self._claim(node, _LEAST)
        attributes = _attributes(node, node.where, node.group.id)
        self._tell(node, node.where, attributes, "")
        self.found.groups[node.where] = {key: attributes[key] for key in attributes if key not in _SUMS}
        for name in sorted(node.names()):
            below = node.group_or_none(name)
            if below is None:
                self._data(node, name)
            else:
                self.group(below)

    def _data(self, node: HdfNode, name: str) -> None:
        item, where = node.data(name), node.below(name)
        self._claim(node, _LEAST + item.nbytes)
        attributes = _attributes(node, where, item.id)
        digest = str(attributes.get("sha256"))
        if h5py.check_string_dtype(item.dtype) is not None:
            text = node.long_text(name) if item.shape == () else node.texts(name)
            self.found.texts[where] = text
            made = data_digest(text)
        else:
            entry = Numbers(item.dtype.str, item.shape, int(item.id.get_offset() or 0), digest)
            self.found.numbers[where] = entry
            same = where in self.known and numbers_of(self.known[where]) == entry and _contiguous(item)
            made = digest if same else stored_digest(item)
        if digest != made:
            raise node.wrong(name, "the data do not match their checksum")
        self._tell(node, where, attributes, f"{shape_words(item)} {made}")

    def _claim(self, node: HdfNode, least: int) -> None:
        """Count what is there at least: of a circle of groups, or many names for one, there is no end."""
        self._claimed += least
        if self._claimed > node.size:
            raise RecordDamaged(
                f"{node.path}: {node.where}: the items claim more bytes than the file has", hint=RESTORE
            )

    def _tell(self, node: HdfNode, where: str, attributes: Mapping[str, Scalar], about: str) -> None:
        """Check the attributes of an item and keep the line of it."""
        digest = attributes_digest({key: attributes[key] for key in attributes if key not in _SUMS})
        if attributes.get("attributes_sha256") != digest:
            raise RecordDamaged(
                f"{node.path}: {where}: its attributes do not match their checksum", hint=RESTORE
            )
        self.lines.append(line(where, about, digest))


def _attributes(node: HdfNode, where: str, item: Any) -> dict[str, Scalar]:
    """Return the attributes of the group or data set with the h5py identifier `item`."""
    names: list[bytes] = []
    h5py.h5a.iterate(item, names.append)
    return {raw.decode("utf-8"): _scalar(node, where, item, raw) for raw in names}


def _contiguous(item: Any) -> bool:
    return item.size == 0 or bool(item.id.get_create_plist().get_layout() == h5py.h5d.CONTIGUOUS)


def _scalar(node: HdfNode, where: str, item: Any, name: bytes) -> Scalar:
    attribute = h5py.h5a.open(item, name)
    # Looked at before it is read: an attribute that claims a thousand million items would take minutes.
    if attribute.shape != ():
        raise RecordDamaged(
            f"{node.path}: {where}@{name.decode('utf-8', 'replace')}: should be a single value", hint=RESTORE
        )
    kind = attribute.get_type()
    if kind.get_class() == h5py.h5t.STRING and kind.is_variable_str():
        text = np.empty((), dtype=_TEXT)
        attribute.read(text, mtype=_IN_MEMORY)
        return bytes(text[()]).decode("utf-8")
    number = np.empty((), dtype=attribute.dtype)
    attribute.read(number)
    value: Scalar = number.item()
    return value
