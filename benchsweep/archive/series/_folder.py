"""A series while it is recorded: a folder with a file for the head and one for each sweep."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Self

import numpy as np

from benchsweep.archive.format import content_digest, opened, to_bytes
from benchsweep.archive.places import (
    add_name,
    file_stem,
    free_lock,
    lock_beside,
    make_folder,
    numbered,
    replace_file,
    storage_errors,
)
from benchsweep.archive.series._convert import (
    ending_tree,
    head_tree,
    read_ending_node,
    read_head_node,
    read_sweep_node,
    sweep_tree,
)
from benchsweep.archive.series._pack import damage_of, pack, refuse_damage
from benchsweep.errors import ArchiveError, RecordDamaged
from benchsweep.records import SeriesEnding, SeriesEvent, SeriesHead, SeriesSweep

__all__ = ["HEAD", "SeriesWriter", "SweepFiles", "sweep_bytes"]

HEAD = "head.h5"
_ENDING = "ending.h5"
_SWEEP = re.compile(r"sweep-([0-9]{7,12})\.h5")
_PARTIAL = re.compile(r"\.[0-9a-f]{16}\.partial")
_DONE = ".done"


class SweepFiles:
    """The files of an unfinished series, to be read.

    Parameters
    ----------
    folder
        Where they are.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
        There is no head, or it cannot be read.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with opened(folder / HEAD, "series-head") as root:
            self.head = read_head_node(root)
            self.series = content_digest(root)

    def numbers(self) -> list[int]:
        """Return the numbers of the sweeps that are there, rising."""
        with storage_errors(self.folder, "listing"):
            names = [_SWEEP.fullmatch(path.name) for path in self.folder.iterdir()]
        return sorted(int(name[1]) for name in names if name is not None)

    def path(self, number: int) -> Path:
        """Return the file of the sweep of that number."""
        return self.folder / f"sweep-{number:07d}.h5"

    def sweep(self, number: int) -> SeriesSweep:
        """Read one sweep.

        Raises
        ------
        RecordDamaged, RecordNewer, ArchiveError
            Not there, damaged, or of another series.
        """
        path = self.path(number)
        with opened(path, "series-sweep") as root:
            self._refuse_other(root.text("series"), path)
            sweep = read_sweep_node(root, self.head)
        if sweep.number != number:
            raise RecordDamaged(
                f"{path}: holds sweep {sweep.number}", hint="Somebody renamed it: give it its name again."
            )
        return sweep

    def ending(self) -> tuple[SeriesEnding, int] | None:
        """Return how the recording ended and after which sweep; None while it runs or when it was killed."""
        path = self.folder / _ENDING
        if not path.exists():
            return None
        with opened(path, "series-ending") as root:
            self._refuse_other(root.text("series"), path)
            return read_ending_node(root), root.whole("after")

    def _refuse_other(self, series: str, path: Path) -> None:
        if series != self.series:
            raise RecordDamaged(
                f"{path}: belongs to another series than {HEAD} beside it",
                hint="Put it back where it was taken from.",
            )


