"""Histories of an archive, of lots as of channels: where they may be, and those that cannot be read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchsweep import archive
from benchsweep.errors import ArchiveError, ArchiveUnreachable, UsageError

__all__ = ["Root", "Unread", "local_archive", "telling"]

Root = str | Path
"""An archive: a folder, or an address, which can be read only."""
Unread = list[tuple[archive.Source, ArchiveError]]
"""Files that cannot be read, each with what is wrong with it."""


def local_archive(folder: Root) -> Path:
    """Return the archive as a folder that can be written.

    Raises
    ------
    UsageError
        It is at an address.
    """
    path = archive.local_path(folder)
    if path is None:
        raise UsageError(
            f"{folder}: nothing is written to an address",
            hint="Name the archive as a folder of this machine or of the network.",
        )
    return path


@contextmanager
def telling(source: archive.Source, unread: Unread | None) -> Iterator[None]:
    """Keep what is wrong with one history in `unread`, where that is given, and go on.

    Raises
    ------
    ArchiveUnreachable
        No file is to blame.
    """
    try:
        yield
    except ArchiveUnreachable:
        raise
    except ArchiveError as error:
        if unread is None:
            raise
        unread.append((source, error))
