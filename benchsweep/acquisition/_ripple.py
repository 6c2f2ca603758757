"""How far a frequency grid may miss a peak of the ripple that two reflections make."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ALLOWED_MISS_DB",
    "POINTS_PER_PERIOD",
    "VELOCITY_FACTOR",
    "allowed_step_hz",
    "delay_s",
    "missed_peak_db",
    "ripple_step_hz",
    "worst_missed_peak_db",
]

SPEED_OF_LIGHT = 299_792_458.0
VELOCITY_FACTOR = 0.67
"""Nominal velocity on balanced cable over that of light: 0.57 to 0.83 occur. Common practice, no source."""

POINTS_PER_PERIOD = 10
"""Points within one period of the ripple, 1/(2 delay): a step of 1/(20 delay)."""

# Less than any four-pair cable loses (standards allow 1.8 dB and more): a longer way of the wave makes
# ripple of less height, so too little loss is the careful side. Common practice, no source.
_LEAST_LOSS_DB_PER_100_M_ROOT_MHZ = 1.5
_PLACES = 100


def delay_s(length_m: float, velocity_factor: float = VELOCITY_FACTOR) -> float:
    """Return the delay from one end of a specimen to the other, in s."""
    return length_m / (velocity_factor * SPEED_OF_LIGHT)


def missed_peak_db(points_per_period: float, second: float = 1.0) -> float:
    r"""Return by how much the highest point of a grid may lie below the peak of a ripple, in dB.

    Parameters
    ----------
    points_per_period
        Points within one period of the ripple, which is 1/(2 delay) for reflections one delay apart.
    second
        Amplitude of the later reflection over that of the earlier one, above 0 and at most 1.

    Returns
    -------
    Infinity where the grid may hit nothing but the nulls: equal reflections, one point per period or fewer.

    Notes
    -----
    Two reflections ``1`` and ``a``, one delay tau apart, give ``\|1 + a exp(-j 4 pi f tau)\|``: 1 + a at the
    peak. With n points per period the nearest point lies at most half a step off, which is a phase of pi/n::

        missed = 20 log10( (1 + a) / \|1 + a exp(j pi/n)\| )
               = -20 log10 cos( pi/(2 n) )                     for a = 1

    That is 0.69, 0.30, 0.17, 0.11, 0.04, 0.03 dB for n = 4, 6, 8, 10, 16, 20. Source: this derivation.

    Examples
    --------
    >>> round(missed_peak_db(10), 2)
    0.11
    """
    if not points_per_period > 0.0:
        return math.inf if second == 1.0 else _missed(math.pi, second)
    return _missed(min(math.pi / points_per_period, math.pi), second)


def _missed(phase: float, second: float) -> float:
    # |1 + a exp(j p)|^2 = (1 - a)^2 + 4 a cos^2(p/2): no difference of nearly equal numbers.
    low = math.hypot(1.0 - second, 2.0 * math.sqrt(second) * math.cos(0.5 * phase))
    return math.inf if low < 1e-12 else 20.0 * math.log10((1.0 + second) / low)


ALLOWED_MISS_DB = missed_peak_db(POINTS_PER_PERIOD)
"""What the rule of ten points leaves: 0.11 dB."""


def ripple_step_hz(length_m: float, velocity_factor: float = VELOCITY_FACTOR) -> float:
    """Return the largest step with ten points in each period of the ripple between both ends: 1/(20 tau)."""
    return 1.0 / (2.0 * POINTS_PER_PERIOD * delay_s(length_m, velocity_factor))


def allowed_step_hz(frequency_hz: float, length_m: float, velocity_factor: float = VELOCITY_FACTOR) -> float:
    """Return the largest step at `frequency_hz` that misses no more than ten points per period would.

    A reflection from far away comes back weakened by twice the loss of the cable, so that at high frequencies
    the fast ripple is low and a larger step will do. Every distance within the specimen is looked at. At low
    frequencies this is `ripple_step_hz`.
    """
    delay, second = _places(np.array([frequency_hz]), length_m, velocity_factor)
    a = second[0]
    with np.errstate(divide="ignore", over="ignore"):  # an echo that all but vanishes: minus infinity
        cosine = ((1.0 + a) ** 2 * 10.0 ** (-ALLOWED_MISS_DB / 10.0) - 1.0 - a**2) / (2.0 * a)
    # Where even opposite phase misses less, no step is too large.
    phase = np.where(cosine <= -1.0, np.inf, np.arccos(np.clip(cosine, -1.0, 1.0)))
    return float(np.min(phase / (2.0 * math.pi * delay)))


def worst_missed_peak_db(
    frequency_hz: NDArray[np.float64],
    step_hz: NDArray[np.float64],
    length_m: float,
    velocity_factor: float = VELOCITY_FACTOR,
) -> NDArray[np.float64]:
    """Return what steps of `step_hz` at `frequency_hz` may miss, in dB, ``(n,)``; infinite where all of it.

    The worst over every distance within the specimen, the loss of the cable counted as in `allowed_step_hz`.
    """
    delay, a = _places(frequency_hz, length_m, velocity_factor)
    phase = np.minimum(2.0 * math.pi * step_hz[:, np.newaxis] * delay, math.pi)
    low = np.hypot(1.0 - a, 2.0 * np.sqrt(a) * np.cos(0.5 * phase))
    missed = np.full(a.shape, np.inf)
    seen = low > 1e-12
    missed[seen] = 20.0 * np.log10((1.0 + a[seen]) / low[seen])
    return np.asarray(missed.max(axis=1))


def _places(
    frequency_hz: NDArray[np.float64], length_m: float, velocity_factor: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return ``(m,)`` delays of places along the specimen and ``(n, m)`` what they reflect, relative."""
    place_m = np.linspace(length_m / _PLACES, length_m, _PLACES)
    loss_db = _LEAST_LOSS_DB_PER_100_M_ROOT_MHZ * np.sqrt(frequency_hz / 1e6)[:, np.newaxis] * place_m / 100.0
    return delay_s(1.0, velocity_factor) * place_m, 10.0 ** (-2.0 * loss_db / 20.0)
