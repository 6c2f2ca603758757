from __future__ import annotations

from benchsweep.cabling._losses import ENDS, ModeLosses, loss_of_power, traces_of
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["return_loss"]


def return_loss(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return the return loss of every pair at every end: -20 log10 |S[E:p/d, E:p/d]| in dB.

    The reference is the differential impedance that the matrix carries (100 ohm unless said).
    """
    losses = ModeLosses.of(mixed)
    places = [(end, pair) for end in ENDS for pair in losses.pairs(end)]
    values = loss_of_power(losses.powers([(place, place) for place in places]))
    keys = [(end, (pair,)) for end, pair in places]
    return traces_of(Parameter.RETURN_LOSS, keys, losses.frequency_hz, values)
