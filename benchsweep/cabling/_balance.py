from __future__ import annotations

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, far_end, loss_of_power, ratio, traces_of
from benchsweep.records import Parameter, SMatrix, Trace

__all__ = ["equal_level_tctl", "transverse_conversion_loss"]


def transverse_conversion_loss(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return TCL of every pair at every end: -20 log10 |S[E:p/c, E:p/d]| in dB.

    Differential wave in, common-mode wave out of the same pair at the same end (terms of ITU-T O.9). The
    value depends on the common-mode reference impedance that the matrix carries (25 ohm unless said).
    """
    losses = ModeLosses.of(mixed)
    places = [(end, pair) for end in ENDS for pair in losses.pairs(end)]
    there, powers = losses.conversion_powers([(place, place) for place in places])
    keys = [(places[number][0], (places[number][1],)) for number in there]
    return traces_of(Parameter.TCL, keys, losses.frequency_hz, loss_of_power(powers))


def equal_level_tctl(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ELTCTL: TCTL of a pair less its insertion loss, at the receiver's end, in dB.

    End B: TCTL = -20 log10 |S[B:p/c, A:p/d]|.
    """
    losses = ModeLosses.of(mixed)
    places = [(end, pair) for end in ENDS for pair in losses.pairs_at_both_ends()]
    there, powers = losses.conversion_powers([((end, p), (far_end(end), p)) for end, p in places])
    if not there:
        return ()
    keys = [(places[number][0], (places[number][1],)) for number in there]
    signal = np.array([losses.through(*places[number]) for number in there])
    return traces_of(Parameter.ELTCTL, keys, losses.frequency_hz, ratio(loss_of_power(powers), signal))
