from __future__ import annotations

from benchsweep.cabling._losses import ModeLosses, Row, trace_of
from benchsweep.records import End, Parameter, SMatrix, Trace

__all__ = ["near_end_crosstalk", "near_end_loss", "near_end_power"]


def near_end_power(losses: ModeLosses, end: End, first: str, second: str) -> Row:
    """Return the larger |S|² of the two directions between two pairs at one end."""
    found = losses.near_power.get((end, first, second))
    return losses.near_power[end, second, first] if found is None else found


def near_end_loss(losses: ModeLosses, end: End, first: str, second: str) -> Row:
    """Return the smaller loss of the two directions between two pairs at one end, in dB."""
    found = losses.near_loss.get((end, first, second))
    return losses.near_loss[end, second, first] if found is None else found


def near_end_crosstalk(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return NEXT of every pair combination at every end, in dB.

    One trace per unordered combination, the pairs in the order 12, 36, 45, 78. Both directions are in the
    matrix and equal for a reciprocal specimen; where noise makes them differ the smaller loss counts.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.NEXT, end, (p, q), losses.frequency_hz, value)
        for (end, p, q), value in losses.near_loss.items()
    )
