"""Record a series: the same hookup swept again and again, every sweep kept as it comes."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from itertools import islice
from pathlib import Path

from benchsweep import archive
from benchsweep.acquisition import Done
from benchsweep.errors import PowerCycled, RecordDamaged, UsageError
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._power import switched_on_at
from benchsweep.qualification._qualify import plan_for
from benchsweep.qualification._reduction import software_versions
from benchsweep.qualification._series_ambient import AmbientSource, TypedAmbient
from benchsweep.qualification._series_clock import Clock, SystemClock
from benchsweep.qualification._series_end import (
    Recorded,
    finished,
    kept,
    power_cut_hint,
    recorded,
    series_key,
    sweeps_words,
)
from benchsweep.qualification._series_loop import Recorder, Wishes
from benchsweep.qualification._series_space import space_words
from benchsweep.qualification._wear import counting_switch
from benchsweep.records import (
    FOUR_PAIRS,
    BalancedPort,
    Calibration,
    Hookup,
    SeriesEnding,
    SeriesHead,
    Specimen,
)

__all__ = ["record_series", "series_hookup"]

Listen = Callable[[], AbstractContextManager[threading.Event]]
"""Begins to listen for the wish to stop; the event is set when it comes."""


def series_hookup(bench: Bench, ports: Sequence[str] = ()) -> Hookup:
    """Return the one hookup of a series.

    Parameters
    ----------
    ports
        Balanced ports that are attached, such as ``A:12``; none: both ends of one pair after the other, as
        many as there are places for, so that there is an insertion loss.

    Raises
    ------
    UsageError
        No such balanced port, one given twice, or more than there are places.
    HookupImpossible
        Nothing was given, and the bench has fewer than two places.
    """
    if not ports:
        if len(bench.places.slots) < 2:
            return plan_for(bench.places).hookups[0]
        both_ends = (BalancedPort(end, pair) for pair in FOUR_PAIRS for end in ("A", "B"))
        return bench.places.plan(list(islice(both_ends, len(bench.places.slots)))).hookups[0]
    wanted = [_balanced_port(label) for label in ports]
    if len(wanted) > len(bench.places.slots):
        raise UsageError(
            f"{len(wanted)} balanced ports are to be attached, the bench has "
            f"{len(bench.places.slots)} places",
            hint=f"Give at most {len(bench.places.slots)} in --ports: a series has one hookup.",
        )
    return bench.places.plan(wanted).hookups[0]


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
    with archive.SeriesWriter(folder, series_key(bench.station.name, specimen), afresh=afresh) as writer:
        if writer.finished is not None:
            progress(f"the interrupted recording was complete already: {writer.finished}")
            return recorded(writer.finished, 0.0)
        going_on = writer.head is not None
        if writer.head is None:
            head = _head(bench, specimen, hookup, solved(), clock, description, operator)
            writer.begin(head)
            progress(f"sweeps are kept in {writer.folder} until they are packed")
        else:
            head = writer.head
            _refuse_other(bench, head, hookup, description)
            _refuse_damaged(writer)
            progress(
                f"going on with an interrupted recording of {head.started_at}: {sweeps_words(writer.count)} "
                f"in {writer.folder} (--afresh begins anew)"
            )

        def tell_space(seconds_each: float | None) -> None:
            for line in space_words(folder, head, wishes, kept=writer.count, seconds_each=seconds_each):
                progress(line)

        # Only then it can be told how many sweeps a time holds.
        unpaced = wishes.lasting_s is not None and wishes.every_s is None
        recorder = Recorder(
            *(bench, writer, wishes, ambient or TypedAmbient({}), clock, progress),
            first_stored=tell_space if unpaced else lambda _: None,
        )
        only_packing = bool(recorder.over()) and writer.ending is not None
        if not only_packing:
            if going_on:
                _refuse_power_cut(bench, writer, head)
            tell_space(None)
        with kept(writer, recorder, clock, progress):
            if only_packing and writer.ending is not None:
                recorder.ended = True
                return finished(writer, writer.ending, progress)
            if not recorder.over():
                _connect(bench, hookup, progress)
            with listen() as stop:
                reason = recorder.run(stop)
                if writer.count == 0:
                    raise KeyboardInterrupt
                ended_at = clock.now().isoformat(timespec="milliseconds")
                return finished(writer, SeriesEnding(ended_at, reason, recorder.pending), progress)


def _connect(bench: Bench, hookup: Hookup, progress: Progress) -> None:
    switch = counting_switch(bench, progress)
    while not isinstance(switch.connect(hookup, total=1), Done):
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
        "another command family or relay matrix": head.calibration is not None
        and head.calibration.reached != bench.reached,
        "another description": bool(description) and head.description != description,
    }
    found = [what for what, true in differs.items() if true]
    if found:
        raise UsageError(
            f"the interrupted recording of {head.specimen.identifier}, begun {head.started_at}, had "
            f"{', '.join(found)}",
            hint="Give what it was begun with, pack it with --finish, or drop it with --afresh.",
        )


def _refuse_damaged(writer: archive.SeriesWriter) -> None:
    """Refuse to go on behind several damaged sweeps: new ones would take the place of what may be saved."""
    if len(writer.damaged) > 1:
        raise RecordDamaged(
            f"{writer.folder}: after sweep {writer.count} {archive.number_words(writer.damaged)} cannot be "
            "read",
            hint="Restore their files from a copy, or pack the others with --finish --leave-out-damaged.",
        )


def _refuse_power_cut(bench: Bench, writer: archive.SeriesWriter, head: SeriesHead) -> None:
    """Refuse to go on with a series after the analyzer was switched off and on: its calibration is void.

    A power cut is known from the series itself, from the analyzer, or from whoever asked the analyzer since.
    """
    told = (*(() if writer.last is None else writer.last.events), *writer.carried)
    seen = next((event.at for event in told if event.kind == "power"), "")
    if not seen and bench.station.shared:
        at = switched_on_at(bench.analyzer.identity.idn)
        if at and datetime.fromisoformat(at) > datetime.fromisoformat(head.started_at):
            seen = at
        elif bench.analyzer.was_switched_on:
            seen = "now"
    if seen:
        when = "just now" if seen == "now" else f"at {seen}"
        raise PowerCycled(
            f"the analyzer was switched off and on (seen {when}) since the recording of {head.started_at} "
            "was begun: its sweeps and new ones would not compare",
            hint=power_cut_hint(writer),
        )
