from __future__ import annotations

from benchsweep.cabling._losses import ModeLosses, trace_of
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["far_end_crosstalk"]


def far_end_crosstalk(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return FEXT of every ordered pair combination at every receiving end, in dB.

    Pairs (disturbed i, disturbing j), end B: -20 log10 |S[B:i/d, A:j/d]|.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.FEXT, end, (i, j), losses.frequency_hz, value)
        for (end, i, j), value in losses.far_loss.items()
    )
