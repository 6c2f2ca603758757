"""The loop of a recording: when to sweep, what to do while the analyzer does not answer, when to end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from benchsweep.archive import SeriesWriter
from benchsweep.errors import InstrumentError, PowerCycled
from benchsweep.qualification._series_ambient import AmbientSource
from benchsweep.qualification._series_clock import Clock, Schedule
from benchsweep.records import EventKind, RawSweep, SeriesEvent, SeriesSweep

if TYPE_CHECKING:
    from benchsweep.qualification._bench import Bench, Progress

__all__ = ["Recorder", "Wishes", "in_order"]

_SHORTEST_PAUSE_S = 0.05
_LONGEST_PAUSE_S = 5.0
_CLOCK_MOVED_S = 1.0
_LATE_PART = 0.1
_LATE_AT_MOST_S = 1.0
_QUIET_S = 0.9


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a series is to be recorded.

    Parameters
    ----------
    count
        Sweeps of the whole series, interruptions included; None: no end by number.
    every_s
        From the beginning of one sweep to that of the next; None: one right after the other.
    lasting_s
        The series ends so long after it began; None: no end by time.
    wait_for_link_s
        How long the analyzer may fail to give a sweep before the recording ends.
    """

    count: int | None = None
    every_s: float | None = None
    lasting_s: float | None = None
    wait_for_link_s: float = 600.0


