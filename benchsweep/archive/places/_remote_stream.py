"""Read a part of a file behind an address without fetching all of it."""

from __future__ import annotations

import io
import os
from typing import Any

from benchsweep.archive.places._remote import filesystem, remote_errors

__all__ = ["RemoteStream"]

# Catalogue and frequency grid of a record are among the first ones, and nearly always no more is asked for.
_WINDOW = 1 << 16
# Whoever asks so often reads it all: it is fetched whole, unless it is a series of gigabytes.
_PATIENCE = 4
_WHOLE = 1 << 26
_LARGE_WINDOW = 1 << 23


class RemoteStream(io.RawIOBase):
    """A file behind an address, fetched in stretches, long ones when many are asked for.

    Attributes
    ----------
    size : int
        How many bytes there are.

    Parameters
    ----------
    url
        Its address.
    whole
        Fetch all of it at once.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        Here and when it is read.
    """

    def __init__(self, url: str, *, whole: bool) -> None:
        super().__init__()
        self._url = url
        self._system, self._path = filesystem(url)
        self._asked = 0
        self._at = 0
        self._start = 0
        self._held = b""
        size = None
        if not whole:
            with remote_errors(url, "reading"):
                size = self._system.info(self._path).get("size")
        if size is None:  # also from stores that do not tell
            self._fetch_all()
            size = len(self._held)
        self.size = int(size)

    def _fetch_all(self) -> None:
        with remote_errors(self._url, "reading"):
            self._start, self._held = 0, self._system.cat_file(self._path)

    def _fetch(self, start: int, length: int) -> None:
        self._asked += 1
        often = self._asked > _PATIENCE
        if often and self.size <= _WHOLE:
            self._fetch_all()
            return
        end = min(start + max(length, _LARGE_WINDOW if often else _WINDOW), self.size)
        with remote_errors(self._url, "reading"):
            self._start, self._held = start, self._system.cat_file(self._path, start=start, end=end)

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        self._at = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self.size}[whence] + offset
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: Any) -> int:
        length = min(len(buffer), max(self.size - self._at, 0))
        if length and not self._start <= self._at <= self._at + length <= self._start + len(self._held):
            self._fetch(self._at, length)
        place = self._at - self._start
        found = self._held[place : place + length]
        buffer[: len(found)] = found
        self._at += len(found)
        return len(found)
