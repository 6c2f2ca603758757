"""Files for other programs (tables, exports): whole or not at all, and never over another one unasked."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from benchsweep.archive.places._files import _NO_LINKS, sync_folder
from benchsweep.archive.places._storage_errors import is_folder, storage_errors
from benchsweep.errors import UsageError

__all__ = ["new_file", "store_file"]


def store_file(path: Path, content: bytes, *, replace: bool = False) -> Path:
    """Store `content` durably as `path`, whole or not at all, and return the path.

    Parameters
    ----------
    replace
        Put it in the place of a file that is there; otherwise that is refused.

    Raises
    ------
    UsageError
        There is something of that name, or the name is no local path.
    ArchiveLocked, ArchiveError
        The place cannot be written.
    """
    with new_file(path, replace=replace) as stream:
        stream.write(content)
    return Path(path)


@contextmanager
def new_file(path: Path, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Open a file that appears as `path` when the block ends, on the disc by then; not at all when it fails.

    It is written under another name in the same folder (made when missing), brought to the disc, then given
    its name. Two programs that choose the same name do not overwrite each other: the second is refused.

    Raises
    ------
    UsageError, ArchiveLocked, ArchiveError
        As `store_file`.
    """
    if re.match(r"[a-z][a-z0-9+.-]+:/", str(path), re.IGNORECASE):
        raise UsageError(f"{path}: files are written to local folders only", hint="Name a local path.")
    path = Path(path)
    if is_folder(path):
        raise UsageError(f"{path}: is a folder", hint="Name a file in it.")
    if not replace and os.path.lexists(path):
        raise _taken(path)
    with storage_errors(path, "writing"):
        path.parent.mkdir(parents=True, exist_ok=True)
        partial = path.parent / f".{secrets.token_hex(8)}.partial"
        try:
            descriptor = os.open(
                partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666
            )
            with os.fdopen(descriptor, "wb") as stream:
                yield stream
                stream.flush()
                os.fsync(stream.fileno())
            _give_name(partial, path, replace=replace)
            sync_folder(path.parent)
        finally:
            partial.unlink(missing_ok=True)


def _give_name(partial: Path, path: Path, *, replace: bool) -> None:
    if replace:
        partial.replace(path)
        return
    try:
        # A second name, then the first is dropped: unlike a rename this never replaces a file.
        os.link(partial, path)
    except FileExistsError as error:
        raise _taken(path) from error
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # A file system that knows no second names: the best it can do is to look just before.
        if os.path.lexists(path):
            raise _taken(path) from error
        partial.rename(path)


def _taken(path: Path) -> UsageError:
    return UsageError(
        f"{path}: exists already, and nothing is overwritten unasked", hint="Name another file, or remove it."
    )
