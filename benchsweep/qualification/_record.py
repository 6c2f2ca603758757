"""Record a series: the same hookup swept again and again, every sweep kept as it comes."""

from __future__ import annotations

import hashlib
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive
from benchsweep.acquisition import Done, make_plan
from benchsweep.errors import AcquisitionError, ArchiveError, InstrumentError, UsageError
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._qualify import plan_for
from benchsweep.qualification._reduction import software_versions
from benchsweep.qualification._series_ambient import AmbientSource, TypedAmbient
from benchsweep.qualification._series_clock import Clock, SystemClock
from benchsweep.qualification._series_loop import Recorder, Wishes
from benchsweep.records import (
    FOUR_PAIRS,
    BalancedPort,
    Calibration,
    Hookup,
    SeriesEnding,
    SeriesEvent,
    SeriesHead,
    Specimen,
)

__all__ = ["Recorded", "finish_series", "record_series", "series_hookup"]

_STRUCTURE_BYTES = 12_000
"""What one sweep takes on the disc besides its matrix, measured."""

Listen = Callable[[], AbstractContextManager[threading.Event]]
"""Begins to listen for the wish to stop; the event is set when it comes."""


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
        All that happened, in order.
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


def series_hookup(bench: Bench, ports: Sequence[str] = ()) -> Hookup:
    """Return the one hookup of a series.

    Parameters
    ----------
    ports
        Balanced ports that are attached, such as ``A:12``; none: as many as the first hookup of a plan has,
        the whole specimen where the analyzer has the ports.

    Raises
    ------
    UsageError
        No such balanced port, one given twice, or more than there are places.
    HookupImpossible
        Nothing was given, and the bench has fewer than two places.
    """
    if not ports:
        return plan_for(bench.slots).hookups[0]
    wanted = [_balanced_port(label) for label in ports]
    if len(wanted) > len(bench.slots):
        raise UsageError(
            f"{len(wanted)} balanced ports are to be attached, the bench has {len(bench.slots)} places",
            hint=f"Give at most {len(bench.slots)} in --ports: a series has one hookup.",
        )
    return make_plan(bench.slots, wanted).hookups[0]


def _balanced_port(label: str) -> BalancedPort:
    end, _, pair = label.strip().partition(":")
    try:
        if end not in ("A", "B"):
            raise ValueError
        return BalancedPort("A" if end == "A" else "B", pair)
    except ValueError:
        known = ", ".join(f"{end}:{pair}" for end in "AB" for pair in FOUR_PAIRS)
        raise UsageError(f"no balanced port {label[:40]!r}", hint=f"There are: {known}.") from None


def record_series(  # noqa: PLR0913 - all but two are named, and each is a thing of its own
    bench: Bench,
    specimen: Specimen,
    *,
    hookup: Hookup,
    solved: Callable[[], Calibration | None],
    folder: Path,
    wishes: Wishes,
    ambient: AmbientSource | None = None,
    description: str = "",
    operator: str = "",
    afresh: bool = False,
    clock: Clock | None = None,
    listen: Listen = lambda: nullcontext(threading.Event()),
    progress: Progress,
) -> Recorded:
    """Sweep one hookup again and again on an open bench, and make one series record of it.

    Each sweep is on the disc before the next begins. Whatever ends the recording, what was swept is kept in
    ``<folder>/unfinished``, and the same call goes on from there, with the numbers and the calibration it had
    begun with. When the recording ends as wanted the sweeps are packed into one file.

    Parameters
    ----------
    hookup
        What is attached all the while; see `series_hookup`.
    solved
        Gives the calibration of a new series, None for uncorrected sweeps; not called to go on with one.
    folder
        The archive.
    wishes
        How many, how often, how long; how long a lost link is waited for.
    ambient
        Where ambient readings come from.
    description
        Why it is recorded.
    afresh
        Drop an interrupted recording and begin anew.
    clock
        The clocks of the computer by default.
    listen
        Entered when sweeping begins; a wish to stop lets the sweep at hand end, then the series is finished.

    Raises
    ------
    UsageError
        An interrupted recording of this specimen was made otherwise.
    InstrumentError, AcquisitionError
        The analyzer stayed away too long, or failed for good; what was swept is kept.
    ArchiveError
        For example a full disc; what was swept is kept.
    KeyboardInterrupt
        Stopped before anything was swept, or a second time.
    """
    clock = clock or SystemClock()
    archive.make_folder(folder)
    with archive.SeriesWriter(folder, _key(bench.station.name, specimen), afresh=afresh) as writer:
        if writer.finished is not None:
            progress(f"the interrupted recording was complete already: {writer.finished}")
            return _recorded(writer.finished, 0.0)
        if writer.head is None:
            head = _head(bench, specimen, hookup, solved(), clock, description, operator)
            writer.begin(head)
        else:
            _refuse_other(bench, writer.head, hookup, description)
            progress(
                f"going on with an interrupted recording of {writer.head.started_at}: {writer.count} sweeps "
                "are kept (--afresh begins anew)"
            )
        _warn_of_space(folder, writer, wishes, progress)
        recorder = Recorder(bench, writer, wishes, ambient or TypedAmbient({}), clock, progress)
        with _kept(writer, recorder, clock):
            if recorder.over():
                if writer.ending is not None:  # only the packing had failed
                    return _finished(writer, writer.ending, progress)
            else:
                _connect(bench, hookup)
            with listen() as stop:
                reason = recorder.run(stop)
                if writer.count == 0:
                    raise KeyboardInterrupt
                ended_at = clock.now().isoformat(timespec="milliseconds")
                return _finished(writer, SeriesEnding(ended_at, reason, recorder.pending), progress)


