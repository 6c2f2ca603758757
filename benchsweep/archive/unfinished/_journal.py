"""The folder of an unfinished job: a file for each finished hookup, and notes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from types import MappingProxyType
from typing import Self

from benchsweep.archive._convert import hookup_tree, read_hookup_node, read_job
from benchsweep.archive.format import opened, to_bytes
from benchsweep.archive.places import Piece, free_lock, lock_beside, replace_file, storage_errors
from benchsweep.archive.unfinished._job_notes import JobNotes, notes_from_bytes, notes_to_bytes
from benchsweep.errors import RecordDamaged, RecordNewer
from benchsweep.records import RawHookup

__all__ = ["Journal", "holds_work"]

# While this file is there, the hookups beside it are to be dropped.
_DONE = "done"
_NOTES = "job-notes.json"
_OURS = re.compile(rf"hookup-[0-9]{{3,}}\.h5|\.[0-9a-f]{{16}}\.partial|{re.escape(_NOTES)}")


class Journal:
    """The finished hookups of one unfinished job, each in a durable file of its own.

    A hookup that was saved survives whatever ends the program. A file that is damaged or half written counts
    as not finished. Opening a journal that holds hookups of another job empties it: what was swept for one
    specimen or calibration can never slip into the result of another.

    Parameters
    ----------
    folder
        Belongs to the journal alone; made when it is missing.
    job
        What makes the job this one: specimen, grid, fixture, calibration … Compared as a whole.
    afresh
        Drop the hookups that are there.

    The journal is locked until `close` (or the end of a ``with`` block): a second run of the same job, in
    another window or on another machine that shares the folder, is refused.

    Attributes
    ----------
    resumed : bool
        Hookups of this job were there when it was opened.
    restarted : bool
        Hookups of another job were there and were dropped.

    Raises
    ------
    ArchiveLocked, ArchiveError
        Another run has the journal open, the folder cannot be made, read or written, or a text of `job`
        cannot be stored.
    """

    def __init__(self, folder: Path, job: Mapping[str, str], *, afresh: bool = False) -> None:
        self.folder = Path(folder)
        self.job = MappingProxyType(dict(job))
        self._finished: dict[int, RawHookup] = {}
        self._notes = JobNotes()
        self.restarted = False
        with storage_errors(self.folder, "keeping unfinished work"):
            self.folder.mkdir(parents=True, exist_ok=True)
            self._lock = lock_beside(self.folder, "measuring")
            try:
                if afresh or (self.folder / _DONE).exists():
                    self._drop()
                for path in sorted(self._files()):
                    self._take(path)
            except BaseException:
                self.close()
                raise
        self.resumed = bool(self._finished)

    def finished(self) -> Mapping[int, RawHookup]:
        """Return number -> hookup of all that were saved, by number."""
        return MappingProxyType(dict(sorted(self._finished.items())))

    @property
    def notes(self) -> JobNotes:
        """What is remembered besides the hookups."""
        return self._notes

    def keep_notes(self, notes: JobNotes) -> None:
        """Remember `notes` in place of the old ones; when this returns they are on the disc.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        self._replace(_NOTES, notes_to_bytes(notes, self.job))
        self._notes = notes

    def save(self, raw: RawHookup) -> None:
        """Store a finished hookup; when this returns it is on the disc.

        A hookup of the same number is replaced; the old file stays until the new one is whole.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        name = f"hookup-{raw.hookup.number:03d}.h5"
        self._replace(name, *to_bytes("hookup", hookup_tree(raw, job=self.job)))
        self._finished[raw.hookup.number] = raw

    def _replace(self, name: str, *content: Piece) -> None:
        with storage_errors(self.folder, "writing"):
            # Not those above it: where they have gone, a drive was taken off in the middle of the job.
            self.folder.mkdir(exist_ok=True)
        replace_file(self.folder / name, *content)

    def close(self) -> None:
        """Let go of the lock; what was saved stays."""
        free_lock(self._lock)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def discard(self) -> None:
        """Delete all hookups, and the folder when nothing else is in it: the job is done.

        When this is interrupted, the next journal of that folder finishes it: no job is ever half dropped.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        with storage_errors(self.folder, "dropping unfinished work"):
            if self.folder.is_dir():
                with suppress(OSError):  # a full disc must not keep a job from being dropped
                    (self.folder / _DONE).touch()
                self._drop()
            if self.folder.is_dir() and not any(self.folder.iterdir()):
                self.folder.rmdir()
        self._finished.clear()
        self._notes = JobNotes()

    def _drop(self) -> None:
        for path in sorted(self._files()):
            path.unlink(missing_ok=True)
        (self.folder / _DONE).unlink(missing_ok=True)  # the last to go

    def _files(self) -> Iterator[Path]:
        if self.folder.is_dir():
            yield from (path for path in self.folder.iterdir() if _OURS.fullmatch(path.name))

    def _take(self, path: Path) -> None:
        if path.suffix == ".partial":
            path.unlink(missing_ok=True)
            return
        if path.name == _NOTES:
            self._take_notes(path)
            return
        try:
            with opened(path, "hookup") as root:
                job, raw = read_job(root), read_hookup_node(root)
        except (RecordDamaged, RecordNewer):
            return  # not finished: the hookup is done again and replaces the file
        if job == self.job:
            self._finished[raw.hookup.number] = raw
        else:
            path.unlink(missing_ok=True)
            self.restarted = True

    def _take_notes(self, path: Path) -> None:
        found = notes_from_bytes(path.read_bytes())
        if found is not None and found[0] == self.job:
            self._notes = found[1]
        else:
            path.unlink(missing_ok=True)


def holds_work(folder: Path) -> bool:
    """Tell whether there are finished hookups in the folder of a job, which is not done.

    Raises
    ------
    ArchiveLocked, ArchiveError
        The folder cannot be read.
    """
    with storage_errors(folder, "looking for unfinished work"):
        if not folder.is_dir() or (folder / _DONE).exists():
            return False
        return any(path.name.startswith("hookup-") for path in folder.iterdir() if _OURS.fullmatch(path.name))
