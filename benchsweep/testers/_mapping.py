"""What a mapping file says: how the columns of a tester's CSV become parameter, end, pairs and numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from benchsweep.definitions import Definition, list_definitions, validate_model
from benchsweep.records import FOUR_PAIRS, Parameter
from benchsweep.testers._find import definition_text
from benchsweep.testers._units import FREQUENCY_UNITS, NUMBER_UNITS, unit_in_brackets

__all__ = [
    "KIND",
    "About",
    "FieldMapping",
    "Numbers",
    "Rows",
    "load_mapping",
    "mapping_text",
    "mappings",
    "read_mapping",
]

KIND = "mappings"
PLACEHOLDERS = ("parameter", "end", "pairs", "quantity", "unit")

Text = Annotated[str, Field(min_length=1, max_length=200)]
Standing = Literal["published", "common-practice", "from-memory"]
Quantity = Literal["value", "margin", "limit"]
Outcome = Literal["pass", "fail"]


class File(Definition):
    """How the text of the file is cut into cells.

    `encoding` ``auto``: UTF-8 with or without a byte order mark, UTF-16 by its mark, else Windows-1252.
    `skip_lines`: lines that are not looked at. `comment`: a line that begins with one of these is left out.
    `stop_at`: a line whose first cell is one of these ends the table.
    """

    encoding: Literal["auto", "utf-8", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"] = "auto"
    delimiter: Literal[",", ";", "\t", "|", " "] = ","
    decimal: Literal[".", ","] = "."
    skip_lines: int = Field(default=0, ge=0)
    comment: tuple[Text, ...] = ()
    stop_at: tuple[Text, ...] = ()
    not_measured: tuple[str, ...] = ("", "-", "n/a")


class Told(Definition):
    """Where a text stands that is about the whole file: a line before the table, a column, or the mapping.

    `format`: how a time is written, in the letters of ``strptime``; absent: ISO 8601.
    """

    key: Text | None = None
    column: Text | None = None
    text: Text | None = None
    format: Text | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Told:
        if [self.key, self.column, self.text].count(None) != 2:
            raise ValueError("give one of key, column and text")
        return self


class About(Definition):
    """What the file says of the measurement; what is not given is not told."""

    at: Told | None = None
    by: Told | None = None
    tester: Told | None = None
    channel: Told | None = None
    requirement: Told | None = None
    outcome: Told | None = None


class Cell(Definition):
    """A name that is in a column, or the same in all rows."""

    column: Text | None = None
    text: Text | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Cell:
        if (self.column is None) == (self.text is None):
            raise ValueError("give either column or text")
        return self


class PairCells(Definition):
    """The pairs: in one column, in two (receiving, disturbing), or the same in all rows."""

    column: Text | None = None
    columns: tuple[Text, Text] | None = None
    text: Text | None = None

    @model_validator(mode="after")
    def _one_place(self) -> PairCells:
        if [self.column, self.columns, self.text].count(None) != 2:
            raise ValueError("give one of column, columns (receiving pair, disturbing pair) and text")
        return self


class FrequencyCells(Definition):
    """The column of frequencies and their unit, which may stand in a column of its own."""

    column: Text
    unit: Text | None = None
    unit_column: Text | None = None

    @model_validator(mode="after")
    def _known_unit(self) -> FrequencyCells:
        _one_unit(self.unit, self.unit_column, FREQUENCY_UNITS, self.column)
        return self


class Rows(Definition):
    """What every row tells besides its numbers."""

    parameter: Cell | None = None
    end: Cell | None = None
    pairs: PairCells | None = None
    frequency: FrequencyCells | None = None


class Numbers(Definition):
    """One column of numbers, or with `heading` many: its placeholders are the names that the tester writes.

    Placeholders: ``{parameter}``, ``{end}``, ``{pairs}``, ``{quantity}``, ``{unit}``. What neither heading
    nor keys give, the row gives. `sign` ``negative``: the file writes losses as negative numbers.
    `frequency`: a column for these numbers alone. `optional`: the column may be missing.
    """

    column: Text | None = None
    heading: Text | None = None
    quantity: Quantity | None = None
    parameter: Parameter | None = None
    end: Literal["A", "B"] | None = None
    pairs: Text | None = None
    unit: Text | None = None
    unit_column: Text | None = None
    sign: Literal["positive", "negative"] = "positive"
    frequency: FrequencyCells | None = None
    optional: bool = False

    @field_validator("heading")
    @classmethod
    def _placeholders(cls, heading: str | None) -> str | None:
        if heading is not None:
            try:
                names = [name for _, name, _, _ in Formatter().parse(heading) if name is not None]
            except ValueError as error:
                raise ValueError(f"{heading!r}: {error}") from None
            wrong = sorted(set(names) - set(PLACEHOLDERS))
            if wrong:
                raise ValueError(f"unknown placeholder {{{wrong[0]}}}; known: {', '.join(PLACEHOLDERS)}")
            if not names or len(set(names)) != len(names):
                raise ValueError("needs placeholders, each once; a column by its full name is `column`")
        return heading

    @model_validator(mode="after")
    def _complete(self) -> Numbers:
        if (self.column is None) == (self.heading is None):
            raise ValueError("give either column or heading")
        if self.quantity is None and "quantity" not in self.placeholders:
            raise ValueError("say the quantity: value, margin or limit")
        for name in ("quantity", "parameter", "end", "pairs", "unit"):
            if name in self.placeholders and getattr(self, name) is not None:
                raise ValueError(f"{name} is in the heading and given beside it")
        if self.unit is not None or self.unit_column is not None:
            if "unit" in self.placeholders:
                raise ValueError("the unit is in the heading and given beside it")
            _one_unit(self.unit, self.unit_column, NUMBER_UNITS, self.column or "")
        return self

    @property
    def placeholders(self) -> tuple[str, ...]:
        """The names in braces in the heading, in order."""
        if self.heading is None:
            return ()
        return tuple(name for _, name, _, _ in Formatter().parse(self.heading) if name is not None)


class Names(Definition):
    """Names as the tester writes them -> ours. Ours are understood by themselves; case does not matter.

    `separators` stand between two pairs; `order` says which of the two comes first.
    """

    parameters: Mapping[Text, Parameter] = {}
    ends: Mapping[Text, Literal["A", "B"]] = {}
    pairs: Mapping[Text, Text] = {}
    quantities: Mapping[Text, Quantity] = {}
    outcomes: Mapping[Text, Outcome] = {}
    separators: tuple[Text, ...] = ("-", "/", "|", "+")
    order: Literal["receiving-first", "disturbing-first"] = "receiving-first"

    @field_validator("pairs")
    @classmethod
    def _pairs_of_ours(cls, pairs: Mapping[str, str]) -> Mapping[str, str]:
        for text, ours in pairs.items():
            if not set(ours.split("-")) <= set(FOUR_PAIRS):
                raise ValueError(f"{text!r} = {ours!r}: no pairs of ours; write 12, 36, 45, 78 or two, 12-36")
        return pairs


class Without(Definition):
    """Rows that are left out: those with one of these texts in the column."""

    column: Text
    texts: tuple[str, ...] = Field(min_length=1)


class FieldMapping(Definition):
    """A mapping file: what the columns of a field tester's CSV mean.

    `basis` ``traces``: rows are points of traces over frequency; ``points``: every row stands by itself, such
    as a worst margin.
    """

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    description: str
    source: Text
    standing: Standing
    basis: Literal["traces", "points"] = "traces"
    file: File = File()
    about: About = About()
    rows: Rows = Rows()
    numbers: tuple[Numbers, ...] = Field(min_length=1)
    without: tuple[Without, ...] = ()
    names: Names = Names()

    @model_validator(mode="after")
    def _fits_together(self) -> FieldMapping:
        if self.file.delimiter == self.file.decimal:
            raise ValueError(
                "file.decimal and file.delimiter are both a comma: no number could be told apart"
            )
        for number in self.numbers:
            where = number.column or number.heading
            given = {name for name in ("parameter", "end", "pairs") if getattr(number, name) is not None}
            known = given | set(number.placeholders)
            if "parameter" not in known and self.rows.parameter is None:
                raise ValueError(f"numbers {where!r}: nothing says the parameter; give rows.parameter")
            if self.basis == "traces" and number.frequency is None and self.rows.frequency is None:
                raise ValueError(f"numbers {where!r}: nothing says the frequency; give rows.frequency")
        return self


def _one_unit(unit: str | None, column: str | None, known: Mapping[str, float], heading: str) -> None:
    """Refuse a unit that there is none of, two at once, and one that the heading contradicts."""
    if (unit is None) == (column is None):
        raise ValueError("give either unit or unit_column")
    if unit is None:
        return
    if unit not in known:
        raise ValueError(f"unknown unit {unit!r}; known: {', '.join(known)}")
    told = unit_in_brackets(heading)
    if told is not None and told in known and known[told] != known[unit]:
        raise ValueError(f"the heading {heading!r} says {told}, the unit is given as {unit}")


def mappings() -> tuple[str, ...]:
    """Return the names of the mappings that can be used without a path."""
    return tuple(list_definitions(KIND))


def load_mapping(name_or_path: str | Path, *, folders: Sequence[Path] = ()) -> FieldMapping:
    """Return the mapping of that name or path.

    Parameters
    ----------
    folders
        Looked into for ``<name>.toml`` before ``./mappings/``, the data folder and what is shipped.

    Raises
    ------
    UnknownName, DefinitionError
    """
    where, text = definition_text(KIND, name_or_path, folders)
    return validate_model(text, FieldMapping, where=where)


def mapping_text(name_or_path: str | Path, *, folders: Sequence[Path] = ()) -> str:
    """Return the text of the mapping, to be kept with a result so that it can be read again years later.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return definition_text(KIND, name_or_path, folders)[1]


@lru_cache(maxsize=8)
def read_mapping(text: str) -> FieldMapping:
    """Return the mapping that stands in TOML `text`, as `mapping_text` gave it.

    Raises
    ------
    DefinitionError
    """
    return validate_model(text, FieldMapping, where="mapping")
