"""How a recording ends: packed into one record, or kept as a folder that is gone on with."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep import archive
from benchsweep.errors import (
    AcquisitionError,
    ArchiveError,
    BenchsweepError,
    InstrumentError,
    PowerCycled,
    UsageError,
)
from benchsweep.qualification._series_clock import Clock
from benchsweep.qualification._series_loop import Recorder, in_order
from benchsweep.qualification._series_space import disc_is_full, missing_words, packing_bytes, sweep_room
from benchsweep.records import SeriesEnding, SeriesEvent, Specimen

if TYPE_CHECKING:
    from benchsweep.qualification._bench import Progress

__all__ = [
    "Recorded",
    "finish_series",
    "finished",
    "kept",
    "power_cut_hint",
    "recorded",
    "series_key",
    "sweeps_words",
]


@dataclass(frozen=True, slots=True)
class Recorded:
    """A finished series.

    Parameters
    ----------
    record
        The packed file.
    specimen
        Name of the part under test.
    sweeps
        How many it holds.
    began_at, ended_at
        ISO 8601 times in UTC.
    reason
        How it ended, in words.
    events
        All that happened, in order of time.
    packing_s
        How long packing took.
    """

    record: Path
    specimen: str
    sweeps: int
    began_at: str
    ended_at: str
    reason: str
    events: tuple[SeriesEvent, ...]
    packing_s: float

    @property
    def gaps(self) -> tuple[SeriesEvent, ...]:
        """The times during which nothing could be swept: lost links and interruptions."""
        return tuple(event for event in self.events if event.kind in ("gap", "resumed"))


def series_key(station: str, specimen: Specimen) -> str:
    """Return a safe name of what is recorded, the same on every run."""
    # Any text may name a specimen; a digest of it is a safe folder name.
    return hashlib.sha256(f"series\0{station}\0{specimen.identifier}".encode()).hexdigest()[:16]


def finish_series(
    station: str,
    specimen: Specimen,
    *,
    folder: Path,
    leave_out_damaged: bool = False,
    into: Path | None = None,
    progress: Progress,
) -> Recorded:
    """Pack what an interrupted recording has kept; nothing is measured.

    Parameters
    ----------
    station
        Name of the station.
    folder
        The archive that holds the unfinished series.
    leave_out_damaged
        Leave out sweeps that cannot be read, which the record then says.
    into
        Another folder for the record, where `folder` has no room.

    Raises
    ------
    UsageError
        Nothing is unfinished.
    ArchiveError
    """
    nothing = UsageError(
        f"no interrupted recording of {specimen.identifier} at station {station} in {folder}",
        hint="Check --archive, --station and --specimen; "
        f"`benchsweep show {folder / 'unfinished'}` lists what there is.",
    )
    key = series_key(station, specimen)
    if not (folder / "unfinished" / key).is_dir():
        raise nothing
    with archive.SeriesWriter(folder, key) as writer:
        if writer.finished is not None:
            return recorded(writer.finished, 0.0)
        if writer.head is None or (writer.count == 0 and not writer.damaged):
            raise nothing
        ending = writer.ending
        if ending is None:
            at = writer.head.started_at if writer.last is None else writer.last.sweep.taken_at
            words = f"it was cut off after sweep {writer.count} (killed, or without power) and finished later"
            ending = SeriesEnding(at, words)
        try:
            return finished(writer, ending, progress, leave_out_damaged=leave_out_damaged, into=into)
        except ArchiveError as error:
            _tell_kept(error, writer, into)
            raise


def finished(
    writer: archive.SeriesWriter,
    ending: SeriesEnding,
    progress: Progress,
    *,
    leave_out_damaged: bool = False,
    into: Path | None = None,
) -> Recorded:
    """Note the ending and pack the sweeps into one record.

    Raises
    ------
    ArchiveError
    """
    with suppress(ArchiveError):  # only for a later call, should this one fail
        writer.end(ending)
    progress(f"{ending.reason}; packing {sweeps_words(writer.count)} into one record")
    began = time.monotonic()
    path = writer.pack(ending, leave_out_damaged=leave_out_damaged, into=into)
    packing_s = time.monotonic() - began
    progress(f"packed in {packing_s:.1f} s")
    return recorded(path, packing_s)


def recorded(path: Path, packing_s: float) -> Recorded:
    """Return what there is to say about a packed series."""
    with archive.open_series(path) as reader:
        ending = reader.ending
        return Recorded(
            record=path,
            specimen=reader.head.specimen.identifier,
            sweeps=len(reader.numbers),
            began_at=reader.head.started_at,
            ended_at="" if ending is None else ending.ended_at,
            reason="" if ending is None else ending.reason,
            events=in_order(reader.events()),
            packing_s=packing_s,
        )


@contextmanager
def kept(
    writer: archive.SeriesWriter, recorder: Recorder, clock: Clock, progress: Progress
) -> Iterator[None]:
    """Whatever ends the recording too early: note why, and say where the sweeps are."""
    try:
        yield
    except (InstrumentError, AcquisitionError, ArchiveError, KeyboardInterrupt) as error:
        if writer.count == 0:
            with suppress(ArchiveError):
                writer.discard()
            raise
        at = clock.now().isoformat(timespec="milliseconds")
        words = "it was broken off" if isinstance(error, KeyboardInterrupt) else f"an error ended it: {error}"
        if not recorder.ended:
            ended = SeriesEvent(at, "ended", words)
            with suppress(ArchiveError):
                writer.end(SeriesEnding(at, words, (*recorder.pending, ended)))
        if isinstance(error, KeyboardInterrupt):
            progress(_kept_words(writer))
        elif isinstance(error, PowerCycled):
            error.hint = power_cut_hint(writer)
        elif recorder.ended:
            _tell_kept(error, writer, None)
        else:
            if disc_is_full(error) and writer.head is not None:
                needed = missing_words(writer.archive, sweep_room(writer.head))
                error.hint = f"{error.hint} For one more sweep {needed}."
            error.hint = f"{error.hint} {_kept_words(writer)}".strip()
        raise


def power_cut_hint(writer: archive.SeriesWriter) -> str:
    """Return what can be done after the analyzer was switched off and on during a series."""
    return (
        f"This series ends here: --finish packs {sweeps_words(writer.count)} kept in {writer.folder}. Let "
        "the analyzer warm up, calibrate, and begin a new series."
    )


def sweeps_words(count: int) -> str:
    """Return ``1 sweep``, ``7 sweeps``."""
    return "1 sweep" if count == 1 else f"{count} sweeps"


def _tell_kept(error: BenchsweepError, writer: archive.SeriesWriter, into: Path | None) -> None:
    """Add to the hint of an error of packing how much room is missing, and where the sweeps are."""
    if disc_is_full(error):
        needed = missing_words(into or writer.archive, packing_bytes(writer))
        error.hint += f" To pack, {needed}. `--finish --into DIR` packs into another folder."
    error.hint = f"{error.hint} {_kept_words(writer)}".strip()


def _kept_words(writer: archive.SeriesWriter) -> str:
    if writer.lost:
        return f"{writer.sound} of {writer.count} sweeps can be read; all are kept in {writer.folder}."
    are = "is" if writer.count == 1 else "are"
    return (
        f"{sweeps_words(writer.count)} {are} kept in {writer.folder}: the same command goes on; "
        "with --finish, without --count, --every and --for, it packs what there is."
    )
