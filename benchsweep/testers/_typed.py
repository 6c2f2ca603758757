"""Numbers of a field tester that a person types in: its worst margins, single values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from benchsweep.definitions import did_you_mean
from benchsweep.errors import UsageError
from benchsweep.records import End, FieldPoint, FieldResult, Parameter
from benchsweep.testers._block import LEAST_HZ, LEAST_LOSS, MOST_HZ
from benchsweep.testers._mapping import Names
from benchsweep.testers._names import WITHOUT_END, Translator, WrongName, right_pairs, usual_key
from benchsweep.testers._units import FREQUENCY_UNITS, TIME_UNITS, same_unit

__all__ = ["typed_points"]

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_GLUED = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))([A-Za-z\u00b5\u03bc]+)")
_KEYWORDS = ("margin", "value", "limit", "at")
_MOST_WORDS = 40
_EXAMPLE = 'Write for example "next A 36-45 margin 3.2 at 233.5 MHz" or "delay 12 value 498 ns".'


def typed_points(  # what a file says of itself is given beside the numbers
    texts: Sequence[str],
    *,
    at: str = "",
    by: str = "",
    tester: str = "",
    channel: str = "",
    requirement: str = "",
    outcome: Literal["", "pass", "fail"] = "",
) -> FieldResult:
    """Read typed-in numbers: parameter, end, pairs, then margin, value or limit, then ``at`` a frequency.

    Parameters
    ----------
    texts
        One number each, such as ``next A 36-45 margin 3.2 at 233.5 MHz``. Decibels, and nanoseconds for delay
        and skew, are meant where no unit stands; a frequency needs one. Of two pairs the receiving is first.
    at, by, tester, channel, requirement, outcome
        As `FieldResult`.

    Raises
    ------
    UsageError
        A text that is not so; the message names the word that is wrong. The same number twice.

    Examples
    --------
    >>> point = typed_points(["return loss B 12 margin 1.8 dB at 0.1 GHz"]).points[0]
    >>> point.parameter.value, point.end, point.margin, point.frequency_hz
    ('return_loss', 'B', 1.8, 100000000.0)
    """
    if not texts:
        raise UsageError("no number is given", hint=_EXAMPLE)
    points: dict[tuple[object, ...], FieldPoint] = {}
    for text in texts:
        point = _Words(text).point()
        key = (point.parameter, point.end, point.pairs, point.frequency_hz)
        if key in points:
            raise UsageError(f"{text!r}: the same parameter, end, pairs and frequency were given before")
        points[key] = point
    return FieldResult(
        points=tuple(points.values()),
        at=at,
        by=by,
        tester=tester,
        channel=channel,
        requirement=requirement,
        outcome=outcome,
        notes=("typed in",),
    )


class _Words:
    """The words of one text, read from the left."""

    def __init__(self, text: str) -> None:
        self._text = text if len(text) <= 200 else f"{text[:200]}…"
        self._words = text.split()
        self._names = Translator(Names())
        if len(self._words) > _MOST_WORDS:
            raise self._wrong(f"more than {_MOST_WORDS} words")

    def _wrong(self, why: str, hint: str = _EXAMPLE) -> UsageError:
        return UsageError(f"{self._text!r}: {why}", hint=hint)

    def point(self) -> FieldPoint:
        """Return what the text says."""
        start = next((n for n, word in enumerate(self._words) if word.lower() in _KEYWORDS), None)
        if start is None:
            raise self._wrong("neither margin nor value")
        parameter, end, pairs = self._whose(self._words[:start])
        told = self._numbers(self._words[start:], parameter)
        if "margin" not in told and "value" not in told:
            raise self._wrong("neither margin nor value")
        for name in ("value", "limit"):
            least = 0.0 if parameter in WITHOUT_END else LEAST_LOSS
            if told.get(name, least) < least and not parameter.value.endswith("acr_n"):
                raise self._wrong(f"{name} {told[name]:g} is less than nothing: losses are positive")
        return FieldPoint(
            parameter,
            end,
            pairs,
            margin=told.get("margin"),
            value=told.get("value"),
            limit=told.get("limit"),
            frequency_hz=told.get("at"),
        )

    def _whose(self, words: Sequence[str]) -> tuple[Parameter, End | None, tuple[str, ...]]:
        """Read parameter, end and pairs; the parameter is as many words as it can be."""
        for count in range(len(words), 0, -1):
            try:
                parameter = self._names.parameter(" ".join(words[:count]))
                break
            except WrongName:
                continue
        else:
            first = words[0] if words else ""
            near = did_you_mean(first, [one.value for one in Parameter]) if first else ""
            raise self._wrong(
                f"no parameter is called {first!r}{near}" if first else "it begins without a parameter",
                f"Parameters: {', '.join(Parameter)}.",
            )
        end: End | None = None
        pairs: tuple[str, ...] | None = None
        for word in words[count:]:
            if word in ("A", "B", "a", "b") and end is None:
                end = "A" if word in "Aa" else "B"
            elif pairs is None:
                try:
                    pairs = self._names.pairs(word)
                except WrongName:
                    raise self._wrong(f"{word!r} is neither an end (A, B) nor pairs (12, 36-45)") from None
            else:
                raise self._wrong(f"{word!r} is one word too many before the number")
        try:
            return usual_key(parameter, end, right_pairs(parameter, end, pairs or ()))
        except WrongName as error:
            raise self._wrong(str(error)) from None

    def _numbers(self, words: Sequence[str], parameter: Parameter) -> dict[str, float]:
        """Read keyword, number and unit, again and again."""
        rest = [part for word in words for part in self._apart(word)]
        told: dict[str, float] = {}
        while rest:
            keyword = rest.pop(0).lower()
            if keyword not in _KEYWORDS:
                raise self._wrong(f"{keyword!r} is none of {', '.join(_KEYWORDS)}")
            if keyword in told:
                raise self._wrong(f"{keyword} stands there twice")
            if not rest:
                raise self._wrong(f"no number behind {keyword!r}")
            number = self._number(rest.pop(0))
            unit = rest.pop(0) if rest and rest[0].lower() not in _KEYWORDS else ""
            told[keyword] = (
                self._frequency(number, unit) if keyword == "at" else self._sized(number, unit, parameter)
            )
        return told

    def _apart(self, word: str) -> tuple[str, ...]:
        """Return a number and the unit glued to it apart."""
        found = _GLUED.fullmatch(word)
        return (word,) if found is None or _NUMBER.fullmatch(word) else (found[1], found[2])

    def _number(self, word: str) -> float:
        if _NUMBER.fullmatch(word) is None:
            hint = "Write a decimal point." if re.fullmatch(r"[+-]?\d+,\d+", word) else _EXAMPLE
            raise self._wrong(f"{word!r} is no number", hint)
        number = float(word)
        if abs(number) > 1e12:
            raise self._wrong(f"{word!r} is too large")
        return number

    def _frequency(self, number: float, unit: str) -> float:
        factor = FREQUENCY_UNITS.get(same_unit(unit) or "")
        if factor is None:
            why = f"{unit!r} is no unit of frequency" if unit else "the frequency has no unit"
            raise self._wrong(why, f"Units: {', '.join(FREQUENCY_UNITS)}.")
        if not LEAST_HZ <= number * factor <= MOST_HZ:
            raise self._wrong(f"{number:g} {unit} is no frequency of balanced cabling")
        return number * factor

    def _sized(self, number: float, unit: str, parameter: Parameter) -> float:
        known = TIME_UNITS if parameter in WITHOUT_END else {"dB": 1.0}
        if not unit:
            return number
        factor = known.get(same_unit(unit) or "")
        if factor is None:
            raise self._wrong(f"{unit!r} is no unit of {parameter.term}", f"Units: {', '.join(known)}.")
        return number * factor
