"""Locks of unfinished work: a file beside its folder, so that the folder can be dropped under them."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.errors import ArchiveLocked

if TYPE_CHECKING:
    from filelock import BaseFileLock

__all__ = ["free_lock", "lock_beside"]


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
    from filelock import FileLock, Timeout  # brings asyncio, and reading needs no lock

    lock = FileLock(folder.with_suffix(".lock"))
    try:
        lock.acquire(blocking=False)
    except Timeout as error:
        raise ArchiveLocked(
            f"{folder}: another run is {doing} this at the moment", hint="Wait until it ends, or stop it."
        ) from error
    return lock


def free_lock(lock: BaseFileLock) -> None:
    """Let go of a lock of `lock_beside` and drop its file."""
    name = Path(lock.lock_file)
    with suppress(OSError):
        # While it is held: whoever waits for it sees that the file is gone and makes a new one. Afterwards it
        # would be the file of the next one that is dropped, and a third would get a lock besides.
        if os.name != "nt" and lock.is_locked:
            name.unlink(missing_ok=True)
    lock.release()
    if os.name == "nt":
        with suppress(OSError):  # somebody else may hold it by now
            name.unlink(missing_ok=True)
