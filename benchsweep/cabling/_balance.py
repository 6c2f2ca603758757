from __future__ import annotations

from benchsweep.cabling._losses import ENDS, ModeLosses, far_end, ratio, trace_of
from benchsweep.records import BalancedPort, Parameter, SMatrix, Trace

__all__ = ["equal_level_tctl", "transverse_conversion_loss"]


def transverse_conversion_loss(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return TCL of every pair at every end: -20 log10 |S[E:p/c, E:p/d]| in dB.

    Differential wave in, common-mode wave out of the same pair at the same end (terms of ITU-T O.9). The
    value depends on the common-mode reference impedance that the matrix carries (25 ohm unless said).
    """
    losses = ModeLosses.of(mixed)
    found = []
    for end in ENDS:
        for pair in losses.pairs(end):
            port = BalancedPort(end, pair)
            value = losses.conversion_loss(port, port)
            if value is not None:
                found.append(trace_of(Parameter.TCL, end, (pair,), losses.frequency_hz, value))
    return tuple(found)


def equal_level_tctl(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return ELTCTL: TCTL of a pair less its insertion loss, at the receiver's end, in dB.

    End B: TCTL = -20 log10 |S[B:p/c, A:p/d]|.
    """
    losses = ModeLosses.of(mixed)
    found = []
    for end in ENDS:
        for pair in losses.pairs_at_both_ends():
            value = losses.conversion_loss(BalancedPort(end, pair), BalancedPort(far_end(end), pair))
            if value is not None:
                level = ratio(value, losses.through(end, pair))
                found.append(trace_of(Parameter.ELTCTL, end, (pair,), losses.frequency_hz, level))
    return tuple(found)
