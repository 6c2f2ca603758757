from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, PositiveFloat, PositiveInt, model_validator

from benchsweep.definitions import Definition, load_model
from benchsweep.records import Severity

__all__ = [
    "AttributesTables",
    "CodeLetters",
    "SeverityTable",
    "SwitchingRules",
    "VariablesTables",
    "attributes_tables",
    "switching_rules",
    "variables_tables",
]

Standing = Literal["published", "common-practice", "from-memory"]


class Source(Definition):
    """Document, how it was checked, what to mind."""

    document: str
    checked: str
    note: str


class CodeLetters(Definition):
    """Sample size code letters by lot size and inspection level."""

    standing: Standing
    source: str
    levels: tuple[str, ...]
    smallest_lot: PositiveInt
    up_to: tuple[PositiveInt, ...]
    rows: tuple[str, ...]

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if len(self.rows) != len(self.up_to) + 1 or {len(row) for row in self.rows} != {len(self.levels)}:
            raise ValueError("code letters: a row for each size and one more, a letter for each level")
        return self

    def letter(self, lot_size: int, level: str) -> str:
        """Return the code letter; lot size and level must be in the table."""
        row = next((i for i, largest in enumerate(self.up_to) if lot_size <= largest), len(self.up_to))
        return self.rows[row][self.levels.index(level)]


class Ladder(Definition):
    """The cells of some letters, from the first sum of letter and column on."""

    letters: str
    cells: tuple[str, ...]


class ExceptedCell(Definition):
    """A cell that departs from the rule."""

    letter: str
    aql: PositiveFloat
    cell: str


class CellBelow(Definition):
    """A plan that stands below the last row."""

    letter: str
    aql: PositiveFloat
    sample_size: PositiveInt
    cell: str


class SeverityTable(Definition):
    """The rule of one master table."""

    standing: Standing
    source: str
    sample_sizes: tuple[PositiveInt, ...]
    first: int = Field(ge=0)
    ladders: tuple[Ladder, ...]
    excepted: tuple[ExceptedCell, ...] = Field(alias="except")
    below: tuple[CellBelow, ...] = ()

    def ladder_of(self, letter: str) -> tuple[str, ...]:
        """Return the cells of a letter."""
        return next(ladder.cells for ladder in self.ladders if letter in ladder.letters)


class AttributesTables(Definition):
    """`tables/attributes.toml`."""

    schema_: Literal[1] = Field(alias="schema")
    name: str
    title: str
    largest_percent_nonconforming: PositiveFloat
    aqls: tuple[PositiveFloat, ...]
    letters: str
    source: Source
    code_letters: CodeLetters
    normal: SeverityTable
    tightened: SeverityTable
    reduced: SeverityTable

    def of(self, severity: Severity) -> SeverityTable:
        """Return the table of a severity."""
        return {
            Severity.NORMAL: self.normal,
            Severity.TIGHTENED: self.tightened,
            Severity.REDUCED: self.reduced,
        }[severity]


class ConstantsRow(Definition):
    """One sample size; `k` of the largest AQLs of the table."""

    letter: str
    sample_size: PositiveInt
    k: tuple[PositiveFloat, ...]


class Constants(Definition):
    """Acceptability constants k."""

    standing: Standing
    source: str
    rows: tuple[ConstantsRow, ...]


class VariablesTables(Definition):
    """`tables/variables.toml`."""

    schema_: Literal[1] = Field(alias="schema")
    name: str
    title: str
    aqls: tuple[PositiveFloat, ...]
    source: Source
    code_letters: CodeLetters
    constants: Constants


class NormalToTightened(Definition):
    """So many of so many consecutive lots, or of fewer, not accepted."""

    standing: Standing
    source: str
    not_accepted: PositiveInt
    of_lots: PositiveInt


class TightenedToNormal(Definition):
    """So many lots in a row accepted."""

    standing: Standing
    source: str
    accepted_in_a_row: PositiveInt


class Discontinue(Definition):
    """So many lots in all not accepted under tightened inspection."""

    standing: Standing
    source: str
    not_accepted_on_tightened: PositiveInt


class SwitchingScore(Definition):
    """What makes reduced inspection possible."""

    standing: Standing
    source: str
    tighter_from_accept: PositiveInt
    gain_tighter: PositiveInt
    gain: PositiveInt
    enough: PositiveInt


class ReducedToNormal(Definition):
    """So many lots not accepted under reduced inspection."""

    standing: Standing
    source: str
    not_accepted: Literal[1]


class SwitchingRules(Definition):
    """`tables/switching.toml`."""

    schema_: Literal[1] = Field(alias="schema")
    name: str
    title: str
    source: Source
    normal_to_tightened: NormalToTightened
    tightened_to_normal: TightenedToNormal
    discontinue: Discontinue
    switching_score: SwitchingScore
    reduced_to_normal: ReducedToNormal


def _path(name: str) -> Path:
    return Path(str(resources.files("benchsweep"))) / "statistics" / "sampling" / "tables" / f"{name}.toml"


@cache
def attributes_tables() -> AttributesTables:
    """Return the tables for sampling by attributes."""
    return load_model(_path("attributes"), AttributesTables)


@cache
def variables_tables() -> VariablesTables:
    """Return the tables for sampling by variables."""
    return load_model(_path("variables"), VariablesTables)


@cache
def switching_rules() -> SwitchingRules:
    """Return the numbers of the switching rules."""
    return load_model(_path("switching"), SwitchingRules)
