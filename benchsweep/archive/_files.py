"""Files: names made safe, written whole or not at all, errors of the operating system put in words."""

from __future__ import annotations

import errno
import os
import re
import secrets
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from filelock import BaseFileLock, FileLock, Timeout

from benchsweep.errors import ArchiveError, ArchiveLocked

__all__ = [
    "Piece",
    "add_file",
    "add_name",
    "file_stem",
    "lock_beside",
    "make_folder",
    "numbered",
    "refuse_file",
    "replace_file",
    "sort_key",
    "storage_errors",
]

Piece = bytes | bytearray | memoryview
"""A part of the content of a file; its items are bytes."""

_SUFFIX = ".h5"
_LONGEST_NAME = 80
_NO_PERMISSION = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})
_DISC_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
# What a file system answers that knows no second name for a file.
_NO_LINKS = frozenset({errno.EPERM, errno.EOPNOTSUPP, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK, errno.EXDEV})


def file_stem(created_at: str, text: str) -> str:
    """Return ``<UTC time>-<text made safe>``, a file name without its ending.

    Letters and digits of ASCII, ``.``, ``_`` and ``-`` stay (accents are dropped first); every run of other
    characters becomes one ``-``. The time in front keeps the result clear of names that are reserved.

    Raises
    ------
    ArchiveError
        `created_at` is no ISO 8601 time with its offset from UTC.

    Examples
    --------
    >>> file_stem("2026-03-01T12:30:05Z", "../Kabel Ü/7")
    '20260301T123005Z-Kabel-U-7'
    """
    try:
        moment = datetime.fromisoformat(created_at)
        if moment.tzinfo is None:
            raise ValueError("without an offset from UTC")
        stamp = moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    except (ValueError, OverflowError) as error:
        raise ArchiveError(
            f"time of creation {created_at!r} is not an ISO 8601 time in UTC: {error}",
            hint="Give a time such as 2026-03-01T12:30:05Z.",
        ) from error
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    safe = re.sub(r"[^A-Za-z0-9._-]+", "-", plain)
    safe = re.sub(r"\.{2,}", ".", safe).strip("-._")[:_LONGEST_NAME].rstrip("-._")
    return f"{stamp}-{safe or 'unnamed'}"


def sort_key(path: Path) -> tuple[str, int, str]:
    """Return a key that sorts archive files by time, then by the serial number of equal names."""
    stem = path.stem
    serial = re.search(r"~(\d+)$", stem)
    return stem[:16], int(serial[1]) if serial else 1, stem


@contextmanager
def storage_errors(path: Path, doing: str) -> Iterator[None]:
    """Turn errors of the operating system into ours; `doing` says what was tried.

    Raises
    ------
    ArchiveLocked
        No permission, or a read-only place.
    ArchiveError
        Anything else: full disc, vanished drive, a file where a folder should be.
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
        raise ArchiveError(
            f"{path}: {doing} failed: {reason}", hint="Check that the folder exists and can be reached."
        ) from error


def refuse_file(folder: Path) -> None:
    """Refuse a path that cannot become an archive because something else is there; makes nothing.

    Raises
    ------
    ArchiveError
    """
    if folder.exists() and not folder.is_dir():
        raise ArchiveError(f"{folder}: is a file, not a folder", hint="Name a folder for the archive.")


def make_folder(folder: Path) -> None:
    """Make `folder` if it is missing and see that files can be written there, before anything is measured.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    refuse_file(folder)
    with storage_errors(folder, "writing there"):
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass


def add_file(folder: Path, stem: str, *content: Piece) -> Path:
    """Store `content` durably as a new file of `folder`, never over an existing one; return its path.

    When the name is taken the next free one of ``<stem>~2``, ``<stem>~3`` … is used.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    with storage_errors(folder, "writing"):
        partial = _write_partial(folder, content)
        try:
            final = add_name(partial, folder, stem)
        finally:
            partial.unlink(missing_ok=True)
    return final


def numbered(folder: Path, stem: str, serial: int) -> Path:
    """Return the name of the file of that serial number among those of the same `stem`, from 1."""
    return folder / f"{stem}{f'~{serial}' if serial > 1 else ''}{_SUFFIX}"


def replace_file(path: Path, *content: Piece) -> None:
    """Store `content` durably as `path`; whoever reads sees the old file or the new one, never a half.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    with storage_errors(path.parent, "writing"):
        partial = _write_partial(path.parent, content)
        try:
            partial.replace(path)
        except OSError:
            partial.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)


def _write_partial(folder: Path, content: tuple[Piece, ...]) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    partial = folder / f".{secrets.token_hex(8)}.partial"
    # Not tempfile: that makes files which colleagues sharing the archive could not read.
    descriptor = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            for piece in content:
                stream.write(piece)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError:
        partial.unlink(missing_ok=True)
        raise
    return partial


def add_name(partial: Path, folder: Path, stem: str) -> Path:
    """Give the whole file `partial` its name in `folder`, never that of another file; return its path.

    It is durable when this returns. The name `partial` may remain.

    Raises
    ------
    OSError
    """
    serial = 1
    while True:
        final = numbered(folder, stem, serial)
        try:
            # A second name, then the first is dropped: unlike a rename this never replaces a file.
            os.link(partial, final)
        except FileExistsError:
            serial += 1
            continue
        except OSError as error:
            if error.errno not in _NO_LINKS:
                raise
            final = folder / f"{stem}~{secrets.randbits(62) + (1 << 62)}{_SUFFIX}"
            partial.rename(final)
        _sync_folder(folder)
        return final


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened there; the rename itself is journalled
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def lock_beside(folder: Path, doing: str) -> BaseFileLock:
    """Take the lock that stands beside `folder`; it is freed when the process ends, however it ends.

    Parameters
    ----------
    doing
        What another run that has it would be doing: "measuring", "recording".

    Raises
    ------
    ArchiveLocked
        Another run has it.
    """
    lock = FileLock(folder.with_suffix(".lock"))
    try:
        lock.acquire(blocking=False)
    except Timeout as error:
        raise ArchiveLocked(
            f"{folder}: another run is {doing} this at the moment", hint="Wait until it ends, or stop it."
        ) from error
    return lock
