"""Kinds of parameters: how each is read from a message and written into an answer.

Answers follow the usual spelling: numbers with a sign, booleans 0 or 1, character data in the short form.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from benchsweep.simulator.scpi._grammar import Form, Parameter
from benchsweep.simulator.scpi._messages import ScpiFault

__all__ = [
    "Boolean",
    "Choice",
    "Integer",
    "Kind",
    "Limits",
    "Name",
    "Number",
    "Text",
    "integer_text",
    "number_text",
    "string_text",
]

Device = TypeVar("Device")
_NOT_ALLOWED = {
    Form.NUMBER: -128,
    Form.WORD: -148,
    Form.STRING: -158,
    Form.BLOCK: -168,
    Form.EXPRESSION: -178,
}
_MULTIPLIERS = {
    "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3, "": 1.0,
    "M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}  # fmt: skip
# With hertz and ohm, M means mega (IEEE 488.2, suffix multipliers).
_MEGA_UNITS = ("HZ", "OHM")


def number_text(value: float) -> str:
    """Return `value` as NR3 with twelve significant digits."""
    return f"{value:+.11E}"


def integer_text(value: int) -> str:
    """Return `value` as NR1 with its sign."""
    return f"{value:+d}"


def string_text(value: str) -> str:
    """Return `value` in double quotes, doubling those inside."""
    doubled = value.replace('"', '""')
    return f'"{doubled}"'


@dataclass(frozen=True, slots=True)
class Limits:
    """Smallest, largest and preset value of a number."""

    smallest: float
    largest: float
    preset: float

    def named(self, word: str) -> float | None:
        """Return the value that MINimum, MAXimum or DEFault means, or None for another word."""
        if word in ("MIN", "MINIMUM"):
            return self.smallest
        if word in ("MAX", "MAXIMUM"):
            return self.largest
        return self.preset if word in ("DEF", "DEFAULT") else None


class Kind(ABC, Generic[Device]):
    """A kind of parameter of an instrument of class `Device`."""

    @abstractmethod
    def decode(self, parameter: Parameter, device: Device) -> object:
        """Return the value of `parameter`.

        Raises
        ------
        ScpiFault
            -1xx wrong form, -222 out of range, -224 not one of the legal values.
        """

    @abstractmethod
    def encode(self, value: Any) -> str:
        """Return `value` as an answer."""

    def refuse(self, parameter: Parameter, *allowed: Form) -> None:
        """Raise the error of a form that is not allowed."""
        if parameter.form not in allowed:
            raise ScpiFault(_NOT_ALLOWED[parameter.form])


class Number(Kind[Device]):
    """A real number with an optional unit, or MIN, MAX, DEF.

    Parameters
    ----------
    limits
        Limits, or a function of the instrument that gives them.
    unit
        ``HZ``, ``S``, ``DBM`` or empty: no unit allowed.
    """

    def __init__(self, limits: Limits | Callable[[Device], Limits], unit: str = "") -> None:
        self._limits = limits
        self._unit = unit

    def limits(self, device: Device) -> Limits:
        """Return the limits in force."""
        return self._limits if isinstance(self._limits, Limits) else self._limits(device)

    def decode(self, parameter: Parameter, device: Device) -> float:
        """Return the number in the base unit."""
        limits = self.limits(device)
        if parameter.form is Form.WORD:
            named = limits.named(parameter.text)
            if named is None:
                raise ScpiFault(-141, parameter.text)
            return named
        self.refuse(parameter, Form.NUMBER)
        value = parameter.number * self._multiplier(parameter.suffix)
        if not limits.smallest <= value <= limits.largest:
            raise ScpiFault(-222, f"{value:.12g}, allowed {limits.smallest:.12g} to {limits.largest:.12g}")
        return value

    def _multiplier(self, suffix: str) -> float:
        if not suffix:
            return 1.0
        if not self._unit:
            raise ScpiFault(-138, suffix)
        prefix = suffix.removesuffix(self._unit)
        if not suffix.endswith(self._unit) or prefix not in _MULTIPLIERS or (self._unit == "DBM" and prefix):
            raise ScpiFault(-131, suffix)
        return 1e6 if prefix == "M" and self._unit in _MEGA_UNITS else _MULTIPLIERS[prefix]

    def encode(self, value: Any) -> str:
        """Return the number as NR3."""
        return number_text(float(value))


class Integer(Number[Device]):
    """A whole number; a broken one is rounded, as IEEE 488.2 asks of a receiver of NRf."""

    def decode(self, parameter: Parameter, device: Device) -> int:
        """Return the rounded number."""
        return round(super().decode(parameter, device))

    def encode(self, value: Any) -> str:
        """Return the number as NR1."""
        return integer_text(int(value))


class Boolean(Kind[Device]):
    """``ON``, ``OFF`` or a number, of which everything that rounds to zero is off."""

    def decode(self, parameter: Parameter, device: Device) -> bool:
        """Return True for on."""
        self.refuse(parameter, Form.NUMBER, Form.WORD)
        if parameter.form is Form.WORD:
            if parameter.text not in ("ON", "OFF"):
                raise ScpiFault(-141, parameter.text)
            return parameter.text == "ON"
        if parameter.suffix:
            raise ScpiFault(-138, parameter.suffix)
        return not -0.5 < parameter.number < 0.5

    def encode(self, value: Any) -> str:
        """Return ``1`` or ``0``."""
        return "1" if value else "0"


class Choice(Kind[Device]):
    """Character data out of a list; each in its long or short form, answered in the short form.

    Parameters
    ----------
    words
        Spelled as in manuals: ``SINGle``.
    """

    def __init__(self, *words: str) -> None:
        self._short: dict[str, str] = {}
        for word in words:
            short = "".join(c for c in word if not c.islower())
            self._short[short] = self._short[word.upper()] = short

    def decode(self, parameter: Parameter, device: Device) -> str:
        """Return the short form."""
        self.refuse(parameter, Form.WORD)
        if parameter.text not in self._short:
            raise ScpiFault(
                -224, f"{parameter.text}, allowed {', '.join(dict.fromkeys(self._short.values()))}"
            )
        return self._short[parameter.text]

    def encode(self, value: Any) -> str:
        """Return the short form."""
        return str(value)


class Text(Kind[Device]):
    """A string in single or double quotes."""

    def decode(self, parameter: Parameter, device: Device) -> str:
        """Return the string."""
        self.refuse(parameter, Form.STRING)
        return parameter.text

    def encode(self, value: Any) -> str:
        """Return the string in double quotes."""
        return string_text(str(value))


class Name(Kind[Device]):
    """A bare word such as ``S21``, or the same in quotes."""

    def decode(self, parameter: Parameter, device: Device) -> str:
        """Return the word in upper case."""
        self.refuse(parameter, Form.WORD, Form.STRING)
        return parameter.text.upper()

    def encode(self, value: Any) -> str:
        """Return the bare word."""
        return str(value)
