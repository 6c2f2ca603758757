from __future__ import annotations

from itertools import permutations

from benchsweep.cabling._fext import far_end_combinations, far_end_loss
from benchsweep.cabling._losses import ENDS, ModeLosses, ratio, trace_of
from benchsweep.cabling._next import near_end_loss
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["attenuation_to_crosstalk_far", "attenuation_to_crosstalk_near"]


def attenuation_to_crosstalk_near(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ACR-N: NEXT(i, j) less the insertion loss of the disturbed pair i, in dB.

    Ordered pairs (disturbed i, disturbing j), at the receiver's end; the signal that NEXT disturbs is the
    one that arrives there.
    """
    losses = ModeLosses.of(mixed)
    through = losses.pairs_at_both_ends()
    return tuple(
        trace_of(
            Parameter.ACR_N,
            end,
            (i, j),
            losses.frequency_hz,
            ratio(near_end_loss(losses, end, i, j), losses.through(end, i)),
        )
        for end in ENDS
        for i, j in permutations(losses.pairs(end), 2)
        if i in through
    )


def attenuation_to_crosstalk_far(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ACR-F: FEXT(i, j) less the insertion loss of the *disturbed* pair i, in dB.

    The disturbed pair as in ISO/IEC 11801 and TIA-568-C; the older ELFEXT of TIA-568-B took the disturbing
    pair. Ordered pairs (disturbed i, disturbing j), at the receiver's end.
    """
    losses = ModeLosses.of(mixed)
    through = losses.pairs_at_both_ends()
    return tuple(
        trace_of(
            Parameter.ACR_F,
            end,
            (i, j),
            losses.frequency_hz,
            ratio(far_end_loss(losses, end, i, j), losses.through(end, i)),
        )
        for end in ENDS
        for i, j in far_end_combinations(losses, end)
        if i in through
    )
