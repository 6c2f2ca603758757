"""Specimens, hookups and standards that the uncertainty tests share."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import (
    FOUR_PAIRS,
    BalancedPort,
    Hookup,
    SMatrix,
    StandardTerm,
    balanced_ports,
    parse_leg,
)
from benchsweep.simulator.specimen import load_specimen

LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
GRID = np.linspace(40e6, 480e6, 12)


def cord(frequency_hz: np.ndarray = GRID, *, name: str = "cord-2m", seed: int = 1) -> SMatrix:
    """A simulated specimen at its legs: only its levels matter here, not how they come about."""
    specimen = load_specimen(name, seed=seed)
    legs = [parse_leg(label) for label in LEGS]
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in legs]
    s = specimen.scatter(frequency_hz)[:, order][:, :, order]
    return SMatrix(frequency_hz, s, LEGS, (50.0,) * len(LEGS))


def modes(legs: SMatrix, *, tapped: bool) -> SMatrix:
    """The same as measured behind baluns; without taps the common modes are absorbed."""
    mixed = to_mixed_mode(legs)
    keep = [i for i, label in enumerate(mixed.ports) if tapped or label.endswith("/d")]
    ports = tuple(mixed.ports[i] for i in keep)
    z0 = tuple(mixed.z0_ohm[i] for i in keep)
    return SMatrix(mixed.frequency_hz, mixed.s[:, keep][:, :, keep], ports, z0)


def whole_hookup(labels: Sequence[str] = LEGS) -> tuple[Hookup, ...]:
    return (Hookup(1, dict(enumerate(labels, 1))),)


def partial_hookups() -> tuple[Hookup, ...]:
    """Eight analyzer ports: both ends of two pairs at a time."""
    found = []
    for number, (p, q) in enumerate(combinations(FOUR_PAIRS, 2), 1):
        four = [BalancedPort(end, pair) for end in ("A", "B") for pair in (p, q)]
        labels = [str(leg) for port in four for leg in port.legs]
        found.append(Hookup(number, dict(enumerate(labels, 1))))
    return tuple(found)


def standard_terms(frequency_hz: np.ndarray = GRID, *, same_piece: bool = True) -> tuple[StandardTerm, ...]:
    """Short, open, load and a known thru, ideal, as they act in closed form.

    A standard that is off by x from its definition G_i is taken for it, so the residual error of a
    reflection G, a polynomial of degree two, is -x at G_i and zero at the other two (Lagrange). The thru then
    reads as its definition with the directivity error D of the driven port: L = -D / t^2.
    """
    one = np.ones(frequency_hz.size)
    omega = 2.0 * np.pi * frequency_hz
    t = np.exp(-1j * omega * 30e-12)
    nominal = {"open": 1.0, "short": -1.0, "load": 0.0}
    # From 2 fF, 3 pH, 0.05 ohm and 2 pH.
    spread = {
        "open": (0.0 * one, 2.0 * omega * 2e-15 * 50.0),
        "short": (0.0 * one, 2.0 * omega * 3e-12 / 50.0),
        "load": (0.05 / 100.0 * one, omega * 2e-12 / 100.0),
    }
    found = []
    for name, g in nominal.items():
        a, b = (value for other, value in nominal.items() if other != name)
        scale = -1.0 / ((g - a) * (g - b))
        directivity = scale * a * b * one
        tracking = -scale * (a + b) * one
        match = scale * one
        real, imaginary = spread[name]
        found.append(
            StandardTerm(
                name, "reflection", g * one, real, imaginary, same_piece,
                directivity, match, -directivity / t**2, tracking, tracking,
            )
        )  # fmt: skip
    zero = 0.0 * one
    through = omega * 0.2e-12
    found.append(
        StandardTerm("thru", "transmission", t, zero, through, same_piece, zero, zero, zero, zero, -1.0 / t)
    )
    return tuple(found)
