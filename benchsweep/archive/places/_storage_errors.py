"""Errors of the operating system put in words, with what a person can do about them."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from benchsweep.errors import ArchiveError, ArchiveLocked, ArchiveUnreachable

__all__ = ["drive_gone", "is_folder", "storage_errors"]

_NO_PERMISSION = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})
_DISC_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
# What a failing drive answers, and a network drive whose server is gone. Not every system knows all of them.
_GONE = frozenset(
    number
    for name in (
        "EIO ESTALE ENODEV ENXIO ENOMEDIUM ETIMEDOUT ENOTCONN ECONNRESET ECONNABORTED ECONNREFUSED EHOSTDOWN "
        "EHOSTUNREACH ENETDOWN ENETUNREACH ENETRESET EREMOTEIO ESHUTDOWN"
    ).split()
    if (number := getattr(errno, name, None)) is not None
)


def drive_gone(error: OSError) -> bool:
    """Tell whether `error` says that the drive, or the way to it, fails; nothing is known of the file."""
    return error.errno in _GONE


@contextmanager
def storage_errors(path: Path | str, doing: str) -> Iterator[None]:
    """Turn errors of the operating system into ours; `doing` says what was tried.

    Raises
    ------
    ArchiveLocked
        No permission, or a read-only place.
    ArchiveUnreachable
        The drive fails, or a network drive has gone.
    ArchiveError
        Anything else: full disc, vanished folder, a file where a folder should be.
    """
    try:
        yield
    except OSError as error:
        reason = error.strerror or type(error).__name__
        if error.errno in _NO_PERMISSION:
            raise ArchiveLocked(
                f"{path}: {doing} is not permitted: {reason}",
                hint="Name a folder in which you may write, or ask its owner for permission.",
            ) from error
        if error.errno in _DISC_FULL:
            raise ArchiveError(
                f"{path}: {doing} failed because the disc is full: {reason}",
                hint="Free some space or name another folder; nothing half was left behind.",
            ) from error
        if drive_gone(error):
            raise ArchiveUnreachable(
                f"{path}: {doing} failed, the drive does not answer as it should: {reason}",
                hint="See that the drive and the network are there, then do the same again; what was stored "
                "before is not affected.",
            ) from error
        raise ArchiveError(
            f"{path}: {doing} failed: {reason}", hint="Check that the folder exists and can be reached."
        ) from error


def is_folder(path: Path) -> bool:
    """Tell whether `path` is a folder.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        That cannot be known: it lies in a folder that may not be entered, or the drive does not answer.
    """
    with storage_errors(path, "looking there"):
        return path.is_dir()
