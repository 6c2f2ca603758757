from __future__ import annotations

import math
import os
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    Ambient,
    Archive,
    AsJson,
    CautionsReadBy,
    LengthM,
    Lot,
    Operator,
    ProductName,
    Quiet,
    SpecimenId,
    StationName,
    SwitchAddress,
)
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr, say
from benchsweep.cli._station import bench_of
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.qualification import AmbientSource, Recorded

__all__ = ["parse_duration", "record", "stop_requests"]

_DURATION = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(ms|s|sec|min|m|h|d)?")
_UNITS = {"ms": 1e-3, "s": 1.0, "sec": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86400.0, None: 1.0}
_UNIT_WORDS = "Units: ms, s, min (or m), h, d; a bare number is seconds. For example 30s, 5min or 1h."
_FINISHING = {"leave_out_damaged": "--leave-out-damaged", "into": "--into"}
_MEASURING = {
    "count": "--count",
    "every": "--every",
    "lasting": "--for",
    "ambient": "--ambient",
    "ambient_csv": "--ambient-csv",
    "ambient_stale": "--ambient-stale",
    "wait_for_link": "--wait-for-link",
    "uncorrected": "--uncorrected",
    "afresh": "--afresh",
}
_LOOK_EVERY_S = 0.05
_LONGEST_S = 10 * 365 * 86400.0


def parse_duration(text: str | None, option: str) -> float | None:
    """Read a time such as ``30s``, ``5min`` or ``5m``, ``1h``; a bare number is seconds. Return seconds.

    Raises
    ------
    UsageError
    """
    if text is None:
        return None
    found = _DURATION.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"{option} {text[:40]!r}: no length of time", hint=_UNIT_WORDS)
    seconds = float(found[1]) * _UNITS[found[2]]
    if seconds <= 0.0:
        raise UsageError(f"{option} {text[:40]!r}: must be above 0", hint=_UNIT_WORDS)
    if seconds > _LONGEST_S:
        raise UsageError(f"{option} {text[:40]!r}: must be at most ten years", hint=_UNIT_WORDS)
    return seconds


