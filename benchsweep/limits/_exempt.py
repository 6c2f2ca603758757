"""Where a line does not count because another parameter of the same pairs says so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._adjust import Key
from benchsweep.limits._line import Exemption
from benchsweep.records import FOUR_PAIRS, End, Parameter, Trace

__all__ = ["Exempt", "exempt_points"]


@dataclass(frozen=True, slots=True, eq=False)
class Exempt:
    """Which points of a trace do not count.

    `points` is ``(n,)`` bool, None where all count; `missing` names what would have to be measured to tell.
    """

    points: NDArray[np.bool_] | None = None
    missing: str = ""


def exempt_points(
    rule: Exemption | None, key: Key, frequency_hz: NDArray[np.float64], measured: Mapping[Key, Trace]
) -> Exempt:
    """Return the points of a trace that do not count: those where every pair concerned meets the condition.

    Values as measured decide. Where one is missing every point counts: an exemption has to be shown.
    """
    if rule is None:
        return Exempt()
    points: NDArray[np.bool_] | None = None
    for place in _concerned(rule, key):
        trace = next((measured[at] for at in place if at in measured), None)
        if trace is None or not np.array_equal(trace.frequency_hz, frequency_hz):
            parameter, _, pairs = place[0]
            return Exempt(missing=f"{parameter.term} of {' and '.join(pairs)}")
        met = rule.met(trace.value)
        points = met if points is None else points & met
    return Exempt(points)


def _concerned(rule: Exemption, key: Key) -> Iterator[tuple[Key, ...]]:
    """Yield, for every pair concerned, the traces of which one has to be there."""
    _, end, pairs = key
    if rule.parameter is Parameter.FEXT:
        disturbing = pairs[1:] or tuple(pair for pair in FOUR_PAIRS if pair != pairs[0])
        for pair in disturbing:
            yield ((Parameter.FEXT, end, (pairs[0], pair)),)
        return
    # The loss is the same both ways; the receiver's end comes first.
    other: End = "A" if end == "B" else "B"
    for pair in pairs:
        yield tuple((Parameter.INSERTION_LOSS, at, (pair,)) for at in (end, other))
