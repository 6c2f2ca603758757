from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.errors import UsageError
from benchsweep.records import Parameter, SMatrix, Trace, VelocityStanding

__all__ = [
    "COMMON_VELOCITY",
    "LIGHT_M_PER_S",
    "PairVelocity",
    "electrical_length",
    "nominal_velocity",
    "pair_velocities",
]

LIGHT_M_PER_S = 299_792_458.0
"""Speed of light in vacuum, m/s: exact, the definition of the metre (SI brochure, 9th edition, 2.3.1)."""

COMMON_VELOCITY = 0.67
"""Nominal velocity of propagation over that of light where none was measured: common practice, no source."""

# A measured velocity outside of this belongs to a wrong length, not to a balanced cable: common practice,
# no source (solid polyethylene 0.66, foamed up to 0.85; a wet cable is some percent slower).
_SLOWEST, _FASTEST = 0.5, 0.9


@dataclass(frozen=True, slots=True)
class PairVelocity:
    """The velocity that makes distances of delays, over that of light, and where it comes from."""

    fraction: float
    standing: VelocityStanding


def _delays_s(source: SMatrix | ModeLosses | Iterable[Trace], length_m: float | None) -> dict[str, float]:
    """Return pair -> phase delay at its highest frequency in seconds."""
    if isinstance(source, SMatrix | ModeLosses):
        source = propagation_delay(source, length_m=length_m)
    return {
        trace.pairs[0]: 1e-9 * float(trace.value[-1])
        for trace in source
        if trace.parameter is Parameter.DELAY and trace.value[-1] > 0.0
    }


def nominal_velocity(
    source: SMatrix | ModeLosses | Iterable[Trace], length_m: float | None
) -> Mapping[str, float]:
    """Return pair -> velocity over that of light: length over the delay at the highest frequency.

    There the delay is closest to that of the insulation alone; at 1 MHz the resistance of the wires makes it
    some percent longer. The delay of the plugs counts as length.

    Parameters
    ----------
    source
        Mixed-mode matrix, or traces with the delays among them.
    length_m
        Length of the specimen. Without it, and where it gives most pairs no velocity that a cable can have
        (0.5 to 0.9), the velocity is 0.67 for every pair that has a delay: common practice, not a measured
        figure. A single pair outside of that range is left out.
    """
    delays = _delays_s(source, length_m)
    if length_m is None:
        return MappingProxyType(dict.fromkeys(delays, COMMON_VELOCITY))
    found = {pair: length_m / delay / LIGHT_M_PER_S for pair, delay in delays.items()}
    if not found or not _SLOWEST <= float(np.median(list(found.values()))) <= _FASTEST:
        return MappingProxyType(dict.fromkeys(delays, COMMON_VELOCITY))
    return MappingProxyType({p: value for p, value in found.items() if _SLOWEST <= value <= _FASTEST})


def electrical_length(
    source: SMatrix | ModeLosses | Iterable[Trace], velocity_fraction: float = COMMON_VELOCITY
) -> float | None:
    """Return the length in metres that the delay means at a velocity; None without a delay.

    Of the pair with the shortest delay, as length is told of balanced cabling: the other pairs are twisted
    tighter, and longer than the cable (rule from memory: TIA field-test clauses).

    Parameters
    ----------
    source
        Mixed-mode matrix, or traces with the delays among them.
    velocity_fraction
        Nominal velocity over that of light.

    Raises
    ------
    UsageError
        A velocity that is none.
    """
    _check_fraction(velocity_fraction)
    delays = _delays_s(source, None)
    return velocity_fraction * LIGHT_M_PER_S * min(delays.values()) if delays else None


def pair_velocities(
    mixed: SMatrix | ModeLosses,
    length_m: float | None,
    velocity: Mapping[str, float] | float | None,
    *,
    delays: Sequence[Trace] | None = None,
) -> Mapping[str, PairVelocity]:
    """Return the velocity of every pair that was measured at any end.

    A given one goes before the measured one; a pair without a delay of its own (an open one) takes the mean
    of the others; without any, 0.67. `delays` are the traces of `propagation_delay` where they are at hand.

    Raises
    ------
    UsageError
        A given velocity that is none.
    """
    losses = ModeLosses.of(mixed)
    pairs = dict.fromkeys(pair for end in ENDS for pair in losses.pairs(end))
    if isinstance(velocity, Mapping):
        known = {pair: PairVelocity(_check_fraction(value), "given") for pair, value in velocity.items()}
    elif velocity is not None:
        known = dict.fromkeys(pairs, PairVelocity(_check_fraction(velocity), "given"))
    else:
        known = {}
    if not all(pair in known for pair in pairs):
        measured = nominal_velocity(losses if delays is None else delays, length_m)
        told = length_m is not None and any(value != COMMON_VELOCITY for value in measured.values())
        standing: VelocityStanding = "measured" if told else "common-practice"
        mean = float(np.mean(list(measured.values()))) if measured else COMMON_VELOCITY
        known = {pair: PairVelocity(measured.get(pair, mean), standing) for pair in pairs} | known
    return MappingProxyType({pair: known[pair] for pair in pairs})


def _check_fraction(value: float) -> float:
    if not 0.0 < value <= 1.0:
        raise UsageError(f"a velocity of {value:g} makes no sense", hint="Over that of light, e.g. 0.67.")
    return float(value)
