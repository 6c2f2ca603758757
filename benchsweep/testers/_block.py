"""Blocks of rows: which series each number belongs to, its unit and sign, and what cannot be right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import DataFileError
from benchsweep.testers._cells import CellReader, WrongCell
from benchsweep.testers._columns import Header, NumberColumn
from benchsweep.testers._lines import wrong
from benchsweep.testers._mapping import FieldMapping, FrequencyCells
from benchsweep.testers._meaning import Meaning, RowNames
from benchsweep.testers._store import Store
from benchsweep.testers._units import FREQUENCY_UNITS, TIME_UNITS, same_unit

__all__ = ["BlockReader"]

LEAST_HZ, MOST_HZ = 1e4, 1e10
"""Frequencies beyond are a wrong unit: limits of cabling begin at 0.1 MHz and end at 2 GHz."""
LEAST_LOSS = -1.0
"""dB. A loss of something passive is not below zero; a tester's error may be."""
MOST_NAMES = 20_000
"""Combinations of parameter, end, pairs and unit, in all the ways in which they are written."""

Columns = Sequence[Sequence[str]]


class BlockReader:
    """Puts block after block of rows into a store.

    Raises
    ------
    DataFileError
        With file, line and column: a column of the mapping that is not there, a name without a meaning, a
        cell that is no number, a unit that does not fit, a frequency or a loss that cannot be.
    """

    def __init__(self, name: str, header: Header, mapping: FieldMapping, store: Store) -> None:
        self._name = name
        self._header = header
        self._mapping = mapping
        self._store = store
        self._cells = CellReader(mapping.file.decimal, mapping.file.not_measured)
        self._meanings: list[Meaning] = []
        # Column of numbers -> place of its meaning for every combination of names, -1 where not yet known.
        self._known: dict[int, NDArray[np.intp]] = {}
        self._lines: NDArray[np.intp] = np.zeros(0, dtype=np.intp)
        self._names = RowNames(name, header, mapping, store, self._fail)
        self._without = [(self._place(one.column), frozenset(one.texts)) for one in mapping.without]
        self._tables: dict[tuple[int, ...], dict[tuple[str, ...], int]] = {}
        self._texts: dict[tuple[int, ...], tuple[Sequence[tuple[str, ...]], NDArray[np.intp]]] = {}
        self.not_measured = 0
        self.left_out = 0

    def _place(self, heading: str | None) -> int | None:
        return None if heading is None else self._header.place(heading)

    def take(self, lines: Sequence[int], rows: Sequence[Sequence[str]]) -> None:
        """Read a block of rows, every one with as many cells as the header."""
        if any(place is not None for place, _ in self._without):
            kept = [n for n, row in enumerate(rows) if self._counts(row)]
            self.left_out += len(rows) - len(kept)
            lines, rows = [lines[n] for n in kept], [rows[n] for n in kept]
        if not rows:
            return
        self._lines = np.asarray(lines, dtype=np.intp)
        columns = list(zip(*rows, strict=True))
        self._texts = {}
        shared: dict[tuple[str, str | None], NDArray[np.float64]] = {}
        for number in self._header.numbers:
            cells = number.of.frequency or self._mapping.rows.frequency
            key = ("", None) if cells is None else (cells.column, cells.unit_column)
            if key not in shared:
                shared[key] = self._frequencies(columns, cells)
            self._numbers(columns, number, shared[key], cells)

    def _counts(self, row: Sequence[str]) -> bool:
        return not any(place is not None and row[place].strip() in texts for place, texts in self._without)

    def _fail(self, row: int, column: int, why: str, hint: str = "") -> DataFileError:
        heading = self._header.cells[column].strip()
        shown = f" ({heading[:40]})" if heading else ""
        return wrong(self._name, f"{why}{shown}", line=int(self._lines[row]), column=column + 1, hint=hint)

    def _frequencies(self, columns: Columns, cells: FrequencyCells | None) -> NDArray[np.float64]:
        """Return the frequencies in Hz; NaN where a row tells none."""
        place = self._place(cells.column) if cells is not None else None
        if cells is None or place is None:
            return np.full(self._lines.size, np.nan)
        if cells.unit_column is None:
            found = self._read(columns, place, FREQUENCY_UNITS, FREQUENCY_UNITS[str(cells.unit)])
        else:
            # Read as Hz, then times the unit of each row; an empty row of numbers needs no unit.
            found = self._read(columns, place, {"Hz": 1.0}, 1.0)
            units = columns[self._header.unit_place(self._name, cells.unit_column)]
            of_text = {
                text: FREQUENCY_UNITS.get(same_unit(text.strip()) or "", np.nan) for text in set(units)
            }
            factors = np.array([of_text[text] for text in units], dtype=np.float64)
            bad = np.flatnonzero(np.isnan(factors) & ~np.isnan(found))
            if bad.size:
                raise self._fail(
                    int(bad[0]),
                    self._header.unit_place(self._name, cells.unit_column),
                    f"unknown unit of frequency {units[int(bad[0])].strip()[:40]!r}",
                    f"Known: {', '.join(FREQUENCY_UNITS)}.",
                )
            found = found * factors
        bad = np.flatnonzero((found < LEAST_HZ) | (found > MOST_HZ))
        if bad.size:
            raise self._fail(
                int(bad[0]),
                place,
                f"{found[bad[0]] / 1e6:.10g} MHz is no frequency of balanced cabling",
                "Another unit than the mapping says (rows.frequency.unit), or units are mixed in the column.",
            )
        return found

    def _read(
        self, columns: Columns, place: int, units: Mapping[str, float], factor: float
    ) -> NDArray[np.float64]:
        try:
            return self._cells.column(columns[place], units, factor)
        except WrongCell as error:
            raise self._fail(error.index, place, str(error), error.hint) from None

    def _numbers(
        self,
        columns: Columns,
        number: NumberColumn,
        frequency: NDArray[np.float64],
        cells: FrequencyCells | None,
    ) -> None:
        """Read one column of numbers of the block."""
        meaning = self._row_meanings(columns, number)
        is_time = np.array([one.is_time for one in self._meanings])[meaning]
        factor = np.array([one.factor for one in self._meanings])[meaning]
        found = self._values(columns, number, is_time, factor)
        self.not_measured += int(np.count_nonzero(np.isnan(found)))
        self._check(number, meaning, found)
        self._need_frequency(number, cells, frequency, found)
        self._store.add(
            np.array([one.series for one in self._meanings], dtype=np.intp)[meaning],
            number.quantity,
            frequency,
            found,
            self._lines,
            number.index + 1,
        )

    def _values(
        self,
        columns: Columns,
        number: NumberColumn,
        is_time: NDArray[np.bool_],
        factor: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Return the numbers in dB or ns; a unit behind one must be of its kind."""
        cells = columns[number.index]
        if (factor == factor[0]).all() and (is_time == is_time[0]).all():
            units = TIME_UNITS if is_time[0] else {"dB": float(factor[0])}
            return self._read(columns, number.index, units, float(factor[0]))
        found = np.empty(len(cells))
        for kind, one in sorted(set(zip(is_time.tolist(), factor.tolist(), strict=True))):
            rows = np.flatnonzero((is_time == kind) & (factor == one))
            # A cell with a unit goes by it; the sign of losses stays that of the file.
            units = TIME_UNITS if kind else {"dB": one}
            try:
                found[rows] = self._cells.column([cells[n] for n in rows.tolist()], units, one)
            except WrongCell as error:
                raise self._fail(int(rows[error.index]), number.index, str(error), error.hint) from None
        return found

    def _row_meanings(self, columns: Columns, number: NumberColumn) -> NDArray[np.intp]:
        """Return for each row the place of its meaning; every combination of names is translated once."""
        places = self._names.named_in(number)
        names, codes = self._codes(columns, places)
        known = self._known.get(number.index, np.zeros(0, dtype=np.intp))
        size = len(self._tables[places])
        if known.size < size:
            known = np.concatenate((known, np.full(size - known.size, -1, dtype=np.intp)))
            self._known[number.index] = known
        found = known[codes]
        while (unknown := np.flatnonzero(found < 0)).size:
            row = int(unknown[0])
            known[codes[row]] = len(self._meanings)
            self._meanings.append(self._names.meaning(number, names[row], places, row))
            found = known[codes]
        return found

    def _codes(
        self, columns: Columns, places: tuple[int, ...]
    ) -> tuple[Sequence[tuple[str, ...]], NDArray[np.intp]]:
        """Return the names in some columns row by row, and a number for each combination of them.

        Value and limit, or all columns of a wide table, have the same: they are looked up once in a block.
        """
        if places not in self._texts:
            table = self._tables.setdefault(places, {})
            rows = self._lines.size
            names = list(zip(*(columns[place] for place in places), strict=True)) if places else [()] * rows
            codes: list[int | None] = list(map(table.get, names))
            if None in codes:
                for name in names:
                    table.setdefault(name, len(table))
                if len(table) > MOST_NAMES:
                    raise self._fail(0, places[0], f"more than {MOST_NAMES} different names in this block")
            self._texts[places] = names, np.array([table[name] for name in names] if None in codes else codes)
        return self._texts[places]

    def _check(self, number: NumberColumn, meaning: NDArray[np.intp], found: NDArray[np.float64]) -> None:
        """Refuse losses and times that cannot be: mostly the other sign."""
        least = np.array(
            [-np.inf if one.may_be_negative else 0.0 if one.is_time else LEAST_LOSS for one in self._meanings]
        )[meaning]
        bad = np.flatnonzero(found < least)
        if bad.size:
            row = int(bad[0])
            parameter = self._store.keys()[self._meanings[int(meaning[row])].series][0]
            other = "positive" if number.of.sign == "negative" else "negative"
            raise self._fail(
                row,
                number.index,
                f"{parameter.term} of {found[row]:g} {parameter.unit}: losses are positive"
                if parameter.unit == "dB"
                else f"{parameter.term} of {found[row]:g} ns: less than nothing",
                f'If the tester writes all losses so, say sign = "{other}" in the mapping\'s [[numbers]].'
                if parameter.unit == "dB"
                else "The column is not that of the time, or the file is damaged.",
            )

    def _need_frequency(
        self,
        number: NumberColumn,
        cells: FrequencyCells | None,
        frequency: NDArray[np.float64],
        found: NDArray[np.float64],
    ) -> None:
        """Refuse a point of a trace that has no frequency."""
        if self._mapping.basis == "points" or cells is None:
            return
        bad = np.flatnonzero(np.isnan(frequency) & ~np.isnan(found))
        if bad.size:
            place = self._header.place(cells.column)
            raise self._fail(
                int(bad[0]),
                number.index if place is None else place,
                "a number without a frequency",
                'Rows that stand by themselves need basis = "points" in the mapping.',
            )
