"""All numbers of a file in flat arrays, and the traces and points that they become."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import DataFileError
from benchsweep.records import End, FieldPoint, FieldTrace, Parameter
from benchsweep.testers._names import WITHOUT_END, usual_key

__all__ = ["MOST_NUMBERS", "QUANTITIES", "Key", "Store"]

MOST_NUMBERS = 5_000_000
"""Of one file: thirty times what four pairs, all parameters, both ends and a thousand frequencies give."""
QUANTITIES = ("value", "margin", "limit")
_VALUE, _MARGIN, _LIMIT = range(3)
# Frequencies nearer than this are the same, written in other units.
_SAME = 1e-9
# By so much a margin may differ from value less limit before it is told: each is rounded to 0.1.
_ROUNDED = 0.151

Key = tuple[Parameter, End | None, tuple[str, ...]]
Fail = Callable[[str, int, int], DataFileError]


@dataclass
class _Part:
    """Numbers of one quantity of one series, rising in frequency."""

    frequency: NDArray[np.float64]
    number: NDArray[np.float64]


@dataclass
class Store:
    """Takes numbers in blocks; 27 bytes each, however many series there are.

    Parameters
    ----------
    fail
        Makes the error of a reason, a line and a column.
    """

    fail: Fail
    notes: list[str] = field(default_factory=list)
    _keys: dict[Key, int] = field(default_factory=dict)
    _blocks: list[tuple[NDArray[Any], ...]] = field(default_factory=list)
    count: int = 0

    def series(self, key: Key) -> int:
        """Return the number of the series of this key."""
        return self._keys.setdefault(key, len(self._keys))

    def keys(self) -> tuple[Key, ...]:
        """Return all series in the order of their numbers."""
        return tuple(self._keys)

    def add(  # columns of a block, all of one length but column and quantity
        self,
        series: NDArray[np.intp],
        quantity: str,
        frequency: NDArray[np.float64],
        number: NDArray[np.float64],
        line: NDArray[np.intp],
        column: int,
    ) -> None:
        """Take a block; numbers that are NaN are left out, a frequency that is NaN is none.

        Raises
        ------
        DataFileError
            There are too many.
        """
        there = ~np.isnan(number)
        n = int(np.count_nonzero(there))
        self.count += n
        if self.count > MOST_NUMBERS:
            raise self.fail(f"more than {MOST_NUMBERS} numbers: no field tester's result", int(line[-1]), 0)
        self._blocks.append(
            (
                series[there].astype(np.int16),
                np.full(n, QUANTITIES.index(quantity), dtype=np.int8),
                frequency[there],
                number[there],
                line[there].astype(np.int32),
                np.full(n, min(column, np.iinfo(np.int16).max), dtype=np.int16),
            )
        )

    def _joined(self) -> tuple[NDArray[Any], ...]:
        blocks, self._blocks = self._blocks, []
        if not blocks:
            return tuple(np.zeros(0, dtype=kind) for kind in ("i2", "i1", "f8", "f8", "i4", "i2"))
        return tuple(np.concatenate(parts) for parts in zip(*blocks, strict=True))

    def traces(self) -> tuple[FieldTrace, ...]:
        """Return the traces, each series once, in the order of the file; empties the store.

        Raises
        ------
        DataFileError
            A series tells two numbers at one frequency.
        """
        series, quantity, frequency, number, line, column = self._joined()
        if not series.size:
            return ()
        # Stable: what is told twice stays in the order of the file.
        order = np.lexsort((frequency, quantity, series))
        series, quantity, frequency, number, line, column = (
            part[order] for part in (series, quantity, frequency, number, line, column)
        )
        starts = np.flatnonzero((np.diff(series, prepend=-1) != 0) | (np.diff(quantity, prepend=-1) != 0))
        parts: dict[Key, dict[int, _Part]] = {}
        keys = self.keys()
        for begin, end in zip(starts, [*starts[1:], series.size], strict=True):
            key, which = keys[int(series[begin])], int(quantity[begin])
            span = slice(begin, end)
            once = self._once(key, which, frequency[span], number[span], line[span], column[span])
            parts.setdefault(key, {})[which] = _Part(frequency[span][once], number[span][once])
        return tuple(trace for key, found in self._merged(parts).items() for trace in self._trace(key, found))

    def _once(  # the columns of one series
        self,
        key: Key,
        quantity: int,
        frequency: NDArray[Any],
        number: NDArray[Any],
        line: NDArray[Any],
        column: NDArray[Any],
    ) -> NDArray[np.intp]:
        """Return which points to keep: repeated ones once, and none that contradict each other."""
        f = np.asarray(frequency, dtype=np.float64)
        again = np.flatnonzero(np.diff(f) <= _SAME * f[1:]) + 1
        for index in again:
            if number[index] != number[index - 1]:
                raise self.fail(
                    f"{_named(key)} has two {QUANTITIES[quantity]}s at {f[index] / 1e6:g} MHz: "
                    f"{number[index - 1]:g} in line {line[index - 1]} and {number[index]:g}",
                    int(line[index]),
                    int(column[index]),
                )
        if again.size:
            self.notes.append(f"{_named(key)}: {again.size} points stand there twice with the same number")
        return np.setdiff1d(np.arange(f.size), again)

    def _merged(self, parts: dict[Key, dict[int, _Part]]) -> dict[Key, dict[int, _Part]]:
        """Bring what was told of both ends or both directions to what the bench tells once."""
        merged: dict[Key, dict[int, _Part]] = {}
        for told, found in parts.items():
            key = usual_key(*told)
            if key not in merged:
                merged[key] = found
                continue
            merged[key] = self._both(key, merged[key], found)
        return merged

    def _both(self, key: Key, first: dict[int, _Part], second: dict[int, _Part]) -> dict[int, _Part]:
        """Return the worse of two tellings where they are on the same points, else the first; noted."""
        same = first.keys() == second.keys() and all(
            np.array_equal(first[which].frequency, second[which].frequency) for which in first
        )
        if not same:
            self.notes.append(f"{_named(key)} is told twice on other frequencies: the first is taken")
            return first
        worst = np.maximum if key[0] in WITHOUT_END else np.minimum
        self.notes.append(f"{_named(key)} is told twice, by direction or end: the worse counts at each point")
        return {
            which: _Part(
                part.frequency,
                (np.minimum if which == _MARGIN else worst)(part.number, second[which].number),
            )
            for which, part in first.items()
        }

    def _trace(self, key: Key, found: dict[int, _Part]) -> Iterator[FieldTrace]:
        """Give the trace of values, or of margins where there are none; with the limit where it is whole."""
        main = found.get(_VALUE) or found.get(_MARGIN)
        if main is None:
            self.notes.append(f"{_named(key)}: only a limit is told, no value")
            return
        limit = self._limit(key, main, found)
        yield FieldTrace(
            *key,
            quantity="value" if _VALUE in found else "margin",
            frequency_hz=main.frequency,
            value=main.number,
            limit=limit,
        )

    def _limit(self, key: Key, main: _Part, found: dict[int, _Part]) -> NDArray[np.float64] | None:
        margins = found.get(_MARGIN) if _VALUE in found else None
        told = None
        if _LIMIT in found:
            told = _on(main.frequency, found[_LIMIT])
            if told is None:
                self.notes.append(f"{_named(key)}: the limit is not told at every point, and is left out")
        if margins is None:
            return told
        distance = _on(main.frequency, margins)
        if distance is None:
            self.notes.append(f"{_named(key)}: margins are not told at every point, and are left out")
            return told
        derived = main.number + distance if _is_maximum(key[0]) else main.number - distance
        if told is None:
            self.notes.append(f"{_named(key)}: the limit is that of value and margin")
            return np.asarray(derived)
        apart = float(np.max(np.abs(derived - told)))
        if apart > _ROUNDED:
            self.notes.append(
                f"{_named(key)}: margin, value and limit differ by up to {apart:.2f}; value used"
            )
        return told

    def points(self) -> tuple[FieldPoint, ...]:
        """Return one point for every line and series, in the order of the file; empties the store.

        Raises
        ------
        DataFileError
            The same parameter, end, pairs and frequency twice, told differently.
        """
        series, quantity, frequency, number, line, column = self._joined()
        rows: dict[tuple[int, int], dict[str, float]] = {}
        for which, kind, f, value, at, _ in zip(
            *(part.tolist() for part in (series, quantity, frequency, number, line, column)), strict=True
        ):
            row = rows.setdefault((at, which), {})
            row[QUANTITIES[kind]] = value
            if not np.isnan(f):
                row["frequency_hz"] = f
        keys = self.keys()
        seen: dict[tuple[Key, float | None], tuple[int, FieldPoint]] = {}
        for (at, which), row in sorted(rows.items()):
            if row.keys() <= {"limit", "frequency_hz"}:
                continue
            key = usual_key(*keys[which])
            point = FieldPoint(
                *key,
                margin=row.get("margin"),
                value=row.get("value"),
                limit=row.get("limit"),
                frequency_hz=row.get("frequency_hz"),
            )
            first = seen.setdefault((key, point.frequency_hz), (at, point))
            if first[1] != point:
                raise self.fail(f"{_named(key)} is told twice, first in line {first[0]}", at, 0)
        return tuple(point for _, point in seen.values())


def _on(grid: NDArray[np.float64], part: _Part) -> NDArray[np.float64] | None:
    """Return the numbers of `part` at every point of `grid`; None where one is missing."""
    at = np.minimum(np.searchsorted(part.frequency, grid * (1.0 - _SAME)), part.frequency.size - 1)
    return part.number[at] if np.all(np.abs(part.frequency[at] - grid) <= _SAME * grid) else None


def _is_maximum(parameter: Parameter) -> bool:
    return parameter in WITHOUT_END or parameter is Parameter.INSERTION_LOSS


def _named(key: Key) -> str:
    parameter, end, pairs = key
    return " ".join(part for part in (parameter.term, end or "", "-".join(pairs)) if part)
