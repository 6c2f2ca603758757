"""From standard uncertainties of waves to expanded uncertainties of what is read from them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["COVERAGE_FACTOR", "DB_PER_NEPER", "loss_interval", "projected_variance", "time_interval"]

Real = NDArray[np.float64]

COVERAGE_FACTOR = 2.0
DB_PER_NEPER = 20.0 / np.log(10.0)


def projected_variance(weight: Any, power: Any, square: Any) -> Real:
    """Return the variance of ``Re(weight x)`` of a complex random x of mean zero.

    ``(|weight|^2 E|x|^2 + Re(weight^2 E x^2)) / 2``: exact for any joint distribution of its two parts. The
    law of propagation (JCGM 100:2008, 5.2) in complex form; weights of the imaginary part are ``-1j weight``.

    Parameters
    ----------
    weight
        Complex.
    power, square
        E|x|^2 (the variance) and E x^2 (the pseudo-variance; zero where the phase is unknown).
    """
    both = np.abs(weight) ** 2 * power + (np.asarray(weight) ** 2 * square).real
    return np.asarray(0.5 * both)


def loss_interval(along: Real, across: Real, excess: Real | float = 0.0) -> tuple[Real, Real]:
    """Return how far below and above a loss in dB the true one may lie.

    The measured wave is 1. The error along it has standard deviation u, that across it mean square q; the
    magnitude of the true wave lies between

        sqrt(1 - 2 q) - 2 u    and    1 + 2 u, but not less than sqrt(4 u^2 + 2 q)

    Far from a null these are 1 -+ 2 u. In a null, where both parts of the error are alike, they are zero and
    sqrt(6) u = 2.449 u, which the magnitude of a circular normal error does not exceed in 95 % of cases, and
    the lower one leaves zero where the measured magnitude exceeds that value. The error across makes small
    waves look larger, so it lowers the lower bound only.

    Parameters
    ----------
    along
        Standard uncertainty of the real part of error over wave, u.
    across
        Mean square of the error at right angles to it, q.
    excess
        By how much the measured wave tends to be too large; it comes off the lower bound.

    Returns
    -------
    low, high
        In dB, not negative; `high` is infinite where the true wave may be zero.
    """
    reach = COVERAGE_FACTOR * along
    largest = np.maximum(1.0 + reach, np.sqrt(reach**2 + 2.0 * across))
    smallest = np.maximum(np.sqrt(np.maximum(1.0 - 2.0 * across, 0.0)) - reach - excess, 0.0)
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(largest), -20.0 * np.log10(smallest)


def time_interval(u_ns: Real, frequency_hz: Real) -> Real:
    """Return the expanded uncertainty of a delay in ns.

    A wave whose error is the part r of it turns by at most arcsin r; where r reaches one the phase says
    nothing, and the uncertainty is infinite.
    """
    per_ns = 2.0 * np.pi * frequency_hz * 1e-9
    turn = COVERAGE_FACTOR * u_ns * per_ns
    safe = np.minimum(turn, 1.0)
    return np.asarray(np.where(turn < 1.0, np.arcsin(safe) / per_ns, np.inf))
