"""What a field tester and its plugs add to the waves, drawn once for a tester and once for each mating."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.tester._levels import Leak

__all__ = ["drawn", "leak", "random_of"]

_REFERENCE_HZ = 100e6
_LONGEST_S = 3e-9


def random_of(*names: str | int) -> np.random.Generator:
    """Return a random generator that is the same for the same names, on every machine."""
    digest = hashlib.sha256("\n".join(map(str, names)).encode()).digest()
    return np.random.default_rng(np.frombuffer(digest, dtype=np.uint32))


def leak(
    frequency_hz: NDArray[np.float64], size: Leak, random: np.random.Generator
) -> NDArray[np.complex128]:
    """Return an unwanted wave, ``(n_freq,)``: two paths of random phase and delay, of that size together."""
    amplitude = 10.0 ** (
        (size.level_db + size.slope_db_per_decade * np.log10(frequency_hz / _REFERENCE_HZ)) / 20.0
    )
    total = np.zeros(frequency_hz.size, dtype=np.complex128)
    for _ in range(2):
        share = random.normal(scale=np.sqrt(0.5), size=2) @ (1.0, 1.0j)
        delay = random.uniform(0.0, _LONGEST_S)
        total += share * np.exp(-2j * np.pi * frequency_hz * delay)
    # Two paths with a variance of one each: half of the power in each.
    found: NDArray[np.complex128] = amplitude * total / np.sqrt(2.0)
    return found


def drawn(scale: float, *names: str | int) -> float:
    """Return a normal random number with that standard deviation, the same for the same names."""
    return float(random_of(*names).normal(scale=scale)) if scale > 0.0 else 0.0