def finish_series(
    station: str, specimen: Specimen, *, folder: Path, leave_out_damaged: bool = False, progress: Progress
) -> Recorded:
    """Pack what an interrupted recording has kept; nothing is measured.

    Parameters
    ----------
    station
        Name of the station.
    leave_out_damaged
        Leave out sweeps that cannot be read, which the record then says.

    Raises
    ------
    UsageError
        Nothing is unfinished.
    ArchiveError
    """
    nothing = UsageError(
        f"no interrupted recording of {specimen.identifier} at station {station} in {folder}",
        hint="Check --archive, --station and --specimen.",
    )
    key = _key(station, specimen)
    if not (folder / "unfinished" / key).is_dir():
        raise nothing
    with archive.SeriesWriter(folder, key) as writer:
        if writer.finished is not None:
            return _recorded(writer.finished, 0.0)
        if writer.head is None or writer.count == 0:
            raise nothing
        ending = writer.ending
        if ending is None:
            at = writer.head.started_at if writer.last is None else writer.last.sweep.taken_at
            ending = SeriesEnding(at, "it was cut off after the last sweep and finished later")
        return _finished(writer, ending, progress, leave_out_damaged=leave_out_damaged)


def _finished(
    writer: archive.SeriesWriter,
    ending: SeriesEnding,
    progress: Progress,
    *,
    leave_out_damaged: bool = False,
) -> Recorded:
    with suppress(ArchiveError):  # only for a later call, should this one fail
        writer.end(ending)
    progress(f"{ending.reason}; packing {writer.count} sweeps into one record")
    began = time.monotonic()
    path = writer.pack(ending, leave_out_damaged=leave_out_damaged)
    packing_s = time.monotonic() - began
    progress(f"packed in {packing_s:.1f} s")
    return _recorded(path, packing_s)


def _recorded(path: Path, packing_s: float) -> Recorded:
    with archive.open_series(path) as reader:
        ending = reader.ending
        return Recorded(
            record=path,
            specimen=reader.head.specimen.identifier,
            sweeps=len(reader.numbers),
            began_at=reader.head.started_at,
            ended_at="" if ending is None else ending.ended_at,
            reason="" if ending is None else ending.reason,
            events=reader.events(),
            packing_s=packing_s,
        )


@contextmanager
def _kept(writer: archive.SeriesWriter, recorder: Recorder, clock: Clock) -> Iterator[None]:
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
        if not isinstance(error, KeyboardInterrupt):
            error.hint = f"{error.hint} {_kept_words(writer)}".strip()
        raise


def _kept_words(writer: archive.SeriesWriter) -> str:
    return (
        f"{writer.count} sweeps are kept in {writer.folder}: the same command goes on, with --finish it "
        "packs them as they are."
    )


def _connect(bench: Bench, hookup: Hookup) -> None:
    while not isinstance(bench.switch.connect(hookup, total=1), Done):
        pass  # there is no other hookup to go back to: ask once more


def _head(
    bench: Bench,
    specimen: Specimen,
    hookup: Hookup,
    solved: Calibration | None,
    clock: Clock,
    description: str,
    operator: str,
) -> SeriesHead:
    return SeriesHead(
        specimen=specimen,
        started_at=clock.now().isoformat(timespec="milliseconds"),
        station=bench.station.name,
        operator=operator,
        description=description,
        hookup=hookup,
        frequency_hz=bench.analyzer.frequency_hz,
        analyzer=bench.analyzer.identity,
        settings=bench.used,
        calibration=solved,
        fixture_toml=bench.fixture_toml,
        safety=bench.safety,
        software=software_versions(),
    )


def _refuse_other(bench: Bench, head: SeriesHead, hookup: Hookup, description: str) -> None:
    """Refuse to go on with a recording that was made otherwise: its sweeps could not be compared."""
    differs = {
        "another analyzer": head.analyzer.idn != bench.analyzer.identity.idn,
        "other sweep settings": head.settings != bench.used
        or head.frequency_hz.tobytes() != bench.analyzer.frequency_hz.tobytes(),
        "other connections": dict(head.hookup.connections) != dict(hookup.connections),
        "another fixture": head.fixture_toml != bench.fixture_toml,
        "another relay matrix": head.calibration is not None and head.calibration.reached != bench.reached,
        "another description": bool(description) and head.description != description,
    }
    found = [what for what, true in differs.items() if true]
    if found:
        raise UsageError(
            f"the interrupted recording of {head.specimen.identifier}, begun {head.started_at}, had "
            f"{', '.join(found)}",
            hint="Give what it was begun with, pack it with --finish, or drop it with --afresh.",
        )


def _warn_of_space(folder: Path, writer: archive.SeriesWriter, wishes: Wishes, progress: Progress) -> None:
    """Say beforehand when the wanted sweeps will not fit: packing needs their room a second time."""
    if wishes.count is None or writer.head is None:
        return
    n = len(writer.head.hookup.analyzer_ports)
    one = writer.head.frequency_hz.size * n * n * 16
    left = max(wishes.count - writer.count, 0)
    needed = left * (one + _STRUCTURE_BYTES) + wishes.count * one
    with suppress(OSError):
        free = shutil.disk_usage(folder).free
        if needed > free:
            progress(
                f"warning: {wishes.count} sweeps need {needed / 1e9:.1f} GB, half of it for a while at the "
                f"end; {free / 1e9:.1f} GB are free in {folder}"
            )


def _key(station: str, specimen: Specimen) -> str:
    # Any text may name a specimen; a digest of it is a safe folder name, the same on every run.
    return hashlib.sha256(f"series\0{station}\0{specimen.identifier}".encode()).hexdigest()[:16]
