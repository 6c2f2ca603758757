"""Short parts between cables: plugs and jacks, changed wiring, bad contacts.

All are networks of eight conductors referred to 50 ohm each; contact k is row k - 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._modes import PAIRS
from benchsweep.simulator.specimen._network import (
    Network,
    line,
    star,
    unitary,
)
from benchsweep.simulator.specimen._sections import REFERENCE_OHM

__all__ = [
    "Lump",
    "Mated",
    "Permutation",
    "Series",
    "Shunt",
    "draw_mated",
    "plug_lump",
    "untwisted",
]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

# Plug: eight blades in a row. The strength puts the differential crosstalk of 36-45 at 37.4 dB at 100 MHz,
# in the window of test plugs; the fall from blade to blade ranks the other combinations. Common-practice
# figures.
_BLADE_F = 0.71e-12
_BLADE_RATIO = 0.30
_GROUND_F = 0.45e-12
_MUTUAL_SHARE = 0.75  # inductive against capacitive coupling of neighbours
_SELF_SHARE = 0.8
_BLADE_JITTER = 0.03
_SELF_JITTER_H = 0.8e-9
_LUMP_DELAY_S = 18e-12
_UNTWIST_DELAY_S = 25e-12
_UNTWIST_SHARE = 0.30
_UNTWIST_STEP_M = 0.005
# Jack: elements of opposite sign to the nominal plug, mostly capacitors; with capacitors alone the far-end
# crosstalk would double.
_JACK_CAPACITIVE = 0.72
_JACK_SPREAD = 0.06
_OUTER_LINE_S = 40e-12
_INNER_LINE_S = 16e-12
_MATED_LOSS_DB = 0.016  # at 1 MHz, grows with the square root of frequency


@dataclass(frozen=True)
class Lump:
    """A short stretch of eight coupled conductors, in seconds: L / 50 ohm and C x 50 ohm."""

    inductance_s: Real
    capacitance_s: Real

    def backward_s(self) -> Real:
        """Return the backward coupling (l - c)/2, symmetric ``(8, 8)``."""
        return 0.5 * (self.inductance_s - self.capacitance_s)

    def with_delay(self, delay_s: float) -> Lump:
        """Return the lump with the delay of every conductor set to `delay_s`, its reflections unchanged.

        A lump of the plug's full self inductance and capacitance would hold plug and jack further apart than
        they are, and their crosstalk would no longer cancel at the top of the band.
        """
        excess = 0.5 * np.diag(np.diag(self.inductance_s + self.capacitance_s)) - delay_s * np.eye(8)
        return Lump(self.inductance_s - excess, self.capacitance_s - excess)

    def network(self, frequency_hz: Real) -> Network:
        """Return the lump at each frequency."""
        omega = 2.0 * math.pi * frequency_hz[:, None, None]
        forward = 0.5 * (self.inductance_s + self.capacitance_s)
        return unitary(
            (omega * self.backward_s()).astype(np.complex128), (omega * forward).astype(np.complex128)
        )


def _maxwell(mutual_f: Real, ground_f: float) -> Real:
    """Return the capacitance matrix of conductors with these mutual capacitances."""
    return np.diag(mutual_f.sum(axis=1) + ground_f) - mutual_f


def _blades(keep: Sequence[int]) -> Real:
    """Return the mutual capacitances of the blades; those not in `keep` (contacts) have none."""
    contact = np.arange(1, 9)
    apart = np.abs(contact[:, None] - contact[None, :])
    mutual = np.where(apart > 0, _BLADE_F * _BLADE_RATIO ** (apart - 1.0), 0.0)
    kept = np.isin(contact, keep)
    return mutual * kept[:, None] * kept[None, :]


def _blade_lump(mutual_f: Real, self_jitter_h: Real, delay_s: float) -> Lump:
    capacitance = _maxwell(mutual_f, _GROUND_F)
    scale = REFERENCE_OHM**2
    inductance = _MUTUAL_SHARE * scale * mutual_f
    inductance = inductance + np.diag(_SELF_SHARE * scale * np.diag(capacitance) + self_jitter_h)
    return Lump(inductance / REFERENCE_OHM, capacitance * REFERENCE_OHM).with_delay(delay_s)


def plug_lump(scale: float = 1.0, rng: np.random.Generator | None = None) -> Lump:
    """Return a plug; `scale` is its coupling against the nominal plug, `rng` makes it one of many."""
    mutual = scale * _blades(range(1, 9))
    jitter = np.zeros(8)
    if rng is not None:
        drawn = np.triu(rng.standard_normal((8, 8)), k=1)
        mutual = mutual * (1.0 + _BLADE_JITTER * (drawn + drawn.T))
        jitter = _SELF_JITTER_H * rng.standard_normal(8)
    return _blade_lump(mutual, jitter, _LUMP_DELAY_S)


def untwisted(length_m: float, pairs: Sequence[str]) -> tuple[Lump, ...]:
    """Return untwisted pairs behind a plug: coupling like that of blades, spread over the length."""
    count = max(1, math.ceil(length_m / _UNTWIST_STEP_M - 1e-9))
    share = length_m / (count * _UNTWIST_STEP_M)
    keep = [contact for pair in pairs for contact in PAIRS[pair]]
    mutual = _UNTWIST_SHARE * share * _blades(keep)
    lump = _blade_lump(mutual, np.zeros(8), _UNTWIST_DELAY_S * share)
    return (lump,) * count


def _jack_lump(spread: Real) -> Lump:
    """Return a jack that takes back the nominal plug's crosstalk but for `spread`, one per combination."""
    coupling = plug_lump().backward_s()
    pairs = [np.array(legs) - 1 for legs in PAIRS.values()]
    combinations = [(p, q) for p in range(4) for q in range(p + 1, 4)]
    mutual_f = np.zeros((8, 8))
    inductance_s = np.zeros((8, 8))
    for (p, q), epsilon in zip(combinations, spread, strict=True):
        (pp, pn), (qp, qn) = pairs[p], pairs[q]
        b = 0.5 * (coupling[pp, qp] - coupling[pp, qn] - coupling[pn, qp] + coupling[pn, qn])
        capacitor = 2.0 * (1.0 - epsilon) * abs(b) * _JACK_CAPACITIVE / REFERENCE_OHM
        for one, other in ((pp, qn), (pn, qp)) if b > 0 else ((pp, qp), (pn, qn)):
            mutual_f[one, other] += capacitor
            mutual_f[other, one] += capacitor
        mutual_s = -(1.0 - epsilon) * b * (1.0 - _JACK_CAPACITIVE)
        for one, other, sign in ((pp, qp, 1), (pn, qn, 1), (pp, qn, -1), (pn, qp, -1)):
            inductance_s[one, other] += sign * mutual_s
            inductance_s[other, one] += sign * mutual_s
    capacitance_s = _maxwell(mutual_f, 0.0) * REFERENCE_OHM
    # The self inductance of the springs makes up for the shunt capacitance, as in a jack that meets return
    # loss.
    inductance_s += np.diag(np.diag(capacitance_s))
    return Lump(inductance_s, capacitance_s).with_delay(_LUMP_DELAY_S)


