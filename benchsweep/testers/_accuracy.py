"""What a field tester's accuracy is declared to be: a file that the laboratory fills from its documents."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from benchsweep.definitions import Definition, list_definitions, validate_model
from benchsweep.errors import DefinitionError
from benchsweep.records import Parameter
from benchsweep.testers._find import definition_text
from benchsweep.testers._placeholders import refuse_placeholders

__all__ = ["DeclaredAccuracy", "accuracies", "accuracy_text", "load_accuracy", "read_accuracy"]

KIND = "accuracies"
_REFERENCE_MHZ = 100.0

Text = Annotated[str, Field(min_length=1)]
Standing = Literal["published", "common-practice", "from-memory"]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class Points(Definition):
    """Figures at frequencies, straight in the logarithm of frequency between them; none outside.

    In dB, for delay and skew in ns.
    """

    frequency_mhz: tuple[Positive, ...] = Field(min_length=1)
    figure: tuple[NotNegative, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _fit(self) -> Points:
        if len(self.frequency_mhz) != len(self.figure):
            raise ValueError("frequency_mhz and figure have not as many numbers")
        if any(b <= a for a, b in zip(self.frequency_mhz, self.frequency_mhz[1:], strict=False)):
            raise ValueError("frequency_mhz must rise")
        return self

    def at(self, mhz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the figures, NaN outside of the points."""
        grid = np.log10(self.frequency_mhz)
        return np.interp(np.log10(mhz), grid, self.figure, left=np.nan, right=np.nan)


