"""From errors of waves to intervals in dB and ns: published examples and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.uncertainty import loss_interval, projected_variance
from benchsweep.uncertainty._interval import time_interval

# Largest and smallest value in dB when a residual lies X dB below the quantity: 20 lg(1 + r), -20 lg(1 - r).
RESIDUALS = [(6, 3.53, 6.04), (10, 2.39, 3.30), (15, 1.42, 1.70), (20, 0.83, 0.92), (26, 0.42, 0.45),
             (30, 0.27, 0.28), (40, 0.09, 0.09)]  # fmt: skip


@pytest.mark.parametrize(("below_db", "plus", "minus"), RESIDUALS)
def test_a_residual_of_known_size_in_db(below_db: float, plus: float, minus: float) -> None:
    reach = 10.0 ** (-below_db / 20.0)
    low, high = loss_interval(np.array([reach / 2.0]), np.array([0.0]))
    assert float(low[0]) == pytest.approx(plus, abs=0.006)
    assert float(high[0]) == pytest.approx(minus, abs=0.006)


def test_a_residual_as_large_as_the_signal_leaves_no_upper_bound_of_the_loss() -> None:
    low, high = loss_interval(np.array([0.5, 0.6]), np.array([0.0, 0.0]))
    assert np.all(np.isposinf(high))
    assert np.all(np.isfinite(low))


# JCGM 100:2008, H.2, simultaneous resistance and reactance, from memory: five simultaneous observations of
# voltage, current and phase (table H.2), and R, X, Z with their standard uncertainties (table H.4).
VOLT = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERE = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_resistance_and_reactance_from_correlated_inputs() -> None:
    seen = np.array([VOLT, AMPERE, PHASE])
    v, i, phi = seen.mean(axis=1)
    size = np.array([v, i, 1.0])
    covariance = np.cov(seen) / seen.shape[1] / np.outer(size, size)
    # The correlations that the table states.
    spread = np.sqrt(np.diag(covariance))
    assert (covariance / np.outer(spread, spread))[np.triu_indices(3, 1)] == pytest.approx(
        [-0.36, 0.86, -0.65], abs=6e-3
    )
    # d ln(Z) = dV/V - dI/I + j dphi: a complex error of correlated real and imaginary part.
    parts = np.array([1.0, -1.0, 1j])
    power = (parts @ covariance @ np.conj(parts)).real
    square = parts @ covariance @ parts
    z = v / i * np.exp(1j * phi)
    u_r, u_x, u_z = (
        float(np.sqrt(projected_variance(weight, power, square))) for weight in (z, -1j * z, abs(z))
    )
    assert (z.real, z.imag, abs(z)) == pytest.approx((127.732, 219.847, 254.260), abs=6e-4)
    assert (u_r, u_x, u_z) == pytest.approx((0.071, 0.295, 0.236), abs=6e-4)


def test_a_vector_of_unknown_phase_contributes_its_size_over_the_root_of_two() -> None:
    # Standard uncertainty of a residual 40 dB below the quantity: 8.686 x 0.01 / sqrt 2 = 0.0614 dB.
    u = np.sqrt(projected_variance(20.0 / np.log(10.0), 1e-4, 0.0))
    assert float(u) == pytest.approx(0.0614, abs=1e-4)


def test_a_null_is_covered_as_a_circular_normal_error_wants_it() -> None:
    """JCGM 101:2008, 9.4 (mismatch of a power meter, values from memory): x1 = x2 = 0, u = 0.005 each, gives
    0 to 150e-6 for the squared magnitude; exactly -2 ln(0.05) u^2 = 149.8e-6 (chi-squared, two degrees).
    """
    m, u = 1e-6, 0.005
    low, high = loss_interval(np.array([u / m]), np.array([(u / m) ** 2]))
    largest = m * 10.0 ** (float(low[0]) / 20.0)
    assert largest**2 == pytest.approx(150e-6, rel=0.01)
    assert largest**2 == pytest.approx(-2.0 * np.log(0.05) * u**2, rel=0.01)
    assert np.isposinf(high[0])


@pytest.mark.parametrize("level", [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0, 30.0])
def test_near_a_null_the_interval_covers_the_true_wave(level: float) -> None:
    """A true wave of `level` standard uncertainties, measured with a circular normal error (Rice)."""
    rng = np.random.default_rng(1)
    error = rng.standard_normal((2, 40_000))
    measured = np.abs(level + error[0] + 1j * error[1])
    low, high = loss_interval(1.0 / measured, 1.0 / measured**2)
    with np.errstate(divide="ignore"):
        loss, true = -20.0 * np.log10(measured), -20.0 * np.log10(level)
    covered = np.mean((true >= loss - low) & (true <= loss + high))
    assert covered >= 0.945
    # Asked for are 93 to 98 % where there is a signal; in a null itself nearly all is covered.
    if level >= 6.0:
        assert covered <= 0.98


@pytest.mark.parametrize("signals", [1, 3])
def test_the_larger_of_two_readings_is_covered_also_in_a_power_sum(signals: int) -> None:
    """Each wave is read twice with independent noise and the larger reading counts, as NEXT is defined."""
    rng = np.random.default_rng(2)
    true, u = 1.0, 0.02
    noise = u * rng.standard_normal((2, 2, signals, 40_000))
    readings = np.abs(true + noise[0] + 1j * noise[1])
    measured = np.sqrt((readings.max(axis=0) ** 2).sum(axis=0))
    whole = true * np.sqrt(signals)
    along = np.full(measured.shape, u / whole)
    excess = u / np.sqrt(np.pi) * np.full((signals, 1), 1.0 / signals) * np.ones(measured.shape)
    straight = excess.sum(axis=0) - np.sqrt((excess**2).sum(axis=0))
    low, high = loss_interval(along, along**2 * (2 * signals - 1), straight)
    below = 20.0 * np.log10(measured / whole)
    covered = np.mean((below <= high) & (-below <= low))
    assert 0.94 <= covered <= 0.98


def test_a_delay_follows_the_arcsine_of_the_error_and_ends_where_the_phase_is_lost() -> None:
    f = np.array([1e9 / (2.0 * np.pi)])  # one rad per ns
    assert float(time_interval(np.array([0.001]), f)[0]) == pytest.approx(0.002, rel=1e-5)
    assert float(time_interval(np.array([0.25]), f)[0]) == pytest.approx(np.arcsin(0.5))
    assert np.isposinf(time_interval(np.array([0.5]), f)[0])
