from __future__ import annotations

from collections.abc import Callable

from benchsweep.cabling._fext import far_end_combinations, far_end_power
from benchsweep.cabling._losses import ENDS, ModeLosses, Row, loss_of_power, ratio, trace_of
from benchsweep.cabling._next import near_end_power
from benchsweep.records import FOUR_PAIRS, End, Parameter, SMatrix, Trace

__all__ = ["power_sum_acr_far", "power_sum_acr_near", "power_sum_next"]

# A power sum over fewer than all disturbers would look better than the specimen is, so it gives no trace.
_DISTURBERS = len(FOUR_PAIRS) - 1


def _near_sums(losses: ModeLosses) -> dict[tuple[End, str], Row]:
    sums: dict[tuple[End, str], Row] = {}
    for end in ENDS:
        pairs = losses.pairs(end)
        for i in pairs:
            parts = [near_end_power(losses, end, i, j) for j in pairs if j != i]
            if len(parts) == _DISTURBERS:
                sums[end, i] = loss_of_power(parts[0] + parts[1] + parts[2])
    return sums


def _far_sums(losses: ModeLosses) -> dict[tuple[End, str], Row]:
    sums: dict[tuple[End, str], Row] = {}
    for end in ENDS:
        for i in losses.pairs(end):
            disturbing = [j for disturbed, j in far_end_combinations(losses, end) if disturbed == i]
            parts = [far_end_power(losses, end, i, j) for j in disturbing]
            if len(parts) == _DISTURBERS:
                sums[end, i] = loss_of_power(parts[0] + parts[1] + parts[2])
    return sums


def _below_signal(
    mixed: SMatrix | ModeLosses,
    parameter: Parameter,
    sums: Callable[[ModeLosses], dict[tuple[End, str], Row]],
) -> tuple[Trace, ...]:
    losses = ModeLosses.of(mixed)
    through = losses.pairs_at_both_ends()
    return tuple(
        trace_of(parameter, end, (pair,), losses.frequency_hz, ratio(value, losses.through(end, pair)))
        for (end, pair), value in sums(losses).items()
        if pair in through
    )


def power_sum_next(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS NEXT of every pair at every end: -10 log10 of the sum of 10^(-NEXT/10), in dB.

    All three disturbing pairs must have been measured.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.PS_NEXT, end, (pair,), losses.frequency_hz, value)
        for (end, pair), value in _near_sums(losses).items()
    )


def power_sum_acr_near(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS ACR-N: PS NEXT less the insertion loss of the pair, at the receiver's end, in dB."""
    return _below_signal(mixed, Parameter.PS_ACR_N, _near_sums)


def power_sum_acr_far(mixed: SMatrix | ModeLosses) -> tuple[Trace, ...]:
    """Return PS ACR-F: the power sum of FEXT less the insertion loss of the disturbed pair, in dB.

    Equal to the power sum of the three ACR-F of the pair, which share that insertion loss.
    """
    return _below_signal(mixed, Parameter.PS_ACR_F, _far_sums)
