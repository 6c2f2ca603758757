"""What was measured that a wrong wiring map rests on: levels at contacts and pairs, and phases at 0 Hz."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._words import PAIR_OF_CONTACT, listed, pair_words
from benchsweep.records import (
    BalancedPort,
    End,
    Leg,
    ModePort,
    SMatrix,
    WiringFinding,
    WiringReport,
)

__all__ = ["map_evidence"]

# A conductor that keeps less than half of the wave was not mapped by its own level.
_CONNECTED = 0.5
# In dB: less than this arriving at a contact is none.
_NOTHING = 1e-4


def map_evidence(
    losses: ModeLosses,
    legs: SMatrix | None,
    wiring: WiringReport,
    finding: WiringFinding,
    length_m: float | None,
) -> tuple[str, ...]:
    """Return the levels that a finding of reversed, crossed or miswired conductors rests on.

    Of single conductors where they were mapped one by one, else of pairs, with the phase of a reversed one.

    Parameters
    ----------
    losses
        The mixed-mode matrix.
    legs
        The matrix at the legs; None behind baluns.
    wiring
        The wiring check.
    finding
        One of its findings.
    length_m
        Length, when known.
    """
    told = _of_conductors(legs, wiring, finding.contacts) if legs is not None else ()
    return told or _of_pairs(losses, finding, length_m)


def _of_conductors(legs: SMatrix, wiring: WiringReport, contacts: Sequence[int]) -> tuple[str, ...]:
    at_mhz = float(legs.frequency_hz[0]) / 1e6
    told = []
    for contact in contacts:
        other = wiring.contact_at_b[contact - 1]
        if other is None or other == contact:
            continue
        there, straight = (_level(legs, contact, out) for out in (other, contact))
        if there is None or there < _CONNECTED:
            return ()
        arrives = f"{_decibels(there)} to contact {other} of end B"
        own = "" if straight is None else f" and {_decibels(straight)} to contact {contact}"
        told.append(f"contact {contact} of end A: {arrives}{own}, at {at_mhz:g} MHz")
    return tuple(told)


def _level(legs: SMatrix, into: int, out: int) -> float | None:
    ends: tuple[tuple[End, int], ...] = (("A", into), ("B", out))
    near, far = (Leg(BalancedPort(end, PAIR_OF_CONTACT[k]), k) for end, k in ends)
    return float(abs(legs.at(out=far, into=near)[0])) if legs.has(near) and legs.has(far) else None


def _decibels(level: float) -> str:
    return "nothing" if level < _NOTHING else f"{20.0 * math.log10(level):.1f} dB"


def _of_pairs(losses: ModeLosses, finding: WiringFinding, length_m: float | None) -> tuple[str, ...]:
    at_mhz = float(losses.frequency_hz[0]) / 1e6
    if finding.kind == "reversed":
        phase = _phase_at_zero(losses, finding.pairs[0], length_m)
        if phase is None:
            return ()
        words = f"the phase through pair {pair_words(finding.pairs[0])}, less the delay of the cable, is "
        return (f"{words}{phase:.0f} degrees at {at_mhz:g} MHz; a straight pair has 0",)
    told = []
    for pair in finding.pairs:
        if pair not in losses.pairs("A"):
            continue
        levels = {
            out: math.sqrt(float(losses.power(BalancedPort("B", out), BalancedPort("A", pair))[0]))
            for out in losses.pairs("B")
            if out in finding.pairs
        }
        if levels:
            arrives = listed(f"{_decibels(level)} to pair {pair_words(out)}" for out, level in levels.items())
            told.append(f"pair {pair_words(pair)} of end A: {arrives} of end B, at {at_mhz:g} MHz")
    return tuple(told)


def _phase_at_zero(losses: ModeLosses, pair: str, length_m: float | None) -> float | None:
    """Return |arg S| through a pair at the lowest frequency in degrees, less the delay of the cable there.

    The delay is that of the other pairs where they have one: that of the pair itself was made with the half
    turn that is to be shown.
    """
    traces = propagation_delay(losses, length_m=length_m)
    delays = {trace.pairs[0]: 1e-9 * float(trace.value[0]) for trace in traces}
    others = [delay for other, delay in delays.items() if other != pair] or list(delays.values())
    if not others:
        return None
    near, far = ModePort(BalancedPort("A", pair), "d"), ModePort(BalancedPort("B", pair), "d")
    turn = np.exp(2j * math.pi * float(losses.frequency_hz[0]) * float(np.mean(others)))
    return abs(math.degrees(float(np.angle(losses.mixed.at(out=far, into=near)[0] * turn))))
