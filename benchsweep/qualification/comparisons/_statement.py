"""What mating and temperature add to the uncertainty of a difference: a file that the laboratory fills."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from benchsweep.definitions import Definition, read_toml_text, validate_model
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.qualification.comparisons._histories import Root
from benchsweep.qualification.comparisons._studies import mating_scatter, read_study
from benchsweep.qualification.comparisons._study_summary import mating_words
from benchsweep.records import Parameter

__all__ = ["Stated", "StatementFile", "read_statement", "resolve", "statement_text"]

Text = Annotated[str, Field(min_length=1)]
Standing = Literal["published", "common-practice", "from-memory"]
# More of any of them makes no sense: dB or ns, percent for each degree, degrees.
Small = Annotated[float, Field(ge=0, le=1000)]
_WRITTEN = (
    "The laboratory writes this file (TOML): schema = 1, name, source and standing, then for each parameter "
    "a [[mating]] with parameter, db (k = 2), source and standing; README, Field testers, has one to copy."
)


class Mating(Definition):
    """What a fresh mating adds to a parameter: `db` (k = 2; ns for delay and skew), or a `study`."""

    parameter: Parameter
    db: Small | None = None
    study: Text | None = None
    source: Text
    standing: Standing

    @model_validator(mode="after")
    def _one_figure(self) -> Mating:
        if (self.db is None) == (self.study is None):
            raise ValueError("give either db or study")
        return self


class Coefficient(Definition):
    """By how many percent of its value a parameter changes with each degree."""

    parameter: Parameter
    percent_per_degc: Small
    source: Text
    standing: Standing


class TemperaturePart(Definition):
    """By how many degrees the channel may be warmer or colder at the tester than on the bench.

    The difference is taken as the limit of what may be, all values within equally likely: the standard
    uncertainty is coefficient times difference over root 3, expanded twice that (GUM 4.3.7, JCGM 100).
    """

    difference_degc: Small
    coefficient: tuple[Coefficient, ...] = ()
    source: Text
    standing: Standing


class StatementFile(Definition):
    """A statement of what mating and temperature add."""

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    description: str = ""
    source: Text
    standing: Standing
    mating: tuple[Mating, ...] = ()
    temperature: TemperaturePart | None = None

    @model_validator(mode="after")
    def _each_once(self) -> StatementFile:
        stated = [each.parameter for each in self.mating]
        twice = [parameter for parameter in stated if stated.count(parameter) > 1]
        if twice:
            raise ValueError(f"two [[mating]] of {twice[0]}")
        if self.temperature is not None:
            of = [each.parameter for each in self.temperature.coefficient]
            if len(set(of)) < len(of):
                raise ValueError("two coefficients of one parameter")
        return self


@dataclass(frozen=True, slots=True)
class Stated:
    """A statement with the figures of its studies.

    Parameters
    ----------
    mating
        Parameter -> expanded uncertainty (k = 2) of one fresh mating, dB or ns.
    difference_degc
        By how many degrees the temperature may differ; None: not stated.
    percent_per_degc
        Parameter -> its change with the temperature; others do not change.
    lines
        Where each figure comes from, in words.
    """

    mating: Mapping[Parameter, float]
    difference_degc: float | None
    percent_per_degc: Mapping[Parameter, float]
    lines: tuple[str, ...]

    def of_mating(self, parameter: Parameter) -> float | None:
        """Return the expanded uncertainty of a fresh mating; None where it is not stated."""
        return self.mating.get(parameter)

    def of_temperature(
        self, parameter: Parameter, value: NDArray[np.float64] | float
    ) -> NDArray[np.float64] | None:
        """Return the expanded uncertainty (k = 2) of values by the temperature; None where not stated."""
        if self.difference_degc is None:
            return None
        rate = self.percent_per_degc.get(parameter, 0.0) / 100.0
        limit = rate * self.difference_degc * np.abs(np.asarray(value, dtype=np.float64))
        return np.asarray(2.0 * limit / np.sqrt(3.0), dtype=np.float64)


def statement_text(path: Path) -> str:
    """Return the text of a statement after reading it through; it is kept with the comparison.

    Raises
    ------
    DefinitionError
        There is no such file, it cannot be read, or is not as it must be; the message names file and key.
    """
    if not os.path.exists(path):  # noqa: PTH110 - a name that no file can have is none, too
        raise DefinitionError(f"{path}: there is no such statement of mating and temperature", hint=_WRITTEN)
    text = read_toml_text(path)[1]
    validate_model(text, StatementFile, where=str(path))
    return text


@lru_cache(maxsize=8)
def read_statement(text: str) -> StatementFile:
    """Return the statement that stands in a text; raises as `statement_text`."""
    return validate_model(text, StatementFile, where="statement")


def resolve(statement: StatementFile, folder: Root) -> Stated:
    """Return a statement with the figures of the studies that it names.

    Raises
    ------
    UnknownName
        There is no such study.
    UsageError
        A study is not complete, or tells nothing of mating for the parameter.
    ArchiveError
        A study cannot be read.
    """
    mating: dict[Parameter, float] = {}
    lines: list[str] = []
    for each in statement.mating:
        value, words = (each.db, "") if each.db is not None else _of_study(each, folder)
        mating[each.parameter] = value
        lines.append(
            f"mating, {each.parameter.term}: {value:.3g} {each.parameter.unit} (k = 2){words}; "
            f"{each.source} ({each.standing})"
        )
    part = statement.temperature
    lines += _temperature_lines(part)
    return Stated(
        MappingProxyType(mating),
        None if part is None else part.difference_degc,
        MappingProxyType(
            {} if part is None else {each.parameter: each.percent_per_degc for each in part.coefficient}
        ),
        tuple(lines),
    )


def _of_study(each: Mating, folder: Root) -> tuple[float, str]:
    assert each.study is not None  # noqa: S101 - the file was validated
    view = read_study(folder, each.study)
    found = mating_scatter(view).get(each.parameter)
    if found is None:
        raise UsageError(
            f"the study {each.study} says nothing of the mating of {each.parameter.term}",
            hint="It must be complete, with two or more matings; else give db in the statement.",
        )
    return found.expanded, f" from study {each.study}: {mating_words(found)}"


def _temperature_lines(part: TemperaturePart | None) -> Iterator[str]:
    if part is None:
        return
    yield f"temperature: within {part.difference_degc:g} degC; {part.source} ({part.standing})"
    for each in part.coefficient:
        yield (
            f"temperature, {each.parameter.term}: {each.percent_per_degc:g} % of the value for each degC; "
            f"{each.source} ({each.standing})"
        )
