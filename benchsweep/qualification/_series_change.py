"""How a series changed from its first sweep on, read one sweep at a time so that memory does not grow."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from benchsweep import fixture, mixedmode
from benchsweep.archive import SeriesReader, number_words
from benchsweep.errors import ArchiveError, RecordDamaged, UsageError
from benchsweep.qualification._reduction import reduce_hookups
from benchsweep.qualification._series_lines import RunningLine
from benchsweep.qualification._series_loop import in_order
from benchsweep.qualification._series_noise import (
    CLEAR_OF_NOISE,
    change_between,
    noise_of,
    pairs_to_compare,
)
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
_FAINTEST = 1e-10  # -200 dB: what no analyzer sees has no level, even in a series without noise
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
    return reduce_hookups((RawHookup(head.hookup, raw),), head.calibration, definition).matrix


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
    leave_out_damaged: bool = False,
    progress: Callable[[int, int], None] = lambda _, __: None,
) -> SeriesSummary:
    """Read every sweep and say how the series changed; some are read twice, for their noise.

    Parameters
    ----------
    reader
        An open series.
    parameters
        What to follow, of `FOLLOWED`; none: insertion loss, or return loss where no pair is attached at both
        ends.
    reading
        The ambient quantity to hold the changes against; None: the first one there is.
    leave_out_damaged
        Leave out sweeps that cannot be read, which the summary then says; else they are an error.
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
    damaged: list[int] = []

    def read(number: int) -> SeriesSweep | None:
        try:
            return reader.sweep(number)
        except RecordDamaged:
            if not leave_out_damaged:
                raise
            damaged.append(number)
            return None

    follower.look_for_noise(reader.numbers, read)
    damaged.clear()
    total = len(reader.numbers)
    for place, number in enumerate(reader.numbers, start=1):
        sweep = read(number)
        if sweep is not None:
            follower.add(sweep)
        progress(place, total)
    if len(damaged) == total:
        raise RecordDamaged(f"{reader.path}: no sweep can be read", hint="Restore it from a copy.")
    if reading is not None and reading not in follower.ambient:
        known = ", ".join(follower.ambient) or "none"
        raise UsageError(f"no ambient reading {reading!r} in this series", hint=f"There is: {known}.")
    return follower.summary(reader, damaged)


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
            notes.append(f"{parameter.term} cannot be formed from what was attached")
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
    """The value of largest magnitude so far of each followed parameter at each frequency, and its sweep."""

    value: NDArray[np.float64]
    sweep: NDArray[np.int64]

    @classmethod
    def of(cls, shape: tuple[int, int]) -> _Largest:
        """Return one that has seen nothing."""
        return cls(np.zeros(shape), np.ones(shape, dtype=np.int64))

    def add(self, values: NDArray[np.float64], number: int) -> None:
        """Take ``(n, n_freq)`` values of one sweep; where they are not a number nothing is taken."""
        larger = np.abs(values) > np.abs(self.value)
        self.value = np.where(larger, values, self.value)
        self.sweep = np.where(larger, number, self.sweep)

    def place(self, row: int, clear: NDArray[np.bool_]) -> int | None:
        """Return where the largest value of a row is, of those that are clear of the noise."""
        if not clear.any():
            return None
        return int(np.argmax(np.where(clear, np.abs(self.value[row]), -1.0)))


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
        self._through = np.array([item.parameter is Parameter.INSERTION_LOSS for item in self._followed])
        self._noise: NDArray[np.float64] | None = None
        self._clear = np.ones((n, f), dtype=np.bool_)
        self._loss, self._deg, self._difference = (_Largest.of((n, f)) for _ in range(3))
        self._in_time, self._in_reading = RunningLine((2, n)), RunningLine((2, n))
        self._each = RunningLine((n, f))
        self._kept = _Kept()
        self._events: list[SeriesEvent] = []
        self._counts: dict[str, int] = {}
        self.ambient: dict[str, tuple[float, float, float, int]] = {}

    def look_for_noise(self, numbers: Sequence[int], read: Callable[[int], SeriesSweep | None]) -> None:
        """Estimate the noise from some couples of successive sweeps; see `noise_of`."""
        if not self._followed:
            return
        couples, found = pairs_to_compare(numbers), {}
        for number in sorted({number for couple in couples for number in couple}):
            sweep = read(number)
            if sweep is not None:
                found[number] = self._values(sweep)
        whole = [couple for couple in couples if all(number in found for number in couple)]
        self._noise = noise_of(
            whole, lambda number: found[number].copy(), self._head.frequency_hz, self._through
        )

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

    def _values(self, sweep: SeriesSweep) -> NDArray[np.complex128]:
        """Return what is followed, ``(n, n_freq)``; zeros are made very small numbers."""
        mixed = mixedmode.to_mixed_mode(corrected_matrix(self._head, sweep.sweep))
        now = np.stack([mixed.at(out=item.out, into=item.into) for item in self._followed])
        return np.where(np.abs(now) < _SMALLEST, _SMALLEST, now)

    def _changes(self, sweep: SeriesSweep, hours: float) -> NDArray[np.float64]:
        """Follow one sweep; return ``(2, n)``: change of loss in dB and of delay in ps."""
        n = len(self._followed)
        if n == 0:
            return np.zeros((2, 0))
        now = self._values(sweep)
        if self._first is None:
            self._first = now
            noise = _FAINTEST if self._noise is None else np.maximum(self._noise, _FAINTEST)
            self._clear = np.abs(now) >= CLEAR_OF_NOISE * noise
        first = self._first
        loss_db = -20.0 * np.log10(np.abs(now) / np.abs(first))
        # Of a reflection or of crosstalk it is not known how many turns lie between two frequencies.
        turned = np.angle(now * np.conj(first))
        scalars = np.full((2, n), np.nan)
        for place in np.flatnonzero(self._clear.any(axis=1)):
            clear = self._clear[place]
            scalars[0, place] = float(np.mean(loss_db[place, clear]))
            if self._through[place]:
                turned[place, clear] = np.unwrap(turned[place, clear])
                _, delay_s = change_between(
                    first[place, clear], now[place, clear], self._head.frequency_hz[clear]
                )
                scalars[1, place] = delay_s * 1e12
        self._loss.add(loss_db, sweep.number)
        self._deg.add(np.degrees(turned), sweep.number)
        self._difference.add(np.abs(now - first), sweep.number)
        self._each.add(hours, loss_db)
        return scalars

    def _note(self, events: Sequence[SeriesEvent]) -> None:
        for event in events:
            self._counts[event.kind] = self._counts.get(event.kind, 0) + 1
            if len(self._events) < _MOST_EVENTS:
                self._events.append(event)

    def summary(self, reader: SeriesReader, damaged: Sequence[int]) -> SeriesSummary:
        """Return what was found."""
        if reader.ending is not None:
            self._note(reader.ending.events)
        rows = np.stack(self._kept.rows)
        corrected = self._head.calibration is not None
        if not corrected:
            self._notes.append("the series has no calibration: the changes are those of uncorrected readings")
        if damaged:
            self._notes.append(f"damaged, so left out: {number_words(damaged)}")
        n = len(self._followed)
        return SeriesSummary(
            sweeps=len(reader.numbers) - len(damaged),
            first_number=reader.numbers[0],
            last_number=reader.numbers[-1],
            missing=tuple(sorted({*reader.lost, *damaged})),
            first_at=self._at[0],
            last_at=self._at[1],
            ended="" if reader.ending is None else reader.ending.reason,
            events=in_order(self._events),
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
        self, place: int, item: _Followed, loss_db: NDArray[np.float64], delay_ps: NDArray[np.float64]
    ) -> SeriesChange:
        clear = self._clear[place]
        worst = self._loss.place(place, clear)
        difference = self._extreme(self._difference, place, np.ones_like(clear))
        if difference is None:
            raise ValueError("a series has at least one frequency")
        magnitude_db = 20.0 * float(np.log10(max(difference.value, _SMALLEST)))
        noise = None if self._noise is None else float(np.median(self._noise[place]))
        return SeriesChange(
            parameter=item.parameter,
            end=item.end,
            pairs=item.pairs,
            largest_loss_db=self._extreme(self._loss, place, clear),
            largest_deg=self._extreme(self._deg, place, clear),
            largest_difference_db=replace(difference, value=magnitude_db),
            loss_db=loss_db,
            delay_ps=delay_ps,
            loss_per_hour=self._in_time.fit((0, place)),
            delay_per_hour=self._in_time.fit((1, place)),
            worst_per_hour=None if worst is None else self._each.fit((place, worst)),
            loss_per_unit=self._in_reading.fit((0, place)),
            delay_per_unit=self._in_reading.fit((1, place)),
            clear_points=int(np.count_nonzero(clear)),
            noise_db=None if noise is None else 20.0 * float(np.log10(max(noise, _SMALLEST))),
        )

    def _extreme(self, largest: _Largest, row: int, clear: NDArray[np.bool_]) -> Extreme | None:
        place = largest.place(row, clear)
        if place is None:
            return None
        frequency_hz = float(self._head.frequency_hz[place])
        return Extreme(float(largest.value[row, place]), frequency_hz, int(largest.sweep[row, place]))
