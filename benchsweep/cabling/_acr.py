from __future__ import annotations

from itertools import permutations

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, Row, ratio, traces_of
from benchsweep.cabling._next import near_end_loss
from benchsweep.records import End, Parameter, SMatrix, Trace

__all__ = ["attenuation_to_crosstalk_far", "attenuation_to_crosstalk_near"]


def attenuation_to_crosstalk_near(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ACR-N: NEXT(i, j) less the insertion loss of the disturbed pair i, in dB.

    Ordered pairs (disturbed i, disturbing j), at the receiver's end; the signal that NEXT disturbs is the
    one that arrives there.
    """
    losses = ModeLosses.of(mixed)
    keys = [(end, (i, j)) for end in ENDS for i, j in permutations(losses.pairs(end), 2)]
    return _below_signal(Parameter.ACR_N, losses, keys, [near_end_loss(losses, end, *p) for end, p in keys])


def attenuation_to_crosstalk_far(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ACR-F: FEXT(i, j) less the insertion loss of the *disturbed* pair i, in dB.

    The disturbed pair as in ISO/IEC 11801 and TIA-568-C; the older ELFEXT of TIA-568-B took the disturbing
    pair. Ordered pairs (disturbed i, disturbing j), at the receiver's end.
    """
    losses = ModeLosses.of(mixed)
    keys = [(end, (i, j)) for end, i, j in losses.far_loss]
    return _below_signal(Parameter.ACR_F, losses, keys, list(losses.far_loss.values()))


def _below_signal(
    parameter: Parameter, losses: ModeLosses, keys: list[tuple[End, tuple[str, str]]], values: list[Row]
) -> tuple[Trace, ...]:
    """Return the traces of losses less the insertion loss of the first pair, where that was measured."""
    through = losses.pairs_at_both_ends()
    there = [number for number, (_, pairs) in enumerate(keys) if pairs[0] in through]
    if not there:
        return ()
    kept = [keys[number] for number in there]
    signal = np.array([losses.through(end, pairs[0]) for end, pairs in kept])
    level = ratio(np.array([values[number] for number in there]), signal)
    return traces_of(parameter, kept, losses.frequency_hz, level)
