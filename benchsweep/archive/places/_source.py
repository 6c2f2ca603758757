"""Where a file of the archive is read from: a local path, or the address of any store that fsspec knows."""

from __future__ import annotations

import io
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchsweep.archive.places._remote import local_path
from benchsweep.archive.places._remote_stream import RemoteStream
from benchsweep.archive.places._storage_errors import storage_errors
from benchsweep.errors import ArchiveError, RecordDamaged, RecordMissing

__all__ = ["Content", "Source", "open_content"]

_TEXTS = {"lot": "history of a lot", "history": "history"}
_OTHERS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)

Source = Path | str
"""A local path, or an address such as ``s3://bucket/prefix/record.h5`` or ``memory://record.h5``."""


@dataclass(frozen=True, slots=True)
class Content:
    """The bytes of one file, open for reading.

    Attributes
    ----------
    source : Path or str
        Where they are from, for messages.
    path : Path or None
        The file, when it is one of this machine.
    stream : FileIO or RemoteStream
        Reads them; stands anywhere.
    size : int
        How many there are.
    """

    source: Source
    path: Path | None
    stream: io.FileIO | RemoteStream
    size: int

    def fill(self, start: int, view: memoryview) -> None:
        """Read bytes from byte `start` on until `view` is full.

        Raises
        ------
        RecordDamaged
            There are not so many.
        """
        self.stream.seek(start)
        while len(view):
            got = self.stream.readinto(view)
            if not got:
                raise RecordDamaged(
                    f"{self.source}: damaged: it ended while it was read", hint="Restore it from a copy."
                )
            view = view[got:]


@contextmanager
def open_content(source: Source, kind: str, *, whole: bool = True) -> Iterator[Content]:
    """Open a file to read it.

    Parameters
    ----------
    kind
        What it is to be, for messages.
    whole
        All of it will be read: one behind an address is fetched into memory at once, else as it is read.

    Raises
    ------
    ArchiveLocked
        Reading it is not permitted.
    RecordMissing
        No such file.
    ArchiveError
        Not a regular file, cannot be read or fetched.
    """
    path = local_path(source)
    if path is None:
        remote = RemoteStream(str(source), whole=whole)
        yield Content(source, None, remote, remote.size)
        return
    try:
        with storage_errors(path, "reading"):
            status = _status(path)
    except ValueError as error:
        raise RecordMissing(f"{str(path)!r}: no file can have this name", hint="Check the path.") from error
    if not stat.S_ISREG(status.st_mode):
        raise _no_file(path, kind, status)
    with storage_errors(path, "reading"):
        stream = io.FileIO(path, "rb", opener=_open_at_once)
    with stream:
        opened = os.fstat(stream.fileno())
        if not stat.S_ISREG(opened.st_mode):  # exchanged since it was looked at
            raise _no_file(path, kind, opened)
        yield Content(path, path, stream, status.st_size)


def _open_at_once(name: str, flags: int) -> int:
    """Open a file without waiting for anybody to write into it, as a pipe would have it."""
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def _no_file(path: Path, kind: str, status: os.stat_result) -> ArchiveError:
    what = next((words for is_one, words in _OTHERS if is_one(status.st_mode)), "something else")
    if kind in _TEXTS:
        hint = f"Here a {_TEXTS[kind]} is wanted, its name ends in .txt. Restore it from a copy."
    else:
        hint = f"Name a {kind} file, its name ends in .h5."
    return ArchiveError(f"{path}: not a file but {what}", hint=hint)


def _status(path: Path) -> os.stat_result:
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise RecordMissing(f"{path}: no such file", hint="Check the path.") from error
