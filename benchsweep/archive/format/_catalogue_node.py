"""Read a file of version 2 by its catalogue: whatever is read has been checked, HDF5 has no part in it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format._catalogue import Catalogue, Numbers, numbers_of
from benchsweep.archive.format._digests import Scalar
from benchsweep.archive.format._node import Node
from benchsweep.archive.format._seal import RESTORE
from benchsweep.archive.places import Content, storage_errors
from benchsweep.errors import RecordDamaged

__all__ = ["CatalogueNode", "Cataloguing"]

# So many bytes are still in the cache of the processor when their checksum is made.
_PIECE = 1 << 18


@dataclass
class Cataloguing:
    """An open file with its catalogue.

    Parameters
    ----------
    content
        Its bytes.
    catalogue
        What is in it.
    """

    content: Content
    catalogue: Catalogue
    unread: set[str] = field(init=False)

    def __post_init__(self) -> None:
        self.unread = set(self.catalogue.numbers)

    def entry(self, where: str) -> Numbers | None:
        """Return where the numbers of the data set at `where` stand; None when there is none.

        Raises
        ------
        ValueError, TypeError
            The catalogue says something else there.
        """
        found: Any = self.catalogue.numbers.get(where)
        if found is None or isinstance(found, Numbers):
            return found
        self.catalogue.numbers[where] = entry = numbers_of(found)
        return entry

    def read(self, where: str, entry: Numbers) -> NDArray[Any]:
        """Return the numbers of the data set at `where`, which have been checked.

        Raises
        ------
        RecordDamaged
            They do not match their checksum.
        """
        span = entry.span
        if span.end > self.content.size:
            raise ValueError("a data set claims more bytes than the file has")
        buffer = np.empty(span.length, dtype=np.uint8)
        digest = self._fill(span.start, buffer)
        if digest != entry.sha256:
            raise RecordDamaged(
                f"{self.content.source}: {where}: the data do not match their checksum", hint=RESTORE
            )
        self.unread.discard(where)
        buffer.flags.writeable = False
        return buffer.view(entry.dtype).reshape(entry.shape)

    def read_unread(self) -> None:
        """Check the numbers that nobody has read.

        Raises
        ------
        RecordDamaged
        """
        for where in sorted(self.unread):
            entry = self.entry(where)
            if entry is not None:
                self.read(where, entry)

    def _fill(self, first: int, buffer: NDArray[np.uint8]) -> str:
        """Fill `buffer` with the bytes from byte `first` on and return their checksum."""
        view, digest = buffer.data, hashlib.sha256()
        with storage_errors(self.content.source, "reading"):
            for start in range(0, len(view), _PIECE):
                piece = view[start : start + _PIECE]
                self.content.fill(first + start, piece)
                digest.update(piece)
        return digest.hexdigest()


class CatalogueNode(Node):
    """A group of a file of version 2."""

    def __init__(self, file: Cataloguing, where: str = "/") -> None:
        self.file = file
        self.where = where
        self.path = file.content.source
        self._attributes = file.catalogue.groups[where]

    def optional(self, name: str) -> CatalogueNode | None:
        where = self.below(name)
        if where in self.file.catalogue.groups:
            return CatalogueNode(self.file, where)
        if self.contains(name):
            raise self.wrong(name, "should be a group")
        return None

    def names(self) -> list[str]:
        catalogue, begin = self.file.catalogue, self.below("")
        paths = (*catalogue.groups, *catalogue.texts, *catalogue.numbers)
        names = (path.removeprefix(begin) for path in paths if path.startswith(begin))
        return [name for name in names if name and "/" not in name]

    def has(self, name: str) -> bool:
        return name in self._attributes

    def contains(self, name: str) -> bool:
        where, catalogue = self.below(name), self.file.catalogue
        return where in catalogue.numbers or where in catalogue.texts or where in catalogue.groups

    def text(self, name: str) -> str:
        value = self._attribute(name)
        if not isinstance(value, str):
            raise self.wrong(f"@{name}", "should be text")
        return value

    def number(self, name: str) -> float:
        value = self._attribute(name)
        if not isinstance(value, float):
            raise self.wrong(f"@{name}", "should be a 64-bit float")
        return value

    def whole(self, name: str) -> int:
        value = self._attribute(name)
        if type(value) is not int:
            raise self.wrong(f"@{name}", "should be a 64-bit integer")
        return value

    def texts(self, name: str) -> tuple[str, ...]:
        found = self._texts(name)
        if isinstance(found, str):
            raise self.wrong(name, "one text where a list of texts is expected")
        return found

    def long_text(self, name: str) -> str:
        found = self._texts(name)
        if not isinstance(found, str):
            raise self.wrong(name, "a list of texts where one text is expected")
        return found

    def array(self, name: str, dtype: type, dimensions: int) -> NDArray[Any]:
        entry = self._numbers(name)
        if entry.dtype != np.dtype(dtype) or len(entry.shape) != dimensions:
            wanted = f"{np.dtype(dtype)} with {dimensions} dimensions"
            raise self.wrong(name, f"{entry.dtype} of shape {entry.shape} where {wanted} is expected")
        return self.file.read(self.below(name), entry)

    def numbers(self, name: str, dtype: type, dimensions: int) -> Any:
        return self.array(name, dtype, dimensions)

    def length(self, name: str) -> int:
        catalogue, where = self.file.catalogue, self.below(name)
        if where in catalogue.texts:
            return len(self.texts(name))
        shape = self._numbers(name).shape
        if not shape:
            raise self.wrong(name, "one value where a list is expected")
        return shape[0]

    def _attribute(self, name: str) -> Scalar:
        if name not in self._attributes:
            raise self.wrong(f"@{name}", "this attribute is missing")
        return self._attributes[name]

    def _numbers(self, name: str) -> Numbers:
        entry = self.file.entry(self.below(name))
        if entry is None:
            raise self._no(name, "numbers are")
        return entry

    def _texts(self, name: str) -> str | tuple[str, ...]:
        found = self.file.catalogue.texts.get(self.below(name))
        if found is None:
            raise self._no(name, "text is")
        if isinstance(found, str):
            return found
        if not all(isinstance(text, str) for text in found):
            raise self.wrong(name, "something else where a list of texts is expected")
        return tuple(found)

    def _no(self, name: str, wanted: str) -> RecordDamaged:
        if self.below(name) in self.file.catalogue.groups:
            return self.wrong(name, "should be a data set")
        if self.contains(name):
            return self.wrong(name, f"of another type where {wanted} expected")
        return self.wrong(name, "this data set is missing")