class SeriesWriter:
    """Keeps the sweeps of one series, each durable when `append` returns, and packs them at the end.

    Memory does not grow with the number of sweeps. The folder is locked until `close`.

    Parameters
    ----------
    archive
        Where the finished series is to stand. The unfinished one stands in ``<archive>/unfinished/<key>``.
    key
        A safe name of what is recorded, the same when the recording is gone on with.
    afresh
        Drop what is there of an interrupted recording.

    Attributes
    ----------
    folder : Path
        The folder of the unfinished series.
    head : SeriesHead or None
        That of the interrupted recording; None when there is none, and `begin` has not been called.
    count : int
        Number of the last sweep that is kept, 0 when there is none.
    last : SeriesSweep or None
        That sweep, when it was found there.
    ending : SeriesEnding or None
        How the recording ended, when it was noted after that sweep.
    damaged : tuple of int
        Numbers after that one whose sweeps cannot be read; the next sweep takes the place of the first.
    lost : tuple of int
        Numbers of all sweeps that cannot be read, when `pack` has failed for them.
    finished : Path or None
        The interrupted recording turned out to be packed already: this is it, and the folder is gone.

    Raises
    ------
    ArchiveLocked, RecordDamaged, RecordNewer, ArchiveError
    """

    def __init__(self, archive: Path, key: str, *, afresh: bool = False) -> None:
        self.archive = Path(archive)
        self.folder = self.archive / "unfinished" / key
        self.head: SeriesHead | None = None
        self.count = 0
        self.last: SeriesSweep | None = None
        self.ending: SeriesEnding | None = None
        self.damaged: tuple[int, ...] = ()
        self.lost: tuple[int, ...] = ()
        self.finished: Path | None = None
        self._files: SweepFiles | None = None
        with storage_errors(self.folder, "keeping unfinished work"):
            make_folder(self.folder)
            self._lock = lock_beside(self.folder, "recording")
        try:
            self._clean()
            if afresh:
                self._drop()
                make_folder(self.folder)
            elif (self.folder / HEAD).exists():
                self._resume()
        except BaseException:
            self.close()
            raise

    @property
    def carried(self) -> tuple[SeriesEvent, ...]:
        """What was noted after the last sweep: it belongs to the next one, or to the ending."""
        return () if self.ending is None else self.ending.events

    def begin(self, head: SeriesHead) -> None:
        """Start a new series in the empty folder.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        if self.head is not None:
            raise ArchiveError(
                f"{self.folder}: holds a series that is not finished",
                hint="Go on with it, finish it, or begin afresh.",
            )
        replace_file(self.folder / HEAD, *to_bytes("series-head", head_tree(head)))
        self._files = SweepFiles(self.folder)
        self.head = self._files.head

    def append(self, sweep: SeriesSweep) -> None:
        """Store a sweep; when this returns it is on the disc.

        Raises
        ------
        ArchiveLocked, ArchiveError
            Also when the sweep does not fit the series: ports, grid, or its number is not the next.
        """
        files = self._begun()
        raw = sweep.sweep
        fits = (
            sweep.number == self.count + 1
            and raw.analyzer_ports == files.head.hookup.analyzer_ports
            and raw.frequency_hz.tobytes() == files.head.frequency_hz.tobytes()
        )
        if not fits:
            raise ArchiveError(
                f"sweep {sweep.number} does not fit the series, which has {self.count} sweeps: its number, "
                "its grid or its ports differ",
                hint="Begin a new series.",
            )
        content = to_bytes("series-sweep", sweep_tree(sweep, files.series))
        replace_file(files.path(sweep.number), *content)
        self.count = sweep.number

    def end(self, ending: SeriesEnding) -> None:
        """Note how the recording ended; it can be gone on with all the same.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        tree = ending_tree(ending, self._begun().series, self.count)
        replace_file(self.folder / _ENDING, *to_bytes("series-ending", tree))

    @property
    def sound(self) -> int:
        """How many sweeps there are, as far as is known, that can be read."""
        return self.count - sum(number <= self.count for number in self.lost)

    def packed_bytes(self) -> int:
        """Return how much room the packed file takes, without some thousands of bytes besides the sweeps."""
        files = self._begun()
        return len(files.numbers()) * sweep_bytes(files.head)

    def pack(
        self, ending: SeriesEnding, *, leave_out_damaged: bool = False, into: Path | None = None
    ) -> Path:
        """Pack all sweeps into one sealed file of the archive, then drop the folder; return the path.

        When this fails, or is killed, the folder stays as it was.

        Parameters
        ----------
        ending
            How the series ended.
        leave_out_damaged
            Leave out sweeps that cannot be read, which the file then says; else they are an error.
        into
            Another folder for the packed file; made when it is missing.

        Raises
        ------
        ArchiveLocked, RecordDamaged, ArchiveError
        """
        files = self._begun()
        target = self.archive if into is None else Path(into)
        if into is not None:
            make_folder(target)
            # A run that was killed after packing there has left the folder; what it packed is found again.
            numbers = files.numbers()
            already = _packed_as(target, files, numbers[-1] if numbers else 0)
            if already is not None:
                self._drop()
                return already
        final = self._packed(files, ending, target, leave_out_damaged)
        self._drop()
        return final

    def _packed(self, files: SweepFiles, ending: SeriesEnding, target: Path, leave_out: bool) -> Path:
        lost = damage_of(files, look=leave_out)
        partial = (self.folder if target == self.archive else target) / f".{files.series[:16]}.partial"
        partial.unlink(missing_ok=True)  # of a run that was killed
        try:
            if not leave_out:
                refuse_damage(files, lost)
            pack(files, ending, partial, lost=lost)
            stem = file_stem(files.head.started_at, files.head.specimen.identifier)
            with storage_errors(target, "writing"):
                return add_name(partial, target, stem)
        except RecordDamaged:
            found = damage_of(files, look=True)
            self.lost = tuple(found)
            if not leave_out:
                refuse_damage(files, found)
            raise
        finally:
            partial.unlink(missing_ok=True)

    def discard(self) -> None:
        """Drop the folder and all that is in it.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        self._drop()

    def close(self) -> None:
        """Let go of the lock; what was stored stays."""
        free_lock(self._lock)
        with suppress(OSError):  # not empty
            self.folder.rmdir()
        with suppress(OSError):
            self.folder.parent.rmdir()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _begun(self) -> SweepFiles:
        if self._files is None:
            raise ArchiveError(f"{self.folder}: no series has been begun", hint="Record one first.")
        return self._files

    def _clean(self) -> None:
        """Drop what a killed run left behind: half files, and a folder that was being dropped."""
        with storage_errors(self.folder, "dropping leftovers"):
            for path in self.folder.iterdir():
                if _PARTIAL.fullmatch(path.name):
                    path.unlink(missing_ok=True)
            _remove(self.folder.with_name(self.folder.name + _DONE))

    def _resume(self) -> None:
        files = SweepFiles(self.folder)
        numbers = files.numbers()
        packed = _packed_as(self.archive, files, numbers[-1] if numbers else 0)
        if packed is not None:
            self.finished = packed
            self._drop()
            return
        self._files, self.head = files, files.head
        for number in reversed(numbers):
            try:
                self.last = files.sweep(number)
                self.count = number
                break
            except RecordDamaged:
                # Only the disc can have done that: a sweep is there whole or not at all.
                self.damaged = (number, *self.damaged)
        ending = files.ending()
        if ending is not None and ending[1] == self.count:
            self.ending = ending[0]

    def _drop(self) -> None:
        """Drop the folder so that a kill half-way leaves nothing that looks like a series."""
        done = self.folder.with_name(self.folder.name + _DONE)
        with storage_errors(self.folder, "dropping unfinished work"):
            if self.folder.is_dir():
                self.folder.rename(done)
            _remove(done)
        self._files, self.head, self.count, self.last = None, None, 0, None
        self.ending, self.damaged, self.lost = None, (), ()


def sweep_bytes(head: SeriesHead) -> int:
    """Return how many bytes the matrix of one sweep takes."""
    return head.frequency_hz.size * len(head.hookup.analyzer_ports) ** 2 * 16


def _remove(folder: Path) -> None:
    """Remove what a series leaves in a folder, and the folder when nothing else is in it."""
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        if path.name in (HEAD, _ENDING) or _SWEEP.fullmatch(path.name) or _PARTIAL.fullmatch(path.name):
            path.unlink(missing_ok=True)
    if not any(folder.iterdir()):
        folder.rmdir()


def _packed_as(archive: Path, files: SweepFiles, last: int) -> Path | None:
    """Return the file into which exactly these sweeps were packed already; None when there is none."""
    stem = file_stem(files.head.started_at, files.head.specimen.identifier)
    for path in _candidates(archive, stem):
        try:
            with opened(path, "series") as root:
                same = root.text("series") == files.series
                numbers = root.child("sweeps").array("number", np.int64, 1)
        except (RecordDamaged, ArchiveError):
            continue
        if same and numbers.size and numbers[-1] == last:
            return path
    return None


def _candidates(archive: Path, stem: str) -> Iterator[Path]:
    serial = 1
    while (path := numbered(archive, stem, serial)).exists():
        yield path
        serial += 1
