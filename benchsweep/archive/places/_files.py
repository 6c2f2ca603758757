"""Files: names made safe, written whole or not at all.

What is told as written is on the disc: the bytes of the file, its name, and the names of new folders above.
What is told as failed has no name, so that the same call can be made again. A process that is killed leaves a
``.<16 digits>.partial`` at most, which nobody reads; `add_file` drops old ones.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import tempfile
import unicodedata
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from benchsweep.archive.places._storage_errors import storage_errors
from benchsweep.errors import ArchiveError

__all__ = [
    "Piece",
    "add_file",
    "add_name",
    "file_stem",
    "make_folder",
    "numbered",
    "refuse_file",
    "replace_file",
    "sort_key",
    "sync_folder",
]

Piece = bytes | bytearray | memoryview
"""A part of the content of a file; its items are bytes."""

_SUFFIX = ".h5"
_LONGEST_NAME = 80
# What a file system answers that knows no second name for a file.
_NO_LINKS = frozenset({errno.EPERM, errno.EOPNOTSUPP, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK, errno.EXDEV})
# What a file system answers that cannot bring a folder to the disc by itself: some network drives.
_NO_FOLDER_SYNC = frozenset({errno.EINVAL, errno.EOPNOTSUPP, errno.ENOTSUP, errno.ENOSYS, errno.EBADF})
_PARTIAL = re.compile(r"\.[0-9a-f]{16}\.partial")
_OLD_S = 24 * 3600.0
_looked_through: set[str] = set()


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


def refuse_file(folder: Path) -> None:
    """Refuse a path that cannot become an archive because something else is there; makes nothing.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    with storage_errors(folder, "looking there"):
        is_file = folder.exists() and not folder.is_dir()
    if is_file:
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
        Nothing was stored, and the same call can be made again.
    """
    with storage_errors(folder, "writing"):
        _make_folders(folder)
        partial = _write_partial(folder, content)
        try:
            _drop_leftovers(folder, partial)
            return add_name(partial, folder, stem)
        finally:
            _drop(partial)


def numbered(folder: Path, stem: str, serial: int) -> Path:
    """Return the name of the file of that serial number among those of the same `stem`, from 1."""
    return folder / f"{stem}{f'~{serial}' if serial > 1 else ''}{_SUFFIX}"


def replace_file(path: Path, *content: Piece) -> None:
    """Store `content` durably as `path`; whoever reads sees the old file or the new one, never a half.

    The folder must be there: one that has vanished in the middle of a job is a drive that was taken off, and
    must not be made anew on the disc beneath.

    Raises
    ------
    ArchiveLocked, ArchiveError
        The old file is there, or the new one.
    """
    with storage_errors(path.parent, "writing"):
        partial = _write_partial(path.parent, content)
        try:
            partial.replace(path)
        except BaseException:
            _drop(partial)
            raise
        sync_folder(path.parent)


def _write_partial(folder: Path, content: tuple[Piece, ...]) -> Path:
    """Store `content` in `folder` under a name that nobody reads, durably; return its path."""
    partial = folder / f".{secrets.token_hex(8)}.partial"
    # Not tempfile: that makes files which colleagues sharing the archive could not read.
    descriptor = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        try:
            for piece in content:
                _write_all(descriptor, memoryview(piece))
            os.fsync(descriptor)
        except BaseException:
            with suppress(OSError):  # the first error is the one to tell
                os.close(descriptor)
            raise
        os.close(descriptor)  # some network drives tell only now that the disc is full
    except BaseException:
        _drop(partial)
        raise
    return partial


def _write_all(descriptor: int, piece: memoryview) -> None:
    while piece:
        written = os.write(descriptor, piece)  # a nearly full disc may take a part
        if not written:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        piece = piece[written:]


def _drop(partial: Path) -> None:
    # What cannot be dropped is not read either; the error that led here is the one to tell.
    with suppress(OSError):
        partial.unlink(missing_ok=True)


def _drop_leftovers(folder: Path, partial: Path) -> None:
    """Drop what killed processes left in `folder` a day ago or earlier, once in each process.

    `partial` was written just now, so its time is that of the clock which gave the others theirs.
    """
    if str(folder) in _looked_through:
        return
    _looked_through.add(str(folder))
    with suppress(OSError):
        now = partial.stat().st_mtime
        with os.scandir(folder) as entries:
            named = [entry for entry in entries if _PARTIAL.fullmatch(entry.name)]
        for entry in named:
            if now - entry.stat(follow_symlinks=False).st_mtime > _OLD_S:
                Path(entry.path).unlink()


def add_name(partial: Path, folder: Path, stem: str) -> Path:
    """Give the whole file `partial` its name in `folder`, never that of another file; return its path.

    It is durable when this returns. The name `partial` may remain.

    Raises
    ------
    OSError
        The file has no name but `partial`, unless the drive refuses to take the new one back as well.
    """
    serial = 1
    while True:
        final = numbered(folder, stem, serial)
        try:
            # A second name, then the first is dropped: unlike a rename this never replaces a file.
            os.link(partial, final)
        except FileExistsError:
            # Of a network drive the answer may be lost; asked again it finds its own name there.
            if not _is_second_name(partial, final):
                serial += 1
                continue
        except OSError as error:
            if error.errno not in _NO_LINKS:
                _take_back(partial, final)
                raise
            final = folder / f"{stem}~{secrets.randbits(62) + (1 << 62)}{_SUFFIX}"
            _rename(partial, final)
            return final
        try:
            sync_folder(folder)
        except OSError:
            _take_back(partial, final)
            raise
        return final


def _rename(partial: Path, final: Path) -> None:
    """Give `partial` a name that is surely free in place of its own, durably."""
    try:
        partial.rename(final)
        sync_folder(final.parent)
    except OSError:
        with suppress(OSError):
            final.unlink(missing_ok=True)
        raise


def _is_second_name(partial: Path, final: Path) -> bool:
    with suppress(OSError):
        one, other = partial.stat(), final.stat()
        # The count of names too: where files have no numbers all of them are the same.
        return one.st_nlink > 1 and one.st_ino != 0 and os.path.samestat(one, other)
    return False


def _take_back(partial: Path, final: Path) -> None:
    """Drop the name `final` when it is that of `partial`, and nobody else's."""
    if _is_second_name(partial, final):
        with suppress(OSError):
            final.unlink(missing_ok=True)


def _make_folders(folder: Path) -> None:
    """Make `folder` and those above it that are missing, durably."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for path in reversed(missing):
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disc, where the file system can."""
    if os.name == "nt":  # a folder cannot be opened there; the rename itself is journalled
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NO_FOLDER_SYNC:
            raise
    finally:
        os.close(descriptor)
