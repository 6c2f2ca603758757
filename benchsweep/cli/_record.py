from __future__ import annotations

import re
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    Archive,
    AsJson,
    CautionsReadBy,
    LengthM,
    Operator,
    Quiet,
    SpecimenId,
    StationName,
    SwitchAddress,
)
from benchsweep.cli._output import print_json, print_text, progress_to_stderr, say
from benchsweep.cli._station import bench_of
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.qualification import AmbientSource, Recorded

__all__ = ["parse_duration", "record"]

_DURATION = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(ms|s|sec|min|h|d)?")
_UNITS = {"ms": 1e-3, "s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0, None: 1.0}
_LONGEST_S = 10 * 365 * 86400.0


def parse_duration(text: str | None, option: str) -> float | None:
    """Read a time such as ``30s``, ``5min``, ``1h``; a bare number is seconds. Return seconds.

    Raises
    ------
    UsageError
    """
    if text is None:
        return None
    found = _DURATION.fullmatch(text.strip())
    seconds = 0.0 if found is None else float(found[1]) * _UNITS[found[2]]
    if not 0.0 < seconds <= _LONGEST_S:
        raise UsageError(
            f"{option} {text[:40]!r}: no length of time", hint="Write for example 30s, 5min or 1h."
        )
    return seconds


def record(
    station: StationName,
    specimen: SpecimenId,
    count: Annotated[
        int | None, typer.Option("--count", metavar="N", min=1, help="Sweeps in all; without end by default.")
    ] = None,
    every: Annotated[
        str | None,
        typer.Option("--every", metavar="T", help="One sweep every T, e.g. 30s, 5min, 1h; else at once."),
    ] = None,
    lasting: Annotated[
        str | None, typer.Option("--for", metavar="T", help="End so long after the beginning, e.g. 8h.")
    ] = None,
    ports: Annotated[
        str | None,
        typer.Option(
            "--ports",
            metavar="P,P…",
            help="Balanced ports that are attached all the while, e.g. A:12,B:12; the whole specimen by "
            "default, or as many as the analyzer has ports for.",
        ),
    ] = None,
    description: Annotated[
        str, typer.Option("--description", metavar="TEXT", help="Why: soak, flexing, temperature cycling, …")
    ] = "",
    ambient: Annotated[
        list[str] | None,
        typer.Option(
            "--ambient",
            metavar="NAME=VALUE",
            help="Reading typed in, e.g. temperature_degc=21.5; repeatable.",
        ),
    ] = None,
    ambient_csv: Annotated[
        Path | None,
        typer.Option(
            "--ambient-csv",
            metavar="FILE",
            help="CSV that another program writes: a header line, the time first (ISO 8601 or seconds). "
            "The newest complete line at each sweep counts.",
        ),
    ] = None,
    ambient_stale: Annotated[
        str,
        typer.Option("--ambient-stale", metavar="T", help="A line of the CSV older than T counts no more."),
    ] = "2min",
    wait_for_link: Annotated[
        str,
        typer.Option("--wait-for-link", metavar="T", help="How long the analyzer may stay away in one go."),
    ] = "10min",
    length_m: LengthM = None,
    address: Address = None,
    switch_address: SwitchAddress = None,
    archive: Archive = Path("archive"),
    operator: Operator = "",
    cautions_read_by: CautionsReadBy = None,
    uncorrected: Annotated[
        bool, typer.Option("--uncorrected", help="Record without a calibration: changes only, no grading.")
    ] = False,
    finish: Annotated[
        bool, typer.Option("--finish", help="Measure nothing: pack what an interrupted recording kept.")
    ] = False,
    leave_out_damaged: Annotated[
        bool,
        typer.Option("--leave-out-damaged", help="With --finish: leave out sweeps that cannot be read."),
    ] = False,
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Sweep one hookup again and again into one series record: soak, flexing, temperature, mating, drift.

    Ends after --count sweeps, after --for, or with Ctrl-C, each time with a finished record. Every sweep is
    on the disc as it comes: after a crash, a full disc or a second Ctrl-C the same command goes on.

    Example: `benchsweep record --station simulated --specimen cord-2m --count 20 --every 2s`
    """
    from benchsweep.qualification import (
        Wishes,
        check_archive,
        check_specimen,
        finish_series,
        load_station,
        record_series,
        series_hookup,
        usable_calibration,
    )

    part = check_specimen(specimen, length_m)
    wishes = Wishes(
        count=count,
        every_s=parse_duration(every, "--every"),
        lasting_s=parse_duration(lasting, "--for"),
        wait_for_link_s=parse_duration(wait_for_link, "--wait-for-link") or 0.0,
    )
    source = _ambient_source(ambient or [], ambient_csv, ambient_stale)
    check_archive(archive)
    progress = progress_to_stderr(quiet)
    if finish:
        name = load_station(station).name
        recorded = finish_series(
            name, part, folder=archive, leave_out_damaged=leave_out_damaged, progress=progress
        )
    else:
        with bench_of(
            station,
            address,
            specimen=specimen,
            progress=progress,
            operator=operator,
            cautions_read_by=cautions_read_by,
            switch_address=switch_address,
        ) as bench:
            recorded = record_series(
                bench,
                part,
                hookup=series_hookup(bench, [] if ports is None else ports.split(",")),
                solved=lambda: (
                    None if uncorrected else usable_calibration(bench, folder=None, progress=progress)
                ),
                folder=archive,
                wishes=wishes,
                ambient=source,
                description=description,
                operator=operator,
                afresh=afresh,
                listen=stop_requests,
                progress=progress,
            )
    _print(recorded, as_json=as_json)


def _print(recorded: Recorded, *, as_json: bool) -> None:
    from benchsweep.qualification import recorded_document

    if as_json:
        print_json(recorded_document(recorded))
    else:
        print_text(_told(recorded))


def _ambient_source(typed: list[str], csv: Path | None, stale: str) -> AmbientSource:
    from benchsweep.qualification import AmbientFile, TypedAmbient, parse_ambient

    readings = parse_ambient(typed)
    stale_s = parse_duration(stale, "--ambient-stale") or 0.0
    return TypedAmbient(readings) if csv is None else AmbientFile(csv, stale_s=stale_s, typed=readings)


def _told(recorded: Recorded) -> str:
    lines = [
        f"record   {recorded.record}",
        f"sweeps   {recorded.sweeps}, from {recorded.began_at} to {recorded.ended_at}",
        f"ended    {recorded.reason}",
    ]
    if recorded.gaps:
        lost_s = sum(gap.seconds or 0.0 for gap in recorded.gaps)
        lines.append(f"gaps     {len(recorded.gaps)}, {lost_s:.1f} s in all")
    others = len(recorded.events) - len(recorded.gaps)
    if others:
        lines.append(f"events   {others} more; `benchsweep show {recorded.record}` lists them")
    return "\n".join(lines)


@contextmanager
def stop_requests() -> Iterator[threading.Event]:
    """Give an event that the first Ctrl-C (or a polite kill) sets; the second one breaks off at once."""
    wanted = threading.Event()

    def heard(_: int, __: FrameType | None) -> None:
        if wanted.is_set():
            raise KeyboardInterrupt
        wanted.set()
        say("stopping: the sweep at hand is finished and the record written; once more breaks off at once")

    numbers = [signal.SIGINT, signal.SIGTERM]
    before = [signal.signal(number, heard) for number in numbers]
    try:
        yield wanted
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