def record(
    context: typer.Context,
    station: StationName,
    specimen: SpecimenId,
    count: Annotated[
        int | None, typer.Option("--count", metavar="N", min=1, help="Sweeps in all; without end by default.")
    ] = None,
    every: Annotated[
        str | None,
        typer.Option(
            "--every", metavar="T", help="One sweep every T: 500ms, 30s, 5min, 1h, 1d; else at once."
        ),
    ] = None,
    lasting: Annotated[
        str | None, typer.Option("--for", metavar="T", help="End so long after the beginning, e.g. 8h.")
    ] = None,
    ports: Annotated[
        str | None,
        typer.Option(
            "--ports",
            metavar="P,P…",
            help="Balanced ports that are attached all the while, e.g. A:12,B:12; by default both ends of "
            "pair 12, then of 36, 45, 78, as many as the analyzer has ports for.",
        ),
    ] = None,
    description: Annotated[
        str, typer.Option("--description", metavar="TEXT", help="Why: soak, flexing, temperature cycling, …")
    ] = "",
    ambient: Ambient = None,
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
    lot: Lot = "",
    product: ProductName = "",
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
    into: Annotated[
        Path | None,
        typer.Option(
            "--into",
            metavar="DIR",
            help="With --finish: write the record there, where --archive has no room for it.",
        ),
    ] = None,
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Sweep one hookup again and again into one series record: soak, flexing, temperature, mating, drift.

    Ends after --count sweeps, after --for, with Ctrl-C, or when the terminal is closed, each time with a
    finished record. Every sweep is on the disc as it comes: after a crash, a full disc or a second Ctrl-C the
    same command goes on. After a power cut of the analyzer it does not: --finish packs what there is.

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

    _refuse_idle_options(context, finish=finish, from_csv=ambient_csv is not None)
    part = check_specimen(specimen, length_m, lot=lot, product=product)
    wishes = Wishes(
        count=count,
        every_s=parse_duration(every, "--every"),
        lasting_s=parse_duration(lasting, "--for"),
        wait_for_link_s=parse_duration(wait_for_link, "--wait-for-link") or 0.0,
    )
    source = _ambient_source(ambient or [], ambient_csv, ambient_stale)
    check_archive(archive)
    progress = _tolerant(progress_to_stderr(quiet))
    if finish:
        if into is not None:
            check_archive(into)
        recorded = finish_series(
            load_station(station).name,
            part,
            folder=archive,
            leave_out_damaged=leave_out_damaged,
            into=into,
            progress=progress,
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


def _refuse_idle_options(context: typer.Context, *, finish: bool, from_csv: bool) -> None:
    """Refuse options that would have no effect, so that nobody takes them for obeyed.

    Raises
    ------
    UsageError
    """
    given = {
        name
        for name in context.params
        if (source := context.get_parameter_source(name)) is not None and source.name == "COMMANDLINE"
    }
    if finish:
        idle, why = _MEASURING, "with --finish, which measures nothing"
    else:
        idle, why = _FINISHING, "without --finish"
    found = [option for name, option in idle.items() if name in given]
    if not found and not from_csv and "ambient_stale" in given:
        found, why = ["--ambient-stale"], "without --ambient-csv"
    if found:
        raise UsageError(
            f"{' and '.join(found)} would do nothing {why}", hint=f"Leave {', '.join(found)} out."
        )


def _tolerant(progress: Callable[[str], None]) -> Callable[[str], None]:
    """Return a callable that goes on when nobody can be told any more: the terminal was closed."""

    def tell(line: str) -> None:
        with suppress(OSError):
            progress(line)

    return tell


def _print(recorded: Recorded, *, as_json: bool) -> None:
    from benchsweep.qualification import recorded_document

    if as_json:
        print_json(recorded_document(recorded))
    else:
        print_lines(_told(recorded))


def _ambient_source(typed: list[str], csv: Path | None, stale: str) -> AmbientSource:
    from benchsweep.qualification import AmbientFile, TypedAmbient, parse_ambient

    readings = parse_ambient(typed)
    stale_s = parse_duration(stale, "--ambient-stale") or 0.0
    if csv is None:
        return TypedAmbient(readings)
    source = AmbientFile(csv, stale_s=stale_s, typed=readings)
    source.check()
    return source


def _told(recorded: Recorded) -> list[str]:
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
    return lines


@contextmanager
def stop_requests() -> Iterator[threading.Event]:
    """Give an event that the first Ctrl-C (or a polite kill) sets; the second one breaks off at once.

    A terminal that is closed sets it too, however often that is told, unless the run was started to outlive
    its terminal (nohup). Nothing is written to that terminal any more.
    """
    wanted = _Wish()
    on_terminal = [stream for stream in (1, 2) if _is_terminal(stream)]

    def heard(_: int, __: FrameType | None) -> None:
        if wanted.is_set():
            raise KeyboardInterrupt
        wanted.set()
        with suppress(OSError):
            say(
                "stopping: the sweep at hand is finished and the record written; once more breaks off at once"
            )

    def hung_up(_: int, __: FrameType | None) -> None:
        wanted.set()
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in on_terminal:
            os.dup2(nowhere, stream)
        os.close(nowhere)

    handlers: dict[int, Any] = {signal.SIGINT: heard, signal.SIGTERM: heard}
    hangup = getattr(signal, "SIGHUP", None)
    if hangup is not None and signal.getsignal(hangup) is not signal.SIG_IGN:
        handlers[hangup] = hung_up
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield wanted
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Wish(threading.Event):
    """An event that the handler of a signal may set.

    That of the library takes a lock, which the interrupted code may hold, and then both wait for ever.
    """

    def __init__(self) -> None:
        super().__init__()
        self._there = False

    def set(self) -> None:
        """Let it be there."""
        self._there = True

    def is_set(self) -> bool:
        """Tell whether it is there."""
        return self._there

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until it is there, or the time is over."""
        end = math.inf if timeout is None else time.monotonic() + timeout
        while not self._there and (left := end - time.monotonic()) > 0.0:
            time.sleep(min(left, _LOOK_EVERY_S))
        return self._there


def _is_terminal(stream: int) -> bool:
    try:
        return os.isatty(stream)
    except OSError:
        return False
