"""How a series changed from its first sweep on, read one sweep at a time so that memory does not grow."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from benchsweep import fixture, mixedmode
from benchsweep.archive import SeriesReader
from benchsweep.errors import ArchiveError, UsageError
from benchsweep.qualification._reduction import reduce_hookups
from benchsweep.qualification._series_lines import RunningLine
from benchsweep.records import (
    BalancedPort,
    End,
    Extreme,
    Mode,
    ModePort,
    Parameter,
    RawHookup,
    RawSweep,
    SeriesChange,
    SeriesCourse,
    SeriesEvent,
    SeriesHead,
    SeriesSummary,
    SeriesSweep,
    SMatrix,
    balanced_ports,
)

__all__ = ["FOLLOWED", "corrected_matrix", "summarise"]

FOLLOWED: tuple[Parameter, ...] = (
    Parameter.INSERTION_LOSS,
    Parameter.RETURN_LOSS,
    Parameter.NEXT,
    Parameter.FEXT,
    Parameter.TCL,
)
"""The parameters that are one S-parameter each, so that a change of magnitude and phase has a meaning."""

_REFERENCE_OHM = 50.0
_SMALLEST = 1e-20
_MOST_EVENTS = 1000
_MOST_KEPT = 4096


def corrected_matrix(head: SeriesHead, raw: RawSweep) -> SMatrix:
    """Return the legs that were attached, 50 ohm; uncorrected when the series has no calibration.

    Legs that were not attached stay on their terminations.

    Raises
    ------
    CalibrationMismatch, FixtureError, DefinitionError
    """
    if head.calibration is None:
        legs = tuple(head.hookup.connections.values())
        return SMatrix(raw.frequency_hz, raw.s, legs, (_REFERENCE_OHM,) * len(legs))
    definition = _fixture(head.fixture_toml)
    return reduce_hookups((RawHookup(head.hookup, raw),), head.calibration, definition)[0]


@lru_cache(maxsize=4)
def _fixture(toml: str) -> fixture.Fixture:
    return fixture.read_fixture(toml)


@dataclass(frozen=True, slots=True)
class _Followed:
    """One S-parameter that is followed."""

    parameter: Parameter
    end: End
    pairs: tuple[str, ...]
    out: ModePort
    into: ModePort


def summarise(
    reader: SeriesReader,
    *,
    parameters: Sequence[Parameter] = (),
    reading: str | None = None,
    progress: Callable[[int, int], None] = lambda _, __: None,
) -> SeriesSummary:
    """Read every sweep once and say how the series changed.

    Parameters
    ----------
    reader
        An open series.
    parameters
        What to follow, of `FOLLOWED`; none: insertion loss, or return loss where no pair is attached at both
        ends.
    reading
        The ambient quantity to hold the changes against; None: the first one there is.
    progress
        Gets the place of each sweep that is read and how many there are.

    Raises
    ------
    UsageError
        A parameter that cannot be followed, or no such ambient quantity.
    ArchiveError
        There is no sweep yet, or one is damaged.
    """
    unknown = [parameter for parameter in parameters if parameter not in FOLLOWED]
    if unknown:
        raise UsageError(
            f"{unknown[0]} is no single S-parameter, so its change over time is not followed",
            hint=f"Choose among {', '.join(FOLLOWED)}.",
        )
    if not reader.numbers:
        raise ArchiveError(f"{reader.path}: holds no sweep yet", hint="Wait until one is finished.")
    follower = _Follower(reader.head, parameters, reading)
    total = len(reader.numbers)
    for place, sweep in enumerate(reader.sweeps(), start=1):
        follower.add(sweep)
        progress(place, total)
    if reading is not None and reading not in follower.ambient:
        known = ", ".join(follower.ambient) or "none"
        raise UsageError(f"no ambient reading {reading!r} in this series", hint=f"There is: {known}.")
    return follower.summary(reader)


def _chosen(head: SeriesHead, parameters: Sequence[Parameter]) -> tuple[list[_Followed], list[str]]:
    """Return what can be followed, and in words what cannot."""
    legs = set(head.hookup.connections.values())
    ports = [port for port in balanced_ports() if {str(leg) for leg in port.legs} <= legs]
    missing = [str(port) for port in balanced_ports() if port not in ports]
    notes = []
    if missing:
        notes.append(f"not attached, so nothing is known of them: {', '.join(missing)}")
    wanted = list(dict.fromkeys(parameters))
    if not wanted:
        both = any(BalancedPort("B", port.pair) in ports for port in ports if port.end == "A")
        wanted = [Parameter.INSERTION_LOSS if both else Parameter.RETURN_LOSS]
    found = []
    for parameter in wanted:
        of_it = list(_combinations(parameter, ports))
        if not of_it:
            notes.append(f"{parameter} cannot be formed from what was attached")
        found += of_it
    return found, notes


def _combinations(parameter: Parameter, ports: Sequence[BalancedPort]) -> Iterator[_Followed]:
    """Yield the S-parameters of `parameter`; `end` and the first pair are the receiver's."""

    def one(out: BalancedPort, into: BalancedPort, *pairs: str) -> _Followed:
        mode: Mode = "c" if parameter is Parameter.TCL else "d"
        return _Followed(parameter, out.end, pairs, ModePort(out, mode), ModePort(into, "d"))

    if parameter in (Parameter.RETURN_LOSS, Parameter.TCL):
        yield from (one(port, port, port.pair) for port in ports)
    for out, into in permutations(ports, 2):
        same_end, same_pair = out.end == into.end, out.pair == into.pair
        if parameter is Parameter.INSERTION_LOSS and same_pair:
            yield one(out, into, out.pair)
        elif (parameter is Parameter.NEXT and same_end) or (
            parameter is Parameter.FEXT and not same_end and not same_pair
        ):
            yield one(out, into, out.pair, into.pair)


