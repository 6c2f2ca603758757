from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Field, model_validator

from benchsweep.definitions import Definition, find_definition, list_definitions, load_model
from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.limits._forms import Form, Number, Positive
from benchsweep.records import Parameter

__all__ = [
    "Band",
    "Exemption",
    "LimitLine",
    "Requirement",
    "Source",
    "Standing",
    "list_requirements",
    "load_requirement",
    "parse_parameter",
    "worst_standing",
]

Standing = Literal["published", "common-practice", "from-memory"]
_STANDINGS: tuple[Standing, ...] = ("published", "common-practice", "from-memory")
_KIND = "requirements"
_EDGE = 1e-9

Text = Annotated[str, Field(min_length=1)]


def worst_standing(*standings: Standing) -> Standing:
    """Return the weakest of some standings."""
    return max(standings, key=_STANDINGS.index)


class Band(Definition):
    """A form and the frequencies (MHz, both included) where it applies.

    Where two bands meet, the lower one holds the common frequency. `standing` is given where it differs
    from that of the line.
    """

    from_mhz: Positive
    to_mhz: Positive
    limit: Form
    standing: Standing | None = None

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.to_mhz <= self.from_mhz:
            raise ValueError(f"to_mhz {self.to_mhz:g} must be above from_mhz {self.from_mhz:g}")
        return self


class Exemption(Definition):
    """The line does not count at frequencies where another parameter of the same pair is below a value."""

    parameter: Parameter
    below: Positive
    standing: Standing
    note: str = ""


class LimitLine(Definition):
    """The limit of one parameter.

    Parameters
    ----------
    parameter, sense
        What is limited; ``min``: values below fail, ``max``: values above fail.
    bands
        Rising, not overlapping.
    cap, floor
        The limit is not taken above / below this value.
    exempt_where
        Where the line does not count.
    contains_uncertainty
        True: the figures already allow for the uncertainty of measurement, so no guard band is taken; None:
        as the requirement says.
    standing, source, note
        Standing of the figures, the document and clause or table they come from, what a reader must know.
    """

    parameter: Parameter
    sense: Literal["min", "max"]
    bands: tuple[Band, ...] = Field(min_length=1)
    cap: Number | None = None
    floor: Number | None = None
    exempt_where: Exemption | None = None
    contains_uncertainty: bool | None = None
    standing: Standing
    source: Text
    note: str = ""

    @model_validator(mode="after")
    def _bands_in_order(self) -> Self:
        for lower, upper in zip(self.bands, self.bands[1:], strict=False):
            if upper.from_mhz < lower.to_mhz:
                raise ValueError(f"{self.parameter}: bands overlap or fall at {upper.from_mhz:g} MHz")
        return self

    @property
    def from_mhz(self) -> float:
        """Lowest frequency of the line."""
        return self.bands[0].from_mhz

    @property
    def to_mhz(self) -> float:
        """Highest frequency of the line."""
        return self.bands[-1].to_mhz

    @property
    def needs_length(self) -> bool:
        """True when the limit depends on the length of the specimen."""
        return any(band.limit.needs_length for band in self.bands)

    @property
    def weakest_standing(self) -> Standing:
        """The weakest standing of the line and its bands."""
        return worst_standing(self.standing, *(band.standing for band in self.bands if band.standing))

    def band_of(self, f_mhz: NDArray[np.float64]) -> NDArray[np.intp]:
        """Return for each frequency the index of its band, -1 where the line sets no limit."""
        index = np.full(f_mhz.shape, -1, dtype=np.intp)
        for number in reversed(range(len(self.bands))):
            band = self.bands[number]
            inside = (f_mhz >= band.from_mhz * (1.0 - _EDGE)) & (f_mhz <= band.to_mhz * (1.0 + _EDGE))
            index[inside] = number
        return index

    def evaluate(self, f_mhz: NDArray[np.float64], length_m: float | None) -> NDArray[np.float64]:
        """Return ``(n,)`` limit values, NaN where the line sets none."""
        index = self.band_of(f_mhz)
        value = np.full(f_mhz.shape, np.nan)
        for number, band in enumerate(self.bands):
            chosen = index == number
            if chosen.any():
                value[chosen] = band.limit.evaluate(f_mhz[chosen], length_m)
        if self.cap is not None:
            value = np.minimum(value, self.cap)
        return value if self.floor is None else np.maximum(value, self.floor)


class Source(Definition):
    """Where a requirement comes from, and how far its figures were checked."""

    document: Text
    checked: Text
    note: str = ""


class Requirement(Definition):
    """A set of limit lines of one standard, edition, category and configuration.

    Parameters
    ----------
    name
        Its id, the name of the file.
    title, body, edition, category, configuration
        For people. In the file `category` is the key ``class``.
    standing
        The weakest standing of its lines.
    source
        Documents behind all lines.
    contains_uncertainty
        True: the limits already allow for the uncertainty of measurement, so no guard band is taken (a second
        allowance for the same thing would reject good parts).
    lines
        At most one for each parameter.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    title: Text
    body: Text
    edition: Text
    category: Text = Field(alias="class")
    configuration: Text
    standing: Standing
    source: Source
    contains_uncertainty: bool = False
    lines: tuple[LimitLine, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        parameters = [line.parameter for line in self.lines]
        twice = sorted({str(parameter) for parameter in parameters if parameters.count(parameter) > 1})
        if twice:
            raise ValueError(f"more than one line for {', '.join(twice)}")
        weakest = worst_standing(*(line.weakest_standing for line in self.lines))
        if self.standing != weakest:
            raise ValueError(f"standing is {self.standing!r} but its weakest line is {weakest!r}")
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


def load_requirement(name: str) -> Requirement:
    """Return the requirement of that name, or of the TOML file that `name` is.

    A file in ``./requirements/`` or in the data folder wins over the shipped one of the same name.

    Raises
    ------
    UnknownName
        No such requirement; the message lists what there is.
    DefinitionError
        The file is wrong.
    """
    path = find_definition(_KIND, name)
    requirement = load_model(path, Requirement)
    if path.stem == name and requirement.name != name:
        raise DefinitionError(
            f"{path}: name: {requirement.name!r} is not the name of the file",
            hint=f"Set name = {name!r} or rename the file to {requirement.name}.toml.",
        )
    return requirement


def list_requirements() -> tuple[Requirement, ...]:
    """Return every requirement in force, by name.

    Raises
    ------
    DefinitionError
        A file is wrong.
    """
    return tuple(load_requirement(name) for name in list_definitions(_KIND))


def parse_parameter(text: str) -> Parameter:
    """Return the parameter that `text` names; case and the choice of ``-`` or ``_`` do not matter.

    Raises
    ------
    UnknownName
        No such parameter; the message lists what there is.

    Examples
    --------
    >>> parse_parameter("Return-Loss").value
    'return_loss'
    """
    try:
        return Parameter(text.strip().lower().replace("-", "_"))
    except ValueError:
        raise UnknownName(
            f"no parameter named {text!r}; there are: {', '.join(Parameter)}",
            hint="Give one of these names.",
        ) from None
