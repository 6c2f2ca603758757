from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from benchsweep.cabling._losses import ModeLosses, trace_of
from benchsweep.cabling._phase import Path, follow_phase
from benchsweep.records import BalancedPort, ModePort, Parameter, SMatrix, Trace

__all__ = ["delay_skew", "length_doubt", "propagation_delay", "why_no_delay"]

# Nominal velocities of balanced cable lie between 57 % and 83 % of that of light: common practice, no source.
_FAST_NS_PER_M, _SLOW_NS_PER_M = 4.0, 5.8
_CONNECTIONS_NS = 2.5


def _paths(losses: ModeLosses, length_m: float | None) -> dict[str, Path | str]:
    found: dict[str, Path | str] = {}
    for pair in losses.pairs_at_both_ends():
        a, b = (ModePort(BalancedPort("A", pair), "d"), ModePort(BalancedPort("B", pair), "d"))
        # The specimen is reciprocal: the mean of both directions has less noise than one of them.
        s = 0.5 * (losses.mixed.at(out=b, into=a) + losses.mixed.at(out=a, into=b))
        found[pair] = follow_phase(losses.frequency_hz, s, length_m)
    return found


def propagation_delay(mixed: SMatrix | ModeLosses, *, length_m: float | None = None) -> tuple[Trace, ...]:
    """Return the phase delay of every pair measured at both ends, in ns; end None.

    -arg(S) / (2 pi f) of the mean of both directions, the turns counted (see `why_no_delay` for when they
    cannot be) and the half turn of a reversed pair removed.

    Parameters
    ----------
    mixed
        Mixed-mode matrix.
    length_m
        Nominal length. It is needed when the frequency step is too coarse for the delay: about
        1/(2 delay), 1 MHz for 100 m. A pair whose delay cannot be told gives no trace.
    """
    losses = ModeLosses.of(mixed)
    return tuple(
        trace_of(Parameter.DELAY, None, (pair,), losses.frequency_hz, path.delay_s * 1e9)
        for pair, path in _paths(losses, length_m).items()
        if isinstance(path, Path)
    )


def why_no_delay(mixed: SMatrix | ModeLosses, *, length_m: float | None = None) -> Mapping[str, str]:
    """Return pair -> reason in words, for the pairs measured at both ends that have no delay trace."""
    paths = _paths(ModeLosses.of(mixed), length_m)
    return {pair: path for pair, path in paths.items() if isinstance(path, str)}


def delay_skew(delays: Sequence[Trace]) -> tuple[Trace, ...]:
    """Return the skew |delay(i) - delay(j)| of every pair combination in ns; end None.

    Parameters
    ----------
    delays
        The traces of `propagation_delay`.
    """
    return tuple(
        trace_of(
            Parameter.SKEW,
            None,
            (first.pairs[0], second.pairs[0]),
            first.frequency_hz,
            np.abs(first.value - second.value),
        )
        for first, second in combinations(delays, 2)
    )


def length_doubt(traces: Sequence[Trace], length_m: float | None) -> str:
    """Return in words why the measured delay cannot be that of a specimen of this length; empty if it can.

    A wrong length grades a cord against wrong limits, and it is easily mistyped.

    Parameters
    ----------
    traces
        Any traces; the delays among them count, at their highest frequency.
    length_m
        The length that was given.
    """
    delays = [float(trace.value[-1]) for trace in traces if trace.parameter is Parameter.DELAY]
    if length_m is None or not delays:
        return ""
    fastest_ns, slowest_ns = min(delays), max(delays)
    if slowest_ns >= _FAST_NS_PER_M * length_m - 0.5 and fastest_ns <= (
        _SLOW_NS_PER_M * length_m + _CONNECTIONS_NS
    ):
        return ""
    shortest_m = max(fastest_ns - _CONNECTIONS_NS, 0.0) / _SLOW_NS_PER_M
    longest_m = slowest_ns / _FAST_NS_PER_M
    return (
        f"the length of {length_m:g} m does not fit the measured delay of {slowest_ns:.1f} ns, which belongs "
        f"to {shortest_m:.1f} to {longest_m:.1f} m of cable: check the length"
    )
