"""Limits from a history, moving averages, values judged together: against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.calibration.verification import (
    ewma_signals,
    expected_outside,
    history_limits,
    simultaneous_quantile,
)


# t(.975, K - 1) as tabled in any book of statistics, and in NIST/SEMATECH e-Handbook 1.3.6.7.2.
@pytest.mark.parametrize(("count", "quantile"), [(6, 2.571), (10, 2.262), (25, 2.064)])
def test_limits_from_history_are_the_mean_and_t_times_s(count: int, quantile: float) -> None:
    rng = np.random.default_rng(count)
    values = list(3.0 + 0.2 * rng.standard_normal(count))
    found = history_limits(values, definition=0.0, uncertainty=1.0)
    assert found.basis == "history"
    assert found.count == count
    s = np.std(values, ddof=1)
    assert (found.high - found.low) / (2.0 * s) == pytest.approx(quantile, abs=5e-4)
    assert (found.high + found.low) / 2.0 == pytest.approx(np.mean(values))
    assert found.holds(found.high)
    assert not found.holds(found.high + 1e-9)


def test_before_six_values_the_definition_and_its_uncertainty_count() -> None:
    found = history_limits([5.0] * 5, definition=1.0, uncertainty=0.25)
    assert (found.low, found.high, found.basis, found.count) == (0.75, 1.25, "definition", 5)


# NIST/SEMATECH e-Handbook 2.3.7: critical values for a check at three points.
@pytest.mark.parametrize(("freedom", "tabled"), [(10, 2.860), (61, 2.455)])
def test_three_points_judged_together_have_the_tabled_critical_values(freedom: int, tabled: float) -> None:
    assert simultaneous_quantile(3, freedom=freedom) == pytest.approx(tabled, abs=5e-4)


def test_the_published_example_of_three_points_has_its_limit() -> None:
    # NIST/SEMATECH e-Handbook 2.3.7.1: s = 0.06826, 38 degrees of freedom, slope 0.9767 -> 0.17455.
    assert 0.06826 / 0.9767 * simultaneous_quantile(3, freedom=38) == pytest.approx(0.17455, abs=2e-5)


def test_one_value_alone_has_the_normal_quantile() -> None:
    assert simultaneous_quantile(1) == pytest.approx(1.959964, abs=1e-6)


def test_the_moving_average_is_that_of_its_recursion_written_out() -> None:
    """Montgomery's scheme written out by hand: lambda 0.2, three sigma, limits that widen."""
    baseline = [1.0, -1.0, 1.0, -1.0, 1.0, -1.0]
    s = np.std(baseline, ddof=1)
    later = [2.0, 2.0, 2.0, 2.0]
    z, expected = 0.0, []
    for step, value in enumerate(later, start=1):
        z += 0.2 * (value - z)
        if abs(z) > 3.0 * s * np.sqrt(0.2 / 1.8 * (1.0 - 0.8 ** (2 * step))):
            expected.append(5 + step)
    assert ewma_signals([*baseline, *later], baseline=6) == tuple(expected)
    assert expected  # it does signal


def test_a_small_drift_is_signalled_where_single_values_stay_within_three_sigma() -> None:
    rng = np.random.default_rng(3)
    values = rng.standard_normal(20)
    later = 1.0 + 0.6 * rng.standard_normal(30)
    s, mean = values.std(ddof=1), values.mean()
    chain = [*values, *later]
    assert np.all(np.abs(later - mean) < 3.0 * s)
    assert ewma_signals(chain)[-1] == len(chain) - 1
    assert ewma_signals([*values, *rng.standard_normal(5) * 0.3]) == ()


def test_too_few_values_signal_nothing() -> None:
    assert ewma_signals([0.0, 100.0, 0.0]) == ()


def test_how_many_may_lie_outside_by_chance() -> None:
    rng = np.random.default_rng(8)
    counts = np.sum(rng.uniform(size=(20000, 100)) < 0.05, axis=1)
    assert np.mean(counts > expected_outside(100)) <= 0.01
    assert np.mean(counts > expected_outside(100) - 1) > 0.01
