"""An HDF5 file in memory without its large arrays: they go from where they are to the disc, uncopied.

A fresh copy of some megabytes takes longer than writing all the rest, and a series is larger than memory.
"""

from __future__ import annotations

import io
import os
from bisect import insort
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format._seal import Span
from benchsweep.archive.places import Piece

__all__ = ["HollowFile"]

# With fewer bytes a hole is not worth it.
_LARGE = 1 << 16


class HollowFile(io.RawIOBase):
    """A file in memory without the bytes of some stretches, which nobody reads or writes through it.

    Attributes
    ----------
    content : bytearray
        The file without its holes.
    """

    def __init__(self) -> None:
        super().__init__()
        self.content = bytearray()
        self._holes: list[Span] = []
        self._arrays: dict[Span, memoryview] = {}
        self._at = 0

    def reserve(self, group: Any, key: str, dtype: np.dtype[Any], shape: tuple[int, ...]) -> tuple[Any, Span]:
        """Make a data set without writing it.

        Parameters
        ----------
        group
            The h5py identifier of a group of an HDF5 file that is open on this one.

        Returns
        -------
        The h5py identifier of the data set, and where its bytes are to stand.
        """
        properties = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        properties.set_layout(h5py.h5d.CONTIGUOUS)
        properties.set_alloc_time(h5py.h5d.ALLOC_TIME_EARLY)
        properties.set_fill_time(h5py.h5d.FILL_TIME_NEVER)
        properties.set_obj_track_times(False)
        kind = h5py.h5t.py_create(dtype, logical=True)
        made = h5py.h5d.create(group, key.encode("ascii"), kind, h5py.h5s.create_simple(shape), properties)
        hole = Span(int(made.get_offset()), int(made.get_storage_size()))
        insort(self._holes, hole, key=lambda span: span.start)
        return made, hole

    def keep(self, group: Any, key: str, values: NDArray[Any]) -> Any | None:
        """Make a data set of `values` whose bytes stay where they are; return its h5py identifier.

        None when they are so few that they had better be written.
        """
        if values.nbytes < _LARGE:
            return None
        made, hole = self.reserve(group, key, values.dtype, values.shape)
        self._arrays[hole] = np.ascontiguousarray(values).reshape(-1).view(np.uint8).data
        return made

    def between(self, span: Span) -> Piece:
        """Return the bytes of a stretch that reaches into no array."""
        place = self._place(span.start, span.length)
        return memoryview(self.content)[place : place + span.length]

    def pieces(self, base: int) -> list[Piece]:
        """Return all that comes behind a user block of `base` bytes, the arrays that were kept among it."""
        content = memoryview(self.content)
        found: list[Piece] = []
        start = base
        for hole in self._holes:
            end = self._place(hole.start, 0)
            found += [content[start:end], self._arrays[hole]]
            start = end
        return [*found, content[start:]]

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        start = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self.size()}[whence]
        self._at = start + offset
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: Any) -> int:
        place = self._place(self._at, len(buffer))
        found = self.content[place : place + len(buffer)]
        buffer[: len(found)] = found
        self._at += len(found)
        return len(found)

    def write(self, data: Any) -> int:
        place = self._place(self._at, len(data))
        self._grow(place)
        self.content[place : place + len(data)] = data
        self._at += len(data)
        return len(data)

    def truncate(self, size: int | None = None) -> int:
        place = self._place(self._at if size is None else size, 0)
        self._grow(place)
        del self.content[place:]
        return self.size()

    def _grow(self, size: int) -> None:
        self.content.extend(bytes(max(size - len(self.content), 0)))

    def size(self) -> int:
        """Return how long the whole file is."""
        size = len(self.content)
        for hole in self._holes:
            size += hole.length if size >= hole.start else 0
        return size

    def _place(self, at: int, length: int) -> int:
        place = at
        for hole in self._holes:
            if hole.end <= at:
                place -= hole.length
            elif hole.start < at + length:
                raise OSError(f"{length} bytes at {at} reach into an array, which is written elsewhere")
        return place