@dataclass
class _Largest:
    """The largest magnitude so far of each followed parameter, with sign, frequency and sweep."""

    value: NDArray[np.float64]
    place: NDArray[np.int64]
    sweep: NDArray[np.int64]

    @classmethod
    def of(cls, count: int) -> _Largest:
        """Return one that has seen nothing."""
        return cls(np.zeros(count), np.zeros(count, dtype=np.int64), np.ones(count, dtype=np.int64))

    def add(self, values: NDArray[np.float64], number: int) -> None:
        """Take ``(n, n_freq)`` values of one sweep."""
        place = np.argmax(np.abs(values), axis=1)
        found = values[np.arange(values.shape[0]), place]
        larger = np.abs(found) > np.abs(self.value)
        self.value = np.where(larger, found, self.value)
        self.place = np.where(larger, place, self.place)
        self.sweep = np.where(larger, number, self.sweep)


@dataclass
class _Kept:
    """Every `every`-th row, so that at most `_MOST_KEPT` are held: then every second one is dropped."""

    rows: list[NDArray[np.float64]] = field(default_factory=list)
    every: int = 1
    seen: int = 0

    def add(self, row: NDArray[np.float64]) -> None:
        """Take one more row."""
        if self.seen % self.every == 0:
            if len(self.rows) == _MOST_KEPT:
                self.rows = self.rows[::2]
                self.every *= 2
            if self.seen % self.every == 0:
                self.rows.append(row)
        self.seen += 1


