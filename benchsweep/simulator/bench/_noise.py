"""What the receivers add to their readings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._definition import Noise
from benchsweep.simulator.bench._request import SweepRequest

__all__ = ["with_noise"]

Complex = NDArray[np.complex128]


def with_noise(raw: Complex, request: SweepRequest, noise: Noise, seed: int) -> Complex:
    """Return ``raw (1 + trace noise) + floor``: complex normal, smaller by the root of the readings.

    Parameters
    ----------
    raw
        ``(n_freq, n_readings, n_driven)``.
    request
        The sweep; its number makes its draws its own.
    """
    bandwidth = np.asarray(request.if_bandwidth_hz)[..., None, None]
    power = np.array(request.power_dbm)
    floor = 10.0 ** ((noise.floor_dbm_in_10_hz + 10.0 * np.log10(bandwidth / 10.0) - power) / 20.0)
    trace_db = np.maximum(
        noise.trace_noise_db_rms_at_1_khz * np.sqrt(bandwidth / 1e3), noise.trace_noise_db_rms_least
    )
    trace = 10.0 ** (trace_db / 20.0) - 1.0
    rng = np.random.default_rng((seed, 5, request.number))
    shrink = 1.0 / np.sqrt(request.readings)
    relative, absolute = (_complex_normal(rng, raw.shape) for _ in range(2))
    return np.asarray(raw * (1.0 + shrink * trace * relative) + shrink * floor * absolute)


def _complex_normal(rng: np.random.Generator, shape: tuple[int, ...]) -> Complex:
    """Return complex normal numbers of mean square 1."""
    draws: Complex = rng.standard_normal((*shape, 2)).view(np.complex128)
    return np.asarray(draws[..., 0] * np.sqrt(0.5))
