from __future__ import annotations

from itertools import combinations

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, Row, trace_of
from benchsweep.records import BalancedPort, End, Parameter, SMatrix, Trace

__all__ = ["near_end_crosstalk", "near_end_loss", "near_end_power"]


def near_end_power(losses: ModeLosses, end: End, first: str, second: str) -> Row:
    """Return the larger |S|² of the two directions between two pairs at one end."""
    p, q = BalancedPort(end, first), BalancedPort(end, second)
    return np.maximum(losses.power(p, q), losses.power(q, p))


def near_end_loss(losses: ModeLosses, end: End, first: str, second: str) -> Row:
    """Return the smaller loss of the two directions between two pairs at one end, in dB."""
    p, q = BalancedPort(end, first), BalancedPort(end, second)
    return np.minimum(losses.loss(p, q), losses.loss(q, p))


def near_end_crosstalk(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return NEXT of every pair combination at every end, in dB.

    One trace per unordered combination, the pairs in the order 12, 36, 45, 78. Both directions are in the
    matrix and equal for a reciprocal specimen; where noise makes them differ the smaller loss counts.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.NEXT, end, (p, q), losses.frequency_hz, near_end_loss(losses, end, p, q))
        for end in ENDS
        for p, q in combinations(losses.pairs(end), 2)
    )