@dataclass(frozen=True)
class Mated:
    """A plug in a jack. The plug is at the left unless `plug_at_right`."""

    plug: Lump
    jack: Lump
    plug_at_right: bool

    def network(self, frequency_hz: Real) -> Network:
        """Return the connection with its short lines and its conductor loss."""
        f = frequency_hz[:, None]
        # Loss with the phase that belongs to it: sqrt(j f), half at each end.
        neper = 0.5 * _MATED_LOSS_DB * np.sqrt(f * 1e-6) * math.log(10.0) / 20.0
        outer = np.exp(-(1.0 + 1.0j) * neper - 2j * math.pi * f * _OUTER_LINE_S)
        inner = np.exp(-2j * math.pi * f * _INNER_LINE_S)
        none = np.ones_like(inner)
        plug = line(self.plug.network(frequency_hz), outer, inner)
        mated = star(plug, line(self.jack.network(frequency_hz), none, outer))
        return mated.reversed() if self.plug_at_right else mated


def draw_mated(seed: tuple[int, ...], *, plug_scale: float = 1.0, plug_at_right: bool = False) -> Mated:
    """Return one mated connection of many; the plug's scale does not change what chance gave it."""
    rng = np.random.default_rng(list(seed))
    plug = plug_lump(plug_scale, rng)
    jack = _jack_lump(_JACK_SPREAD * rng.standard_normal(6))
    return Mated(plug, jack, plug_at_right)


@dataclass(frozen=True)
class Permutation:
    """Changed wiring: conductor ``order[k]`` at the left leads to contact ``k + 1`` at the right."""

    order: tuple[int, ...]

    def network(self, frequency_hz: Real) -> Network:
        """Return the same permutation at every frequency."""
        through = np.zeros((len(frequency_hz), 8, 8), dtype=np.complex128)
        through[:, np.arange(8), np.asarray(self.order) - 1] = 1.0
        none = np.zeros_like(through)
        return Network(none, through, none)


@dataclass(frozen=True)
class Series:
    """An impedance in series with some conductors: resistance, inductance, and a gap's capacitance."""

    contacts: tuple[int, ...]
    resistance_ohm: float = 0.0
    inductance_h: float = 0.0
    gap_f: float | None = None

    def network(self, frequency_hz: Real) -> Network:
        """Return the series impedances."""
        omega = 2.0 * math.pi * frequency_hz
        ohm = self.resistance_ohm + 1j * omega * self.inductance_h
        if self.gap_f is not None:
            ohm = ohm + 1.0 / (1j * omega * self.gap_f)
        z = ohm / REFERENCE_OHM
        rows = np.asarray(self.contacts) - 1
        reflection = np.zeros((len(frequency_hz), 8, 8), dtype=np.complex128)
        reflection[:, rows, rows] = (z / (z + 2.0))[:, None]
        return Network(reflection, np.eye(8) - reflection, reflection)


@dataclass(frozen=True)
class Shunt:
    """A conductance between two conductors."""

    contacts: tuple[int, int]
    resistance_ohm: float

    def network(self, frequency_hz: Real) -> Network:
        """Return the same shunt at every frequency."""
        join = np.zeros(8)
        join[np.asarray(self.contacts) - 1] = 1.0, -1.0
        y = np.outer(join, join) * REFERENCE_OHM / self.resistance_ohm
        half = np.linalg.inv(y + 2.0 * np.eye(8))
        shape = (len(frequency_hz), 8, 8)
        reflection = np.broadcast_to((-y @ half).astype(np.complex128), shape)
        return Network(reflection, np.broadcast_to((2.0 * half).astype(np.complex128), shape), reflection)