class Recorder:
    """One run of a recording.

    Parameters
    ----------
    first_stored
        Gets the seconds that the first sweep of this run took, once it is stored.

    Attributes
    ----------
    pending : tuple of SeriesEvent
        What happened since the last sweep that was stored.
    ended : bool
        The recording ended as wanted.
    """

    def __init__(
        self,
        bench: Bench,
        writer: SeriesWriter,
        wishes: Wishes,
        ambient: AmbientSource,
        clock: Clock,
        progress: Progress,
        *,
        first_stored: Callable[[float], None] = lambda _: None,
    ) -> None:
        self._bench, self._writer, self._wishes = bench, writer, wishes
        self._ambient, self._clock = ambient, clock
        self._first_stored = first_stored
        self._say = _Sparing(progress, clock.monotonic)
        self._tell = _Sparing(progress, clock.monotonic)
        self._seen: tuple[datetime, float] | None = None
        self.pending: tuple[SeriesEvent, ...] = writer.carried
        self.ended = False
        head = writer.head
        if head is None:
            raise ValueError("the series has not been begun")
        self._hookup, self._started_at = head.hookup, datetime.fromisoformat(head.started_at)

    def over(self) -> str:
        """Return why the recording is over; empty when it is not."""
        wishes = self._wishes
        if wishes.count is not None and self._writer.count >= wishes.count:
            return "the one sweep is taken" if wishes.count == 1 else f"all {wishes.count} sweeps are taken"
        if wishes.lasting_s is not None:
            end = self._started_at + timedelta(seconds=wishes.lasting_s)
            if self._clock.now() >= end:
                return f"the time is over, {wishes.lasting_s:g} s since the beginning"
        return ""

    def run(self, stop: threading.Event) -> str:
        """Sweep until it is over or `stop` is set; return why it ended.

        Raises
        ------
        InstrumentError, AcquisitionError, ArchiveError
        """
        schedule = None
        if self._wishes.every_s is not None:
            schedule = Schedule(self._clock.monotonic(), self._wishes.every_s)
        if not self.over():
            self._resume()
        while not (reason := self.over()):
            if schedule is not None:
                self._wait_for(schedule, stop)
                if reason := self.over():
                    break
            raw = None if stop.is_set() else self._swept(stop)
            if raw is None:
                reason = "it was stopped by the operator"
                break
            self._store(raw)
        self.ended = True
        return reason

    def _resume(self) -> None:
        """Note that the recording had been interrupted."""
        writer = self._writer
        for number in writer.damaged:
            self._note("lost", f"sweep {number} could not be read any more and was swept anew", None)
        if writer.last is not None:
            # What ended it before has its own event and its own time.
            since = writer.last.sweep.taken_at if writer.ending is None else writer.ending.ended_at
            away_s = (self._clock.now() - datetime.fromisoformat(since)).total_seconds()
            words = f"the recording was interrupted after sweep {writer.count} and went on"
            self._note("resumed", words, away_s, at=since)

    def _wait_for(self, schedule: Schedule, stop: threading.Event) -> None:
        while (wait_s := schedule.due_s - self._clock.monotonic()) > 0.0 and not stop.is_set():
            if self._wishes.lasting_s is not None:
                end = self._started_at + timedelta(seconds=self._wishes.lasting_s)
                wait_s = min(wait_s, (end - self._clock.now()).total_seconds())
            if wait_s <= 0.0:
                return
            self._clock.wait(wait_s, stop)
        if stop.is_set():
            return
        late_s, left_out = schedule.begin(self._clock.monotonic())
        if left_out or late_s > min(_LATE_PART * schedule.every_s, _LATE_AT_MOST_S):
            words = f"sweep {self._writer.count + 1} began {late_s:.2f} s after its time"
            if left_out:
                words += f"; {left_out} more of the schedule {'was' if left_out == 1 else 'were'} left out"
            self._note("late", words, late_s)

    def _swept(self, stop: threading.Event) -> RawSweep | None:
        """Return a sweep, trying again while that makes sense; None when stopped meanwhile."""
        analyzer, switch = self._bench.analyzer, self._bench.switch
        gap: _Gap | None = None
        while True:
            try:
                if gap is not None:
                    analyzer.restore()
                    switch.restore(self._hookup)
                raw = analyzer.sweep(self._hookup.analyzer_ports)
                switch.confirm(self._hookup)
            except InstrumentError as error:
                gap = gap or self._gap(error)
                gap.attempts += 1
                away_s = self._clock.monotonic() - gap.since_s
                left_s = self._wishes.wait_for_link_s - away_s
                if not error.passing or left_s <= 0.0:
                    self._close(gap, "until the recording ended")
                    if isinstance(error, PowerCycled):
                        self._note("power", "the analyzer was switched off and on", None)
                    raise
                if not stop.is_set():
                    self._clock.wait(min(gap.pause_s, left_s), stop)
                if stop.is_set():
                    self._close(gap, "until it was stopped")
                    return None
                gap.pause_s = min(2.0 * gap.pause_s, _LONGEST_PAUSE_S)
                continue
            if gap is not None:
                self._close(gap, f"then sweep {self._writer.count + 1} was taken anew")
            return raw

    def _gap(self, error: InstrumentError) -> _Gap:
        self._tell(
            f"sweep {self._writer.count + 1}: {error.message}: trying again for up to "
            f"{self._wishes.wait_for_link_s:g} s"
        )
        return _Gap(self._stamp(), self._clock.monotonic(), error.message)

    def _close(self, gap: _Gap, end: str) -> None:
        away_s = self._clock.monotonic() - gap.since_s
        tried = f"{gap.attempts} attempt{'' if gap.attempts == 1 else 's'} failed"
        self._note("gap", f"{gap.words}; {tried} in {away_s:.1f} s, {end}", away_s, at=gap.at)

    def _store(self, raw: RawSweep) -> None:
        now = self._clock.now()
        self._watch_clock(now)
        readings = self._ambient.read(now)
        for event in readings.events:
            self._note(event.kind, event.words, event.seconds, at=event.at)
        number = self._writer.count + 1
        self._writer.append(SeriesSweep(number, raw, readings.values, self.pending))
        self.pending = ()
        of = "" if self._wishes.count is None else f" of {self._wishes.count}"
        told = "".join(f", {name} {value:g}" for name, value in readings.values.items())
        self._say(f"sweep {number}{of}: {raw.seconds:.2f} s{told}")
        self._first_stored(raw.seconds)
        self._first_stored = lambda _: None

    def _watch_clock(self, now: datetime) -> None:
        """Note when the clock of the calendar was moved: the times of the sweeps jump there."""
        now_s = self._clock.monotonic()
        if self._seen is not None:
            moved_s = (now - self._seen[0]).total_seconds() - (now_s - self._seen[1])
            if abs(moved_s) > _CLOCK_MOVED_S:
                self._note("clock", "the clock of the computer was moved, or it slept", moved_s)
        self._seen = (now, now_s)

    def _note(self, kind: EventKind, words: str, seconds: float | None, at: str = "") -> None:
        self.pending = in_order((*self.pending, SeriesEvent(at or self._stamp(), kind, words, seconds)))
        self._tell(words)

    def _stamp(self) -> str:
        return self._clock.now().isoformat(timespec="milliseconds")


def in_order(events: Iterable[SeriesEvent]) -> tuple[SeriesEvent, ...]:
    """Return events in order of the time at which they began."""
    return tuple(sorted(events, key=lambda event: datetime.fromisoformat(event.at)))


@dataclass
class _Gap:
    """A time during which sweeping fails."""

    at: str
    since_s: float
    words: str
    attempts: int = 0
    pause_s: float = _SHORTEST_PAUSE_S


class _Sparing:
    """Passes lines on, at most one in `_QUIET_S`."""

    def __init__(self, progress: Progress, monotonic: Callable[[], float]) -> None:
        self._progress, self._monotonic = progress, monotonic
        self._last_s: float | None = None

    def __call__(self, line: str) -> None:
        now_s = self._monotonic()
        if self._last_s is None or now_s - self._last_s >= _QUIET_S:
            self._last_s = now_s
            self._progress(line)
