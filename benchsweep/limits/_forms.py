"""The closed set of forms that a limit line can have. f in MHz, length in m, losses in dB, delay in ns.

Every number comes from the requirement's file; here are only the shapes.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from benchsweep.definitions import Definition

__all__ = ["Constant", "CordNext", "Difference", "Form", "LogLine", "PowerTerm", "Powers", "VoltageSum"]

Column = NDArray[np.float64]
Number = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]


def _number(value: float) -> str:
    return f"{value:g}"


class _Form(Definition, ABC):
    """One shape of a limit over frequency."""

    @property
    def needs_length(self) -> bool:
        """True when the value depends on the length of the specimen."""
        return False

    @abstractmethod
    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return ``(n,)`` limit values at `f_mhz`."""

    @abstractmethod
    def words(self) -> str:
        """Return the formula as a person writes it, f in MHz, log to base 10."""


class Constant(_Form):
    """The same value everywhere."""

    form: Literal["constant"]
    level: Number

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the level at every frequency."""
        return np.full(f_mhz.shape, self.level)

    def words(self) -> str:
        """Return the level."""
        return _number(self.level)


class Line(Definition):
    """level - slope log10(f / reference_mhz)."""

    level: Number
    slope: Number
    reference_mhz: Positive = 1.0

    def at(self, f_mhz: Column) -> Column:
        """Return the values at `f_mhz`."""
        return np.asarray(self.level - self.slope * np.log10(f_mhz / self.reference_mhz))

    def text(self) -> str:
        """Return the line as a person writes it."""
        sign = "-" if self.slope >= 0.0 else "+"
        over = "f" if self.reference_mhz == 1.0 else f"(f/{_number(self.reference_mhz)})"
        return f"{_number(self.level)} {sign} {_number(abs(self.slope))} log {over}"


class LogLine(_Form):
    """level - slope log10(f / reference_mhz)."""

    form: Literal["log-line"]
    level: Number
    slope: Number
    reference_mhz: Positive = 1.0

    @property
    def _line(self) -> Line:
        return Line(level=self.level, slope=self.slope, reference_mhz=self.reference_mhz)

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the line at `f_mhz`."""
        return self._line.at(f_mhz)

    def words(self) -> str:
        """Return the line as a person writes it."""
        return self._line.text()


class PowerTerm(Definition):
    """coefficient f^exponent."""

    coefficient: Number
    exponent: Number

    def at(self, f_mhz: Column) -> Column:
        """Return the term at `f_mhz`."""
        return np.asarray(self.coefficient * f_mhz**self.exponent)

    def text(self) -> str:
        """Return the term as a person writes it."""
        names = {0.0: "", 1.0: " f", 0.5: " √f", -0.5: "/√f"}
        return _number(self.coefficient) + names.get(self.exponent, f" f^{_number(self.exponent)}")


def _sum_of(terms: tuple[PowerTerm, ...], f_mhz: Column) -> Column:
    total = terms[0].at(f_mhz)
    for term in terms[1:]:
        total = total + term.at(f_mhz)
    return total


def _sum_text(terms: tuple[PowerTerm, ...]) -> str:
    return " + ".join(term.text() for term in terms).replace("+ -", "- ")


class PowersPart(Definition):
    """A component (cable, connectors, allowance) that counts `factor` times.

    With `of_length` its terms are those of 100 m and it counts `factor` times the length of the specimen over
    100 m: the cable of a link that is not as long as the reference.
    """

    factor: Number = 1.0
    of_length: bool = False
    terms: tuple[PowerTerm, ...] = Field(min_length=1)

    def times(self, length_m: float | None) -> float:
        """Return how often the part counts.

        Raises
        ------
        ValueError
            It counts by length, and there is none.
        """
        if not self.of_length:
            return self.factor
        if length_m is None:
            raise ValueError("a part that counts by the length of the specimen needs it")
        return self.factor * length_m / 100.0

    def text(self) -> str:
        """Return the part as a person writes it."""
        inside = _sum_text(self.terms)
        if self.of_length:
            return f"{'' if self.factor == 1.0 else _number(self.factor) + ' '}L/100 ({inside})"
        return inside if self.factor == 1.0 else f"{_number(self.factor)} ({inside})"


class Powers(_Form):
    """Sum over the parts of factor * sum of coefficient f^exponent."""

    form: Literal["powers"]
    parts: tuple[PowersPart, ...] = Field(min_length=1)

    @property
    def needs_length(self) -> bool:
        """True when a part counts by the length of the specimen."""
        return any(part.of_length for part in self.parts)

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the sum at `f_mhz`.

        Raises
        ------
        ValueError
            A part counts by length, and there is none.
        """
        total = np.zeros(f_mhz.shape)
        for part in self.parts:
            total = total + part.times(length_m) * _sum_of(part.terms, f_mhz)
        return total

    def words(self) -> str:
        """Return the sum as a person writes it."""
        return " + ".join(part.text() for part in self.parts)


class VoltagePart(Line):
    """A component whose loss is a line and whose disturbance counts `weight` times in voltage."""

    weight: Positive = 1.0


class VoltageSum(_Form):
    """-20 log10 of the weighted sum of 10^(-x/20): disturbances added in voltage."""

    form: Literal["voltage-sum"]
    parts: tuple[VoltagePart, ...] = Field(min_length=1)

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the voltage sum at `f_mhz`."""
        total = np.zeros(f_mhz.shape)
        for part in self.parts:
            total = total + part.weight * 10.0 ** (-part.at(f_mhz) / 20.0)
        return np.asarray(-20.0 * np.log10(total))

    def words(self) -> str:
        """Return the sum as a person writes it."""
        inside = " + ".join(
            ("" if part.weight == 1.0 else f"{_number(part.weight)}·") + f"10^(-({part.text()})/20)"
            for part in self.parts
        )
        return f"-20 log( {inside} )"


