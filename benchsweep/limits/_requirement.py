from __future__ import annotations

from typing import Literal, Self

from pydantic import ConfigDict, Field, PrivateAttr, model_validator

from benchsweep.definitions import Definition
from benchsweep.limits._line import LimitLine, Source, Standing, Text, worst_standing
from benchsweep.limits._rules import DirectCurrent, Length, Normalisation, Temperature
from benchsweep.records import Parameter

__all__ = ["Requirement", "refuse_two"]


class Requirement(Definition):
    """A set of limit lines of one standard, edition, category and configuration.

    Parameters
    ----------
    name
        Its id, the name of the file.
    base
        The requirement it is a variant of; see `load_requirement`. None for one that stands by itself.
    title, body, edition, category, configuration
        For people. In the file `category` is the key ``class``.
    rank
        Place among the categories of the same body and configuration; a higher one is better. None keeps it
        out of the search for the highest category that passes.
    standing
        The weakest standing of its lines.
    source
        Documents behind all lines.
    contains_uncertainty
        True: the limits already allow for the uncertainty of measurement, so no guard band is taken (a second
        allowance for the same thing would reject good parts).
    normalise, temperature
        Length and temperature that the limits hold for, and how a measurement is brought to them.
    length
        The usual greatest length; it decides nothing.
    lines
        At most one for each parameter.
    dc
        Limits at direct current; never graded.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    base: Text | None = None
    title: Text
    body: Text
    edition: Text
    category: Text = Field(alias="class")
    configuration: Text
    rank: int | None = None
    standing: Standing
    source: Source
    contains_uncertainty: bool = False
    normalise: Normalisation | None = None
    temperature: Temperature | None = None
    length: Length | None = None
    lines: tuple[LimitLine, ...] = Field(min_length=1)
    dc: tuple[DirectCurrent, ...] = ()
    # No key of a file: what reading it found.
    _origin_notes: tuple[str, ...] = PrivateAttr(default=())
    _texts: tuple[str, ...] = PrivateAttr(default=())

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse_two([str(line.parameter) for line in self.lines], "line")
        refuse_two([item.quantity for item in self.dc], "dc limit")
        weakest = worst_standing(*(line.weakest_standing for line in self.lines))
        if self.standing != weakest:
            raise ValueError(f"standing is {self.standing!r} but its weakest line is {weakest!r}")
        if self.needs_length and self.normalise is not None:
            raise ValueError("limits that depend on the length and [normalise] contradict each other")
        return self

    @property
    def origin_notes(self) -> tuple[str, ...]:
        """Which files in place of the shipped ones it was read from, in words; none for one as shipped."""
        return self._origin_notes

    @property
    def texts(self) -> tuple[str, ...]:
        """The text of its file as it was read, then that of the one it is a variant of, and so on."""
        return self._texts

    def read_from(self, origin_notes: tuple[str, ...], texts: tuple[str, ...] = ()) -> Self:
        """Keep where it was read from and what stood there, once, when it was read; return it."""
        self._origin_notes = origin_notes
        self._texts = texts
        return self

    @property
    def needs_length(self) -> bool:
        """True when a limit depends on the length of the specimen."""
        return any(line.needs_length for line in self.lines)

    def allows_for_uncertainty(self, line: LimitLine) -> bool:
        """True when the figures of `line` already contain the uncertainty of measurement."""
        return self.contains_uncertainty if line.contains_uncertainty is None else line.contains_uncertainty

    def line_of(self, parameter: Parameter) -> LimitLine | None:
        """Return the line that limits `parameter`, None when there is none."""
        return next((line for line in self.lines if line.parameter == parameter), None)


def refuse_two(names: list[str], what: str) -> None:
    """Refuse a name that occurs more than once.

    Raises
    ------
    ValueError
    """
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"more than one {what} for {', '.join(twice)}")
