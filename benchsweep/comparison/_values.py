"""What a tester told as values: margins become values by the limit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._grid import limit_at
from benchsweep.comparison._names import Key, curve_of, sense_of
from benchsweep.records import FieldTrace, LimitCurve

__all__ = ["Told", "from_margin", "key_of", "margin_of", "told_values"]


def margin_of(value: NDArray[np.float64], limit: NDArray[np.float64], sense: str) -> NDArray[np.float64]:
    """Return the distance to the limit, positive is good."""
    return value - limit if sense == "min" else limit - value


def from_margin(margin: NDArray[np.float64], limit: NDArray[np.float64], sense: str) -> NDArray[np.float64]:
    """Return the value that has that margin."""
    return limit + margin if sense == "min" else limit - margin


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """A tester's trace as values.

    Parameters
    ----------
    frequency_hz, value
        ``(n_freq,)``; NaN where a margin could not become a value.
    why_not
        What stands in the way, in words; empty when nothing does.
    """

    frequency_hz: NDArray[np.float64]
    value: NDArray[np.float64]
    why_not: str = ""


def told_values(trace: FieldTrace, limits: Iterable[LimitCurve]) -> Told:
    """Return the values of a tester's trace.

    A margin becomes limit + margin where the limit is a minimum, limit - margin where it is a maximum. The
    limit that the tester tells itself is the one its margin was counted against; else it is ours.
    """
    if trace.quantity == "value":
        return Told(trace.frequency_hz, trace.value)
    curve = curve_of(trace.parameter, limits)
    sense = sense_of(trace.parameter, curve)
    if trace.limit is not None:
        return Told(trace.frequency_hz, from_margin(trace.value, trace.limit, sense))
    if curve is None:
        nothing = np.full(trace.frequency_hz.size, np.nan)
        return Told(trace.frequency_hz, nothing, "margins, and the requirement has no limit to add them to")
    limit = limit_at(trace.frequency_hz, curve.frequency_hz, curve.value)
    value = from_margin(trace.value, limit, sense)
    lost = int(np.isnan(value).sum())
    why = f"{lost} points: margins where the requirement has no limit" if lost else ""
    return Told(trace.frequency_hz, value, why)


def key_of(trace: FieldTrace) -> Key:
    """Return parameter, end and pairs in the tester's order."""
    return trace.parameter, trace.end, trace.pairs
