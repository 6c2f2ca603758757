"""The header of a file: where each column of the mapping stands, and what each column of numbers means."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from string import Formatter

from benchsweep.definitions import did_you_mean
from benchsweep.records import End, Parameter
from benchsweep.testers._lines import Row, wrong
from benchsweep.testers._mapping import FieldMapping, FrequencyCells, Numbers
from benchsweep.testers._names import Translator, WrongName, folded
from benchsweep.testers._units import NUMBER_UNITS, same_unit

__all__ = ["Header", "NumberColumn", "find_header"]

MOST_LINES_BEFORE = 1000
_MOST_NAMED = 6
_LONGEST_HEADING = 200
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "space"}


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """One column of numbers; None where the row says it.

    Parameters
    ----------
    index
        Place of the column, from 0.
    heading
        As the file has it.
    """

    index: int
    heading: str
    quantity: str
    parameter: Parameter | None
    end: End | None
    pairs: tuple[str, ...] | None
    unit: str | None
    of: Numbers


@dataclass(frozen=True, slots=True)
class Header:
    """The header line of a table.

    Parameters
    ----------
    line, cells
        Where and what it is.
    numbers
        Columns of numbers in the order of the file.
    before
        Rows above it.
    left_out
        Headings that the mapping does not describe.
    """

    line: int
    cells: list[str]
    numbers: tuple[NumberColumn, ...]
    before: tuple[Row, ...]
    left_out: tuple[str, ...]

    def place(self, heading: str) -> int | None:
        """Return the place of a column from 0; None where there is none."""
        name = folded(heading)
        return next((n for n, cell in enumerate(self.cells) if folded(cell) == name), None)

    def unit_place(self, file: str, heading: str) -> int:
        """Return the place of a column of units.

        Raises
        ------
        DataFileError
            There is none.
        """
        place = self.place(heading)
        if place is None:
            raise wrong(file, f"the column of units {heading!r} is missing", line=self.line)
        return place


def find_header(name: str, rows: Iterator[Row], mapping: FieldMapping, names: Translator) -> Header:
    """Read rows until the one that has all columns of the mapping.

    Raises
    ------
    DataFileError
        There is none, a heading stands there twice, or a column of numbers contradicts the mapping.
    """
    needed = _needed(mapping)
    before: list[Row] = []
    for line, cells in rows:
        there = {folded(cell) for cell in cells}
        if all(folded(one) in there for one in needed) and _any_numbers(cells, mapping, names):
            _refuse_twice(name, line, cells)
            numbers = tuple(_numbers(name, line, cells, mapping, names))
            if numbers:
                taken = {number.index for number in numbers}
                known = {folded(one) for one in (*needed, *_asked(mapping))}
                left = [c for n, c in enumerate(cells) if n not in taken and folded(c) not in known and c]
                return Header(line, cells, numbers, tuple(before), tuple(left))
        before.append((line, cells))
        if len(before) > MOST_LINES_BEFORE:
            break
    raise _no_header(name, needed, before, mapping)


def _needed(mapping: FieldMapping) -> tuple[str, ...]:
    """Return the headings that must be there, each once."""
    rows = mapping.rows
    found: list[str] = []
    for cell in (rows.parameter, rows.end, rows.pairs):
        if cell is not None and cell.column is not None:
            found.append(cell.column)
    if rows.pairs is not None and rows.pairs.columns is not None:
        found += rows.pairs.columns
    found += _of_frequency(rows.frequency)
    for number in mapping.numbers:
        if not number.optional:
            found += [one for one in (number.column, number.unit_column) if one is not None]
            found += _of_frequency(number.frequency)
    found += [one.column for one in mapping.without]
    return tuple(dict.fromkeys(found))


def _of_frequency(cells: FrequencyCells | None) -> list[str]:
    return [] if cells is None else [one for one in (cells.column, cells.unit_column) if one is not None]


def _asked(mapping: FieldMapping) -> list[str]:
    """Return the headings that may be there: what is told about the file, optional columns of units."""
    about = mapping.about
    told = (about.at, about.by, about.tester, about.channel, about.requirement, about.outcome)
    found = [one.column for one in told if one is not None and one.column is not None]
    for number in mapping.numbers:
        found += [] if number.unit_column is None else [number.unit_column]
        found += _of_frequency(number.frequency)
    return found


def _any_numbers(cells: Sequence[str], mapping: FieldMapping, names: Translator) -> bool:
    headings = {folded(cell) for cell in cells}
    for number in mapping.numbers:
        if number.column is not None and folded(number.column) in headings:
            return True
        heading = number.heading
        if heading is not None and any(_fits(heading, cell, names) for cell in cells):
            return True
    return False


def _refuse_twice(name: str, line: int, cells: Sequence[str]) -> None:
    seen: dict[str, int] = {}
    for index, cell in enumerate(cells):
        key = folded(cell)
        if key and key in seen:
            raise wrong(
                name,
                f"the heading {cell.strip()!r} stands there twice, first in column {seen[key] + 1}",
                line=line,
                column=index + 1,
                hint="Nothing tells which of the two is meant: rename or remove one.",
            )
        seen[key] = index


def _numbers(
    name: str, line: int, cells: Sequence[str], mapping: FieldMapping, names: Translator
) -> Iterator[NumberColumn]:
    for index, cell in enumerate(cells):
        for number in mapping.numbers:
            found = _described(name, line, index, cell, number, names)
            if found is not None:
                yield found
                break


def _described(
    name: str, line: int, index: int, cell: str, number: Numbers, names: Translator
) -> NumberColumn | None:
    """Return what the column is by this part of the mapping; None where it is another."""
    told: dict[str, str] = {}
    if number.column is not None:
        if folded(number.column) != folded(cell):
            return None
    else:
        match = _fits(str(number.heading), cell, names)
        if match is None:
            return None
        told = match.groupdict()
    try:
        return NumberColumn(
            index,
            cell.strip(),
            number.quantity or names.quantity(told["quantity"]),
            names.parameter(told["parameter"]) if "parameter" in told else number.parameter,
            names.end(told["end"]) if "end" in told else number.end,
            names.pairs(told["pairs"]) if "pairs" in told else _given(number.pairs, names),
            _unit(name, line, index, told["unit"]) if "unit" in told else number.unit,
            number,
        )
    except WrongName as error:
        if number.heading is not None:
            return None
        raise wrong(name, str(error), line=line, column=index + 1) from None


def _given(pairs: str | None, names: Translator) -> tuple[str, ...] | None:
    return None if pairs is None else names.pairs(pairs)


def _unit(name: str, line: int, index: int, text: str) -> str:
    unit = same_unit(text.strip())
    if unit is None or unit not in NUMBER_UNITS:
        raise wrong(
            name,
            f"unknown unit {text.strip()!r} in the heading",
            line=line,
            column=index + 1,
            hint=f"Known: {', '.join(NUMBER_UNITS)}.",
        )
    return unit


def _fits(heading: str, cell: str, names: Translator) -> re.Match[str] | None:
    """Return what the placeholders of `heading` are in `cell`; None where it is another heading."""
    if len(cell) > _LONGEST_HEADING:
        return None
    text = ""
    for literal, placeholder, _, _ in Formatter().parse(heading):
        text += r"\s+".join(re.escape(part) for part in re.split(r"\s+", literal))
        if placeholder is not None:
            text += f"(?P<{placeholder}>{names.shape(placeholder)})"
    return re.fullmatch(text, cell.strip(), re.IGNORECASE)


def _no_header(name: str, needed: Sequence[str], before: Sequence[Row], mapping: FieldMapping) -> Exception:
    """Return the error about the line that comes nearest to a header."""
    wanted = {folded(one): one for one in needed}

    def missing(row: Row) -> list[str]:
        there = {folded(cell) for cell in row[1]}
        return [one for key, one in wanted.items() if key not in there]

    if not before:
        return wrong(name, "holds no table: it is empty", hint="Export the result again.")
    best = min(before, key=lambda row: (len(missing(row)), -len(row[1])))
    lacks = missing(best)
    other = next((m for m in _DELIMITERS if m != mapping.file.delimiter and m in "".join(best[1])), None)
    if len(lacks) == len(wanted) and len(best[1]) == 1 and other is not None:
        hint = (
            f"The mapping's delimiter is the {_DELIMITERS[mapping.file.delimiter]}; "
            f"the file seems to have the {_DELIMITERS[other]}."
        )
    else:
        hint = f"Line {best[0]} has: {', '.join(cell.strip() for cell in best[1][:24])[:300]}"
    if not lacks:
        return wrong(name, "no column of numbers is what the mapping describes", line=best[0], hint=hint)
    more = f" and {len(lacks) - _MOST_NAMED} more" if len(lacks) > _MOST_NAMED else ""
    named = ", ".join(repr(one) for one in lacks[:_MOST_NAMED])
    meant = did_you_mean(lacks[0], [cell.strip() for cell in best[1]][:200])
    what, verb = ("columns", "are") if len(lacks) > 1 else ("column", "is")
    return wrong(
        name, f"the {what} {named}{more} {verb} missing in the header{meant}", line=best[0], hint=hint
    )