class _Follower:
    """Takes sweep after sweep and keeps what the summary needs."""

    def __init__(self, head: SeriesHead, parameters: Sequence[Parameter], reading: str | None) -> None:
        self._head = head
        self._followed, self._notes = _chosen(head, parameters)
        self._reading = reading
        self._first: NDArray[np.complex128] | None = None
        self._first_at: datetime | None = None
        self._at = ("", "")
        n, f = len(self._followed), head.frequency_hz.size
        self._db, self._deg, self._vector = _Largest.of(n), _Largest.of(n), _Largest.of(n)
        self._in_time, self._in_reading = RunningLine((2, n)), RunningLine((2, n))
        self._each = RunningLine((n, f))
        self._kept = _Kept()
        self._events: list[SeriesEvent] = []
        self._counts: dict[str, int] = {}
        self.ambient: dict[str, tuple[float, float, float, int]] = {}

    def add(self, sweep: SeriesSweep) -> None:
        """Take one sweep."""
        self._note(sweep.events)
        for name, value in sweep.ambient.items():
            low, high, total, count = self.ambient.get(name, (value, value, 0.0, 0))
            self.ambient[name] = (min(low, value), max(high, value), total + value, count + 1)
        self._reading = self._reading or next(iter(sweep.ambient), None)
        at = datetime.fromisoformat(sweep.sweep.taken_at)
        self._first_at = self._first_at or at
        self._at = (self._at[0] or sweep.sweep.taken_at, sweep.sweep.taken_at)
        hours = (at - self._first_at).total_seconds() / 3600.0
        reading = sweep.ambient.get(self._reading or "", np.nan)
        scalars = self._changes(sweep, hours)
        self._in_time.add(hours, scalars)
        if np.isfinite(reading):
            self._in_reading.add(reading, scalars)
        self._kept.add(np.concatenate(([sweep.number, hours, reading], scalars.ravel())))

    def _changes(self, sweep: SeriesSweep, hours: float) -> NDArray[np.float64]:
        """Follow one sweep; return ``(2, n)``: change of level in dB and of delay in ps."""
        n = len(self._followed)
        if n == 0:
            return np.zeros((2, 0))
        mixed = mixedmode.to_mixed_mode(corrected_matrix(self._head, sweep.sweep))
        now = np.stack([mixed.at(out=item.out, into=item.into) for item in self._followed])
        if self._first is None:
            self._first = now
        first = self._first
        floor = np.maximum(np.abs(first), _SMALLEST)
        change_db = 20.0 * np.log10(np.maximum(np.abs(now), _SMALLEST) / floor)
        turned = np.unwrap(np.angle(now * np.conj(first)), axis=1)
        vector = np.abs(now - first)
        self._db.add(change_db, sweep.number)
        self._deg.add(np.degrees(turned), sweep.number)
        self._vector.add(vector, sweep.number)
        self._each.add(hours, change_db)
        frequency = self._head.frequency_hz
        # phase = -2 pi f delay: the line through the origin that fits best.
        delay_s = -(turned @ frequency) / (2.0 * np.pi * float(frequency @ frequency))
        return np.stack((np.mean(change_db, axis=1), delay_s * 1e12))

    def _note(self, events: Sequence[SeriesEvent]) -> None:
        for event in events:
            self._counts[event.kind] = self._counts.get(event.kind, 0) + 1
            if len(self._events) < _MOST_EVENTS:
                self._events.append(event)

    def summary(self, reader: SeriesReader) -> SeriesSummary:
        """Return what was found."""
        if reader.ending is not None:
            self._note(reader.ending.events)
        rows = np.stack(self._kept.rows)
        corrected = self._head.calibration is not None
        if not corrected:
            self._notes.append("the series has no calibration: the changes are those of uncorrected readings")
        n = len(self._followed)
        return SeriesSummary(
            sweeps=len(reader.numbers),
            first_number=reader.numbers[0],
            last_number=reader.numbers[-1],
            missing=reader.lost,
            first_at=self._at[0],
            last_at=self._at[1],
            ended="" if reader.ending is None else reader.ending.reason,
            events=tuple(self._events),
            event_counts=self._counts,
            ambient={
                name: (low, high, total / count) for name, (low, high, total, count) in self.ambient.items()
            },
            changes=tuple(
                self._change(place, item, rows[:, 3 + place], rows[:, 3 + n + place])
                for place, item in enumerate(self._followed)
            ),
            course=SeriesCourse(
                number=rows[:, 0].astype(np.int64),
                hours=rows[:, 1],
                reading=rows[:, 2],
                reading_name=self._reading or "",
                every=self._kept.every,
            ),
            corrected=corrected,
            notes=tuple(self._notes),
        )

    def _change(
        self, place: int, item: _Followed, level_db: NDArray[np.float64], delay_ps: NDArray[np.float64]
    ) -> SeriesChange:
        through = item.parameter is Parameter.INSERTION_LOSS
        vector = self._extreme(self._vector, place)
        magnitude_db = 20.0 * float(np.log10(max(vector.value, _SMALLEST)))
        return SeriesChange(
            parameter=item.parameter,
            end=item.end,
            pairs=item.pairs,
            largest_db=self._extreme(self._db, place),
            largest_deg=self._extreme(self._deg, place),
            largest_vector_db=Extreme(magnitude_db, vector.frequency_hz, vector.sweep),
            level_db=level_db,
            # A reflection or crosstalk has no one delay.
            delay_ps=delay_ps if through else np.full_like(delay_ps, np.nan),
            level_per_hour=self._in_time.fit((0, place)),
            delay_per_hour=self._in_time.fit((1, place)) if through else None,
            worst_per_hour=self._each.fit((place, self._db.place[place])),
            level_per_unit=self._in_reading.fit((0, place)),
            delay_per_unit=self._in_reading.fit((1, place)) if through else None,
        )

    def _extreme(self, largest: _Largest, place: int) -> Extreme:
        frequency_hz = float(self._head.frequency_hz[largest.place[place]])
        return Extreme(float(largest.value[place]), frequency_hz, int(largest.sweep[place]))
