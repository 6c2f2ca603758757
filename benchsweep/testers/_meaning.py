"""What the names in a row make of a number: its series, its unit and its sign."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from benchsweep.errors import DataFileError
from benchsweep.records import Parameter
from benchsweep.testers._columns import Header, NumberColumn
from benchsweep.testers._mapping import FieldMapping
from benchsweep.testers._names import WITHOUT_END, Translator, WrongName, right_pairs
from benchsweep.testers._store import Store
from benchsweep.testers._units import TIME_UNITS, same_unit

__all__ = ["Meaning", "RowNames"]

# Crosstalk less insertion loss may well be negative.
_MAY_BE_NEGATIVE = frozenset({Parameter.ACR_N, Parameter.PS_ACR_N})
_DB: Mapping[str, float] = {"dB": 1.0}
_NAMES = (
    "The mapping's table [names] says what the tester's names mean; [[without]] leaves rows out that are "
    "about something else."
)

Told = TypeVar("Told")
Fail = Callable[[int, int, str, str], DataFileError]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a row's names make of a column of numbers."""

    series: int
    factor: float
    is_time: bool
    may_be_negative: bool


class RowNames:
    """Translates the names that rows and headings give to a number.

    `fail` makes the error of a row of the block, a column from 0, a reason and a hint.
    """

    def __init__(self, name: str, header: Header, mapping: FieldMapping, store: Store, fail: Fail) -> None:
        self._name = name
        self._header = header
        self._rows = rows = mapping.rows
        self._store = store
        self._fail = fail
        self._names = Translator(mapping.names)
        self._parameter = self._place(rows.parameter.column if rows.parameter else None)
        self._end = self._place(rows.end.column if rows.end else None)
        self._pairs = tuple(
            place
            for heading in ((rows.pairs.columns or (rows.pairs.column,)) if rows.pairs else ())
            if (place := self._place(heading)) is not None
        )

    def _place(self, heading: str | None) -> int | None:
        return None if heading is None else self._header.place(heading)

    def named_in(self, number: NumberColumn) -> tuple[int, ...]:
        """Return the columns whose text decides what the number is: those of what its heading leaves open."""
        places: list[int] = []
        if number.parameter is None and self._parameter is not None:
            places.append(self._parameter)
        if number.end is None and self._end is not None:
            places.append(self._end)
        if number.pairs is None:
            places += self._pairs
        if number.of.unit_column is not None:
            places.append(self._header.unit_place(self._name, number.of.unit_column))
        return tuple(places)

    def meaning(
        self, number: NumberColumn, name: tuple[str, ...], places: tuple[int, ...], row: int
    ) -> Meaning:
        """Return what the names of a row, given as they stand in the columns `places`, make of its number.

        Raises
        ------
        DataFileError
        """
        cell = dict(zip(places, name, strict=True))
        rows = self._rows
        parameter = number.parameter
        if parameter is None:
            text = rows.parameter.text if rows.parameter else None
            parameter = self._translated(row, number, self._parameter, cell, text, self._names.parameter)
        end = number.end
        if end is None and rows.end is not None:
            end = self._translated(row, number, self._end, cell, rows.end.text, self._names.end)
        pairs = number.pairs
        if pairs is None:
            pairs = self._pairs_of(row, number, cell)
        try:
            pairs = right_pairs(parameter, end, pairs)
        except WrongName as error:
            place = next((one for one in self._pairs if one in cell), number.index)
            raise self._fail(row, place, str(error), _NAMES) from None
        return Meaning(
            self._store.series((parameter, end, pairs)),
            self._factor(row, number, parameter, cell),
            parameter in WITHOUT_END,
            number.quantity == "margin" or parameter in _MAY_BE_NEGATIVE,
        )

    def _translated(  # a row, a column, and what may stand for the cell
        self,
        row: int,
        number: NumberColumn,
        place: int | None,
        cell: Mapping[int, str],
        text: str | None,
        translate: Callable[[str], Told],
    ) -> Told:
        told = cell[place] if place is not None and place in cell else text or ""
        try:
            return translate(told)
        except WrongName as error:
            raise self._fail(row, number.index if place is None else place, str(error), _NAMES) from None

    def _pairs_of(self, row: int, number: NumberColumn, cell: Mapping[int, str]) -> tuple[str, ...]:
        rows = self._rows
        text = rows.pairs.text if rows.pairs is not None else None
        texts = [cell[place] for place in self._pairs] if self._pairs else [text or ""]
        try:
            return self._names.pairs(*texts)
        except WrongName as error:
            wrong = [place for place in self._pairs if not self._is_pair(cell[place])]
            place = next(iter((*wrong, *self._pairs, number.index)))
            raise self._fail(row, place, str(error), _NAMES) from None

    def _is_pair(self, text: str) -> bool:
        try:
            self._names.pairs(text)
        except WrongName:
            return False
        return True

    def _factor(self, row: int, number: NumberColumn, parameter: Parameter, cell: Mapping[int, str]) -> float:
        """Return what brings a plain number to dB, losses positive, or ns."""
        is_time = parameter in WITHOUT_END
        unit, place = number.unit, number.index
        if number.of.unit_column is not None:
            place = self._header.unit_place(self._name, number.of.unit_column)
            # Without a unit the usual one is meant, as in all columns that have none.
            unit = same_unit(cell[place].strip()) or cell[place].strip()[:40] or None
        if unit is not None and unit not in (TIME_UNITS if is_time else _DB):
            raise self._fail(
                row,
                place,
                f"{parameter.term} in {unit!r}",
                f"It is in {', '.join(TIME_UNITS) if is_time else 'dB'}. Mapping or file says the unit.",
            )
        if is_time:
            return TIME_UNITS[unit] if unit is not None else 1.0
        return -1.0 if number.of.sign == "negative" else 1.0
