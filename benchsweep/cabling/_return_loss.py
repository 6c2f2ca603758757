from __future__ import annotations

from benchsweep.cabling._losses import ENDS, ModeLosses, trace_of
from benchsweep.records import BalancedPort, Parameter, SMatrix, Trace

__all__ = ["return_loss"]


def return_loss(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return the return loss of every pair at every end: -20 log10 |S[E:p/d, E:p/d]| in dB.

    The reference is the differential impedance that the matrix carries (100 ohm unless said).
    """
    losses = ModeLosses.of(mixed)
    found = []
    for end in ENDS:
        for pair in losses.pairs(end):
            port = BalancedPort(end, pair)
            value = losses.loss(port, port)
            found.append(trace_of(Parameter.RETURN_LOSS, end, (pair,), losses.frequency_hz, value))
    return tuple(found)