class Form(Definition):
    """``a + b lg(f / 100 MHz)``, held between `floor` and `cap`."""

    a: float
    b: float = 0.0
    floor: NotNegative = 0.0
    cap: Positive | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Form:
        if self.cap is not None and self.cap < self.floor:
            raise ValueError("cap is below floor")
        return self

    def at(self, mhz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the figures."""
        return np.clip(self.a + self.b * np.log10(mhz / _REFERENCE_MHZ), self.floor, self.cap)


class Line(Definition):
    """The accuracy of one parameter within a band.

    `meaning` ``expanded``: the figure is an expanded uncertainty (k = 2); ``limits``: the error is nowhere
    larger, all errors within are taken as equally likely: u = figure / sqrt 3, U = 2 u (GUM 4.3.7, JCGM 100).
    `relative_percent` of the value is added to the figure. `near_limit_db`: declared only where the margin is
    not larger.
    """

    parameter: Parameter
    meaning: Literal["expanded", "limits"]
    points: Points | None = None
    form: Form | None = None
    relative_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    from_mhz: Positive | None = None
    to_mhz: Positive | None = None
    near_limit_db: Positive | None = None
    source: Text
    standing: Standing

    @model_validator(mode="after")
    def _one_figure(self) -> Line:
        if self.points is not None and self.form is not None:
            raise ValueError("give points or form, not both")
        if self.points is None and self.form is None and not self.relative_percent:
            raise ValueError("give points, form or relative_percent: nothing is declared")
        if self.from_mhz and self.to_mhz and self.from_mhz >= self.to_mhz:
            raise ValueError("from_mhz is not below to_mhz")
        return self

    @property
    def band(self) -> tuple[float, float]:
        """From and to in MHz, of the points where they are narrower."""
        low, high = self.from_mhz or 0.0, self.to_mhz or np.inf
        if self.points is not None:
            low = max(low, self.points.frequency_mhz[0])
            high = min(high, self.points.frequency_mhz[-1])
        return low, high

    @property
    def is_constant(self) -> bool:
        """The same at every frequency, so that it is also known where none is told."""
        flat = self.points is None and (self.form is None or self.form.b == 0.0)
        return flat and self.from_mhz is None and self.to_mhz is None

    def expanded(self, mhz: NDArray[np.float64], value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the expanded uncertainty at each point, NaN outside of the band."""
        low, high = self.band
        kind = self.points or self.form
        figure = np.zeros(mhz.shape) if kind is None else kind.at(mhz)
        figure = figure + self.relative_percent / 100.0 * np.abs(value)
        factor = 1.0 if self.meaning == "expanded" else 2.0 / np.sqrt(3.0)
        return np.where((mhz >= low) & (mhz <= high), factor * figure, np.nan)


class DeclaredAccuracy(Definition):
    """An accuracy file: how far a field tester may be off, as its documents or its level say.

    Attributes
    ----------
    tester, level
        What the figures are of, in words: type of instrument and its configuration, accuracy level.
    template
        Not filled yet: cannot be used.
    invented
        The figures are of nobody's instrument: told wherever they are used.
    """

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    description: str
    source: Text
    standing: Standing
    tester: str = ""
    level: str = ""
    template: bool = False
    invented: bool = False
    line: tuple[Line, ...] = ()

    @model_validator(mode="after")
    def _told_apart(self) -> DeclaredAccuracy:
        if not self.line and not self.template:
            raise ValueError("no [[line]]: nothing is declared")
        for number, line in enumerate(self.line):
            for other in self.line[:number]:
                low, high = max(line.band[0], other.band[0]), min(line.band[1], other.band[1])
                if other.parameter is line.parameter and low < high:
                    raise ValueError(f"two lines of {line.parameter} between {low:g} and {high:g} MHz")
        return self

    @property
    def doubt(self) -> str:
        """What a reader must know before the figures; empty where there is nothing."""
        if self.invented:
            return f"The declared accuracy {self.name!r} is invented: it is of no instrument."
        if self.standing == "from-memory":
            return f"The declared accuracy {self.name!r} is from memory, not checked against its document."
        return ""

    def lines_of(self, parameter: Parameter) -> tuple[Line, ...]:
        """Return what is declared of a parameter, by frequency."""
        found = [line for line in self.line if line.parameter is parameter]
        return tuple(sorted(found, key=lambda line: line.band))

    def expanded(
        self,
        parameter: Parameter,
        frequency_hz: NDArray[np.float64] | float | None,
        value: NDArray[np.float64] | float,
        margin: NDArray[np.float64] | float | None = None,
    ) -> NDArray[np.float64] | None:
        """Return the expanded uncertainty (k = 2) of values of a parameter, in dB, for delay and skew in ns.

        Parameters
        ----------
        frequency_hz
            ``(n,)`` or a number; None where it is not known: then only what is declared for all frequencies
            alike counts.
        value
            ``(n,)`` or a number: what the tester told.
        margin
            ``(n,)`` or a number; where a line is declared near the limit only, its figures are NaN at larger
            margins. None: the caller compares near the limit only.

        Returns
        -------
        ndarray or None
            ``(n,)``, NaN where nothing is declared; None where nothing is declared anywhere.

        Examples
        --------
        >>> accuracy = load_accuracy("demonstration")
        >>> accuracy.expanded(Parameter.NEXT, 100e6, 40.0).round(3).tolist()
        [1.8]
        """
        lines = self.lines_of(parameter)
        if frequency_hz is None:
            lines = tuple(line for line in lines if line.is_constant)
            frequency_hz = _REFERENCE_MHZ * 1e6
        mhz, told = np.broadcast_arrays(np.atleast_1d(np.asarray(frequency_hz, np.float64)) / 1e6, value)
        whole = np.full(mhz.shape, np.nan)
        for line in lines:
            found = line.expanded(mhz, np.asarray(told, dtype=np.float64))
            if line.near_limit_db is not None and margin is not None:
                found = np.where(np.asarray(margin) <= line.near_limit_db, found, np.nan)
            # Where two bands meet the larger figure counts.
            whole = np.fmax(whole, found)
        return None if np.isnan(whole).all() else whole


def accuracies() -> tuple[str, ...]:
    """Return the names of the accuracy files that can be used without a path, templates too."""
    return tuple(list_definitions(KIND))


def load_accuracy(
    name_or_path: str | Path, *, folders: Sequence[Path] = (), may_be_template: bool = False
) -> DeclaredAccuracy:
    """Return the declared accuracy of that name or path.

    Parameters
    ----------
    folders
        Looked into for ``<name>.toml`` before ``./accuracies/``, the data folder and what is shipped.
    may_be_template
        Return a template, too, which declares nothing: to tell what it is.

    Raises
    ------
    UnknownName
    DefinitionError
        The file is wrong, a template that nobody has filled, or one that is filled in part: a text or figure
        of the shipped template still stands in it.
    """
    where, text = definition_text(KIND, name_or_path, folders)
    accuracy = validate_model(text, DeclaredAccuracy, where=where)
    if accuracy.template and may_be_template:
        return accuracy
    _filled(accuracy, where)
    refuse_placeholders(text, where)
    return accuracy


def accuracy_text(name_or_path: str | Path, *, folders: Sequence[Path] = ()) -> str:
    """Return the text of an accuracy file, to be kept with what it was used for.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return definition_text(KIND, name_or_path, folders)[1]


@lru_cache(maxsize=8)
def read_accuracy(text: str) -> DeclaredAccuracy:
    """Return the declared accuracy that stands in TOML `text`, as `accuracy_text` gave it.

    Raises
    ------
    DefinitionError
    """
    return _filled(validate_model(text, DeclaredAccuracy, where="accuracy"), "accuracy")


def _filled(accuracy: DeclaredAccuracy, where: str) -> DeclaredAccuracy:
    if accuracy.template:
        raise DefinitionError(
            f"{where}: template: is not filled, nothing is declared",
            hint="Copy it with `benchsweep compare mappings template -o ./accuracies/NAME.toml`, write what "
            "the tester's documents say, and remove `template`.",
        )
    return accuracy