class CordNext(_Form):
    """NEXT of a cord of a given length between two test heads.

    The near head, the far head seen through twice the loss of the cord and of a connector, and the cable,
    whose NEXT over the length L grows towards that of 100 m::

        IL_L   = derating · IL_cable · L / 100
        heads  = -20 log( 10^(-H/20) + 10^(-(H + 2 (IL_L + IL_k))/20) )
        cable  = NEXT_cable - 10 log( 1 - 10^(-IL_L/5) )                              undivided
        cable  = NEXT_cable - 10 log( (1 - 10^(-IL_L/5)) / (1 - 10^(-IL_100/5)) )     divided
        limit  = -10 log( 10^(-heads/10) + 10^(-(cable + 2 IL_k)/10) ) - allowance
    """

    form: Literal["cord-next"]
    head: Line
    cable_next: Line
    cable_insertion_loss: tuple[PowerTerm, ...] = Field(min_length=1)
    connector_insertion_loss: tuple[PowerTerm, ...] = Field(min_length=1)
    derating: Positive
    allowance: Number
    length_correction: Literal["undivided", "divided"]

    @property
    def needs_length(self) -> bool:
        """True: the limit is one for each length."""
        return True

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the limit of a cord of `length_m` at `f_mhz`.

        Raises
        ------
        ValueError
            No length.
        """
        if length_m is None:
            raise ValueError("the NEXT limit of a cord needs its length")
        per_100_m = self.derating * _sum_of(self.cable_insertion_loss, f_mhz)
        cord = per_100_m * length_m / 100.0
        connector = _sum_of(self.connector_insertion_loss, f_mhz)
        head = self.head.at(f_mhz)
        heads = -20.0 * np.log10(10.0 ** (-head / 20.0) + 10.0 ** (-(head + 2.0 * (cord + connector)) / 20.0))
        part = 1.0 - 10.0 ** (-cord / 5.0)
        if self.length_correction == "divided":
            part = part / (1.0 - 10.0 ** (-per_100_m / 5.0))
        cable = self.cable_next.at(f_mhz) - 10.0 * np.log10(part)
        both = 10.0 ** (-heads / 10.0) + 10.0 ** (-(cable + 2.0 * connector) / 10.0)
        return np.asarray(-10.0 * np.log10(both) - self.allowance)

    def words(self) -> str:
        """Return the parameters of the equation."""
        return (
            f"cord of length L between two heads of {self.head.text()}, cable {self.cable_next.text()} with "
            f"{_number(self.derating)} ({_sum_text(self.cable_insertion_loss)}) L/100, connectors "
            f"{_sum_text(self.connector_insertion_loss)}, less {_number(self.allowance)}, "
            f"length correction {self.length_correction}"
        )


Plain = Annotated[Constant | LogLine | Powers | VoltageSum, Field(discriminator="form")]


class Held(Definition):
    """A form whose values are not taken above `cap` nor below `floor`."""

    limit: Plain
    cap: Number | None = None
    floor: Number | None = None

    def at(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the values at `f_mhz`."""
        value = self.limit.evaluate(f_mhz, length_m)
        if self.cap is not None:
            value = np.minimum(value, self.cap)
        return value if self.floor is None else np.maximum(value, self.floor)

    def text(self) -> str:
        """Return the form and where it is held as a person writes it."""
        words = self.limit.words()
        if self.cap is not None:
            words += f", at most {_number(self.cap)}"
        return words if self.floor is None else f"{words}, at least {_number(self.floor)}"


class Difference(_Form):
    """minuend - subtrahend: the limit of a ratio follows from those of its parts, as that of ACR-N does."""

    form: Literal["difference"]
    minuend: Held
    subtrahend: Held

    @property
    def needs_length(self) -> bool:
        """True when a part depends on the length of the specimen."""
        return self.minuend.limit.needs_length or self.subtrahend.limit.needs_length

    def evaluate(self, f_mhz: Column, length_m: float | None) -> Column:
        """Return the difference at `f_mhz`."""
        return self.minuend.at(f_mhz, length_m) - self.subtrahend.at(f_mhz, length_m)

    def words(self) -> str:
        """Return the difference as a person writes it."""
        return f"[ {self.minuend.text()} ] - [ {self.subtrahend.text()} ]"


Form = Annotated[
    Constant | LogLine | Powers | VoltageSum | CordNext | Difference, Field(discriminator="form")
]
