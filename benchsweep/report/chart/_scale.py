"""From values to places in the drawing, and the round numbers written along an axis."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from benchsweep.report.chart._model import Floats

__all__ = ["Scale", "Tick", "linear_ticks", "log_ticks", "minor_places", "widened"]

Tick = tuple[float, str]
_FAR = 3000.0
_STEPS = (1.0, 2.0, 5.0)
_FEWEST, _MOST = 3, 9
_FINEST = 1e-9


@dataclass(frozen=True, slots=True)
class Scale:
    """Maps `low` to `start` and `high` to `stop` (drawing units), in proportion or to its logarithm."""

    low: float
    high: float
    start: float
    stop: float
    log: bool = False

    def __call__(self, values: Floats) -> Floats:
        """Return places; what is infinite or far outside is put far outside, what has no place is NaN."""
        with np.errstate(all="ignore"):
            if self.log:
                place = np.log(np.where(values > 0.0, values, np.nan) / self.low)
                place *= (self.stop - self.start) / math.log(self.high / self.low)
            else:
                # Halves: the difference of two very large numbers is no number.
                place = 0.5 * values
                place -= 0.5 * self.low
                place *= (self.stop - self.start) / (0.5 * self.high - 0.5 * self.low)
            place += self.start
            np.minimum(place, _FAR, out=place)
            np.maximum(place, -_FAR, out=place)
        return place

    def at(self, value: float) -> float:
        """Return the place of one value, as of many."""
        if math.isnan(value) or (self.log and value <= 0.0):
            return math.nan
        if self.log:
            share = (
                math.log(value / self.low) / math.log(self.high / self.low) if value < math.inf else math.inf
            )
        else:
            share = (value / 2.0 - self.low / 2.0) / (self.high / 2.0 - self.low / 2.0)
        return min(max(self.start + share * (self.stop - self.start), -_FAR), _FAR)

    def values(self, shares: Floats) -> Floats:
        """Return the values at shares of the way from `low` to `high`."""
        if self.log:
            return self.low * np.exp(shares * math.log(self.high / self.low))
        return self.low * (1.0 - shares) + self.high * shares

    def shows(self, value: float) -> bool:
        """Return whether a value lies between the ends."""
        return self.low <= value <= self.high


def widened(low: float, high: float, *, log: bool = False) -> tuple[float, float]:
    """Return the ends of an axis that can be drawn: apart, finite, and greater than zero if logarithmic."""
    low, high = (float(np.clip(edge, -1e300, 1e300)) for edge in sorted((low, high)))
    if log:
        high = max(high, 1e-290)
        low = low if low > 0.0 else high / 1000.0
        return (low, high) if high > low * (1.0 + _FINEST) else (low / 1.1, high * 1.1)
    if high - low > _FINEST * max(abs(low), abs(high)):
        return low, high
    half = max(0.5, 5.0 * _FINEST * abs(low)) if low or high else 0.5
    return low - half, high + half


@lru_cache(256)
def linear_ticks(low: float, high: float, room: int) -> Sequence[Tick]:
    """Return three to nine round numbers from `low` to `high`, about `room`: steps of 1, 2 or 5 x 10^n."""
    room = min(max(room, _FEWEST), _MOST)
    span = high - low
    if not math.isfinite(span):
        return ((low, _number(low, 0)), (0.0, "0"), (high, _number(high, 0)))
    best: list[float] = []
    power = math.floor(math.log10(span / room)) - 1
    for exponent in range(power, power + 4):
        for factor in _STEPS:
            found = _multiples(low, high, factor, exponent)
            if _FEWEST <= len(found) <= _MOST and (not best or len(found) >= room):
                best = found
    step = best[1] - best[0]
    return _worded(best, step)


def _multiples(low: float, high: float, factor: float, exponent: int) -> list[float]:
    """Return the multiples of a step in the range; those that a rounding puts outside are taken in."""
    # Powers of ten below 1 are divided by: the quotient is the decimal number, the product is not.
    step, over = (factor * 10.0**exponent, 1.0) if exponent >= 0 else (factor, 10.0**-exponent)
    first, last = math.ceil(low * over / step - 1e-6), math.floor(high * over / step + 1e-6)
    if last - first > 2 * _MOST:
        return []
    values = [k * step / over for k in range(first, last + 1)]
    inside = [value for value in values if low <= value <= high or _same(value, low) or _same(value, high)]
    return [min(max(value, low), high) for value in inside]


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= _FINEST * max(abs(one), abs(other))


def _worded(values: Sequence[float], step: float) -> tuple[Tick, ...]:
    largest = max(abs(value) for value in values)
    power = math.floor(math.log10(largest)) if largest else 0
    finest = math.floor(math.log10(abs(step)) + 1e-9)
    if -5 < finest and power < 6:
        words: Callable[[float], str] = lambda value: _fixed(value, max(-finest, 0))  # noqa: E731
    else:
        digits = max(power - finest, 0)
        words = lambda value: _number(value, digits)  # noqa: E731
    return tuple((value, words(value)) for value in values)


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return _signed(text if float(text) else text.removeprefix("-"))


def _number(value: float, digits: int) -> str:
    """Return a number with a power of ten: ``2.5e6``."""
    if value == 0.0:
        return "0"
    mantissa, exponent = f"{value:.{digits}e}".split("e")
    return _signed(f"{mantissa}e{int(exponent)}")


def _signed(text: str) -> str:
    return text.replace("-", "\N{MINUS SIGN}")


def log_ticks(
    low: float, high: float, place: Callable[[float], float], width: Callable[[str], float]
) -> list[Tick]:
    """Return the numbers along a logarithmic axis: powers of ten, 2 and 5 between them if there is room.

    Parameters
    ----------
    low, high
        Ends of the axis; its upper end is always labelled.
    place, width
        Where a value lies and how wide its words are, both in drawing units: words never meet.
    """
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    end = (high, _plain(high))
    stride = max(1, -(-(last - first) // 6))
    choices = [
        _inside(low, high, range(first, last + 1), (1, 2, 5)),
        _inside(low, high, range(first, last + 1), (1, 3)),
        _inside(low, high, range(first - first % stride, last + 1, stride), (1,)),
    ]
    if len(choices[0]) < _FEWEST:
        choices.insert(0, _inside(low, high, range(first, last + 1), range(1, 10)))
    for values in choices:
        ticks = _with_end([(value, _plain(value)) for value in values], end, place, width)
        if _FEWEST <= len(ticks) <= _MOST and _clear(ticks, place, width):
            return ticks
    kept = [end]
    for tick in reversed(linear_ticks(low, high, 4)):
        if tick[1] != end[1] and _apart(tick, kept[0], place, width):
            kept.insert(0, tick)
    return kept


def _inside(low: float, high: float, powers: Sequence[int], factors: Sequence[int]) -> list[float]:
    values = [float(f"{factor}e{power}") for power in powers for factor in factors]
    return [value for value in values if low * (1 - _FINEST) <= value <= high * (1 + _FINEST)]


def _plain(value: float) -> str:
    text = f"{value:.5g}"
    return _signed(text.replace("e-0", "e-").replace("e+0", "e").replace("e+", "e"))


def _with_end(
    ticks: Sequence[Tick], end: Tick, place: Callable[[float], float], width: Callable[[str], float]
) -> list[Tick]:
    """Return the ticks with the end of the axis; those that would meet its words give way."""
    return [*(tick for tick in ticks if tick[1] != end[1] and _apart(tick, end, place, width)), end]


def _apart(one: Tick, other: Tick, place: Callable[[float], float], width: Callable[[str], float]) -> bool:
    return place(other[0]) - place(one[0]) >= (width(one[1]) + width(other[1])) / 2.0 + 2.0


def _clear(ticks: Sequence[Tick], place: Callable[[float], float], width: Callable[[str], float]) -> bool:
    return all(_apart(one, other, place, width) for one, other in pairwise(ticks))


def minor_places(low: float, high: float) -> list[float]:
    """Return 1, 2 ... 9 times each power of ten on the axis; none where there are too many."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    return _inside(low, high, range(first, last + 1), range(1, 10)) if last - first <= 6 else []
