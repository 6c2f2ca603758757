from __future__ import annotations

from benchsweep.cabling._losses import ENDS, ModeLosses, trace_of
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["insertion_loss"]


def insertion_loss(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return the insertion loss of every pair measured at both ends, for either receiving end.

    End B: -20 log10 |S[B:p/d, A:p/d]| in dB; end A the reverse direction.
    """
    losses = ModeLosses.of(mixed)
    pairs = losses.pairs_at_both_ends()
    return tuple(
        trace_of(Parameter.INSERTION_LOSS, end, (pair,), losses.frequency_hz, losses.through(end, pair))
        for end in ENDS
        for pair in pairs
    )
