from __future__ import annotations

from itertools import permutations

from benchsweep.cabling._losses import ENDS, ModeLosses, Row, far_end, trace_of
from benchsweep.records import BalancedPort, End, Parameter, SMatrix, Trace

__all__ = ["far_end_combinations", "far_end_crosstalk", "far_end_loss", "far_end_power"]


def far_end_combinations(losses: ModeLosses, end: End) -> tuple[tuple[str, str], ...]:
    """Return the ordered (disturbed, disturbing) pairs with a receiver at `end` and a source at the other."""
    senders = losses.pairs(far_end(end))
    receivers = losses.pairs(end)
    every = tuple(dict.fromkeys((*receivers, *senders)))
    return tuple((i, j) for i, j in permutations(every, 2) if i in receivers and j in senders)


def far_end_power(losses: ModeLosses, end: End, disturbed: str, disturbing: str) -> Row:
    """Return |S|² from the disturbing pair at the far end into the disturbed pair at `end`."""
    return losses.power(BalancedPort(end, disturbed), BalancedPort(far_end(end), disturbing))


def far_end_loss(losses: ModeLosses, end: End, disturbed: str, disturbing: str) -> Row:
    """Return the loss from the disturbing pair at the far end into the disturbed pair at `end`, in dB."""
    return losses.loss(BalancedPort(end, disturbed), BalancedPort(far_end(end), disturbing))


def far_end_crosstalk(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return FEXT of every ordered pair combination at every receiving end, in dB.

    Pairs (disturbed i, disturbing j), end B: -20 log10 |S[B:i/d, A:j/d]|.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.FEXT, end, (i, j), losses.frequency_hz, far_end_loss(losses, end, i, j))
        for end in ENDS
        for i, j in far_end_combinations(losses, end)
    )
