"""What in a tester's result cannot be of this channel as it is named."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._evidence import AllowedErrors, Evidence
from benchsweep.comparison._names import Key, by_key
from benchsweep.comparison._numbers import levelled, numbers_of
from benchsweep.comparison._readings import read_rightly
from benchsweep.comparison._swaps import invisible_swaps, swap_suspicions
from benchsweep.comparison._whole import (
    channel_suspicions,
    length_suspicions,
    limit_suspicions,
    surely_this_channel,
)
from benchsweep.records import FieldResult, LimitCurve, Suspicion, Trace

__all__ = ["suspicions"]

_ANYTHING_ALLOWED = AllowedErrors()


def suspicions(
    result: FieldResult,
    traces: Sequence[Trace],
    limits: Sequence[LimitCurve] = (),
    *,
    exempt: Mapping[Key, NDArray[np.bool_]] | None = None,
    allowed: AllowedErrors = _ANYTHING_ALLOWED,
) -> tuple[Suspicion, ...]:
    """Return what does not fit, those that hinder first.

    In this order: frequencies, signs, units, and margins taken for values (what fits when it is read
    otherwise goes on as if it were read so); another channel or length; exchanged pairs, ends and
    combinations; another limit. A tester whose errors are within `allowed` at three quarters of the points
    that tell two names apart is never suspected of exchanged ones, and one that exchanged them is always
    noticed where there are such points (see `Evidence`).

    Which exchanges would not be noticed, because the channel is too nearly alike or the tester told too
    little, is said too, as a suspicion that does not hinder.

    Parameters
    ----------
    result, traces, limits, exempt
        As in `differences`.
    allowed
        Errors that a tester may have.
    """
    read = read_rightly(result, traces, limits, allowed)
    there = by_key(traces)
    evidence = Evidence(numbers_of(read.result, there, limits, exempt), there, allowed)
    found = list(read.suspicions)
    units = any(suspicion.kind == "unit" for suspicion in found)
    length = () if units else length_suspicions(read.result, traces, limits)
    if length and surely_this_channel(evidence):
        length = ()  # losses and delays that are off are faults of the tester then
    other = length + channel_suspicions(evidence)
    found += other
    # Of another channel no name is right, and none wrong.
    if not other:
        found += swap_suspicions(levelled(evidence)) + invisible_swaps(evidence)
    found += limit_suspicions(read.result, traces, limits, allowed)
    return tuple(sorted(found, key=lambda suspicion: not suspicion.hinders))
