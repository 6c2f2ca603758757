"""What killed runs leave in an archive: half files nobody reads, work that nobody finished."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from pathlib import Path

from benchsweep.archive.check._finding import Finding
from benchsweep.archive.places import list_folders, local_path, storage_errors

__all__ = ["leftovers"]

_PARTIAL = re.compile(r"\.[0-9a-f]{16}\.partial")
_UNFINISHED = ("unfinished", "unfinished-verification")
# A run that goes on touches its files more often: a hookup waits for a person, not longer than a break.
_AT_WORK_S = 3600.0


def leftovers(root: Path | str) -> Iterator[Finding]:
    """Yield half files and unfinished work that nothing has touched for an hour.

    Only of an archive on a drive of this machine or network: nothing is measured into a store.

    Raises
    ------
    ArchiveLocked, ArchiveError
        A folder cannot be listed.
    """
    folder = local_path(root)
    if folder is None:
        return
    now = time.time()
    for place in list_folders(folder):
        with storage_errors(place, "listing"):
            names = sorted(os.listdir(place))  # noqa: PTH208 - names are all that is wanted
            for name in names:
                if _PARTIAL.fullmatch(name):
                    yield from _partial(place / name, now)
                elif name in _UNFINISHED:
                    yield from _jobs(place / name, now)


def _partial(path: Path, now: float) -> Iterator[Finding]:
    try:
        status = path.stat()
    except FileNotFoundError:  # it was being written and has its name now
        return
    if now - status.st_mtime > _AT_WORK_S:
        words = (
            f"was left by a run that was killed {_age(now - status.st_mtime)} ago ({status.st_size} bytes)"
        )
        yield Finding("left-over", str(path), f"{words}; nothing reads it, it may be removed")


def _jobs(folder: Path, now: float) -> Iterator[Finding]:
    """Yield the unfinished jobs of `folder`; files in it itself are those of one job."""
    entries = sorted(folder.iterdir())
    jobs = [entry for entry in entries if entry.is_dir()]
    if any(entry.suffix == ".h5" for entry in entries):
        jobs.append(folder)
    for job in jobs:
        files = [entry for entry in job.iterdir() if entry.is_file()]
        touched = max((entry.stat().st_mtime for entry in files), default=job.stat().st_mtime)
        swept = sum(entry.suffix == ".h5" for entry in files)
        if now - touched > _AT_WORK_S and swept:
            many = "1 file" if swept == 1 else f"{swept} files"
            words = f"unfinished work with {many}, untouched for {_age(now - touched)}"
            yield Finding("unfinished", str(job), f"{words}; the same command again finishes it")


def _age(seconds: float) -> str:
    for length, unit in ((86400.0, "day"), (3600.0, "hour")):
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit}s"
    return f"{seconds / 60:.0f} minutes"
