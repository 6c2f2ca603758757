from __future__ import annotations

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, Place, Row, Rows, loss_of_power, ratio, traces_of
from benchsweep.cabling._next import near_end_power
from benchsweep.records import FOUR_PAIRS, Parameter, SMatrix, Trace

__all__ = ["power_sum_acr_far", "power_sum_acr_near", "power_sum_next"]

# A power sum over fewer than all disturbers would look better than the specimen is, so it gives no trace.
_DISTURBERS = len(FOUR_PAIRS) - 1


Sums = tuple[list[Place], Rows]
"""Receiving ports and the power sums there, as losses in dB."""


def _near_sums(losses: ModeLosses) -> Sums:
    return _sums(
        {
            (end, i): [near_end_power(losses, end, i, j) for j in losses.pairs(end) if j != i]
            for end in ENDS
            for i in losses.pairs(end)
        }
    )


def _far_sums(losses: ModeLosses) -> Sums:
    parts: dict[Place, list[Row]] = {}
    for (end, disturbed, _), power in losses.far_power.items():
        parts.setdefault((end, disturbed), []).append(power)
    return _sums(parts)


def _sums(parts: dict[Place, list[Row]]) -> Sums:
    whole = {place: powers for place, powers in parts.items() if len(powers) == _DISTURBERS}
    if not whole:
        return [], np.empty((0, 0))
    first, second, third = (np.array(powers) for powers in zip(*whole.values(), strict=True))
    return list(whole), loss_of_power(first + second + third)


def _below_signal(parameter: Parameter, losses: ModeLosses, sums: Sums) -> tuple[Trace, ...]:
    places, values = sums
    through = losses.pairs_at_both_ends()
    there = [number for number, (_, pair) in enumerate(places) if pair in through]
    if not there:
        return ()
    signal = np.array([losses.through(*places[number]) for number in there])
    return traces_of(
        parameter,
        [(places[number][0], (places[number][1],)) for number in there],
        losses.frequency_hz,
        ratio(values[there], signal),
    )


def power_sum_next(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS NEXT of every pair at every end: -10 log10 of the sum of 10^(-NEXT/10), in dB.

    All three disturbing pairs must have been measured.
    """
    losses = ModeLosses.of(mixed)
    places, values = _near_sums(losses)
    keys = [(end, (pair,)) for end, pair in places]
    return traces_of(Parameter.PS_NEXT, keys, losses.frequency_hz, values)


def power_sum_acr_near(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS ACR-N: PS NEXT less the insertion loss of the pair, at the receiver's end, in dB."""
    losses = ModeLosses.of(mixed)
    return _below_signal(Parameter.PS_ACR_N, losses, _near_sums(losses))


def power_sum_acr_far(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS ACR-F: the power sum of FEXT less the insertion loss of the disturbed pair, in dB.

    Equal to the power sum of the three ACR-F of the pair, which share that insertion loss.
    """
    losses = ModeLosses.of(mixed)
    return _below_signal(Parameter.PS_ACR_F, losses, _far_sums(losses))
