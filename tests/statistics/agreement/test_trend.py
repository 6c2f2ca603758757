"""Trends over time, held against the regression of scipy and against what chance does."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement import check_limits, trend


@pytest.mark.parametrize("seed", range(20))
def test_slope_and_error_are_those_of_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(3, 30))
    at, values = rng.uniform(0.0, 900.0, size), rng.normal(40.0, 0.3, size)
    found, known = trend(at, values), stats.linregress(at, values)
    assert found.slope == pytest.approx(known.slope)
    assert found.error == pytest.approx(known.stderr)
    # Two-sided, and as many values as there are share the confidence (Sidak).
    assert (abs(found.t) > found.limit) == (known.pvalue < 0.01)
    assert found.limit == pytest.approx(float(stats.t.ppf(0.995, size - 2)))
    shared = trend(at, values, together=8).limit
    assert shared == pytest.approx(float(stats.t.ppf(0.5 + 0.5 * 0.99 ** (1 / 8), size - 2)))
    assert found.change == pytest.approx(known.slope * np.ptp(at))


def test_as_often_as_chance_and_no_oftener() -> None:
    rng = np.random.default_rng(1)
    false = sum(bool(trend(range(6), rng.normal(size=6)).drifts) for _ in range(4000))
    # 1 % of 4000 with three deviations of the binomial distribution.
    assert abs(false - 40) <= 3.0 * math.sqrt(40.0 * 0.99)


def test_what_falls_by_far_more_than_it_scatters_is_seen_with_four_values() -> None:
    assert trend(range(4), [0.52, -3.8, -7.4, -11.0], together=8).drifts == -1
    assert trend(range(4), [0.52, -3.8, 2.4, -1.0], together=8).drifts == 0


def test_values_alike_to_the_last_digit_need_a_least_deviation() -> None:
    with pytest.raises(UsageError, match="on a line to the last digit"):
        trend(range(5), [1.0] * 5)
    assert trend(range(5), [1.0] * 5, least_deviation=0.01).drifts == 0
    assert trend(range(5), [1.0, 1.1, 1.2, 1.3, 1.4], least_deviation=0.01).drifts == 1
    with pytest.raises(UsageError, match="alike"):
        check_limits([1.0] * 5)
    limits = check_limits([1.0] * 5, least_deviation=0.01)
    assert limits.upper - limits.mean == pytest.approx(0.01 * float(stats.t.ppf(0.975, 4)))


def test_times_that_are_all_the_same_tell_nothing() -> None:
    with pytest.raises(UsageError, match="one level"):
        trend([3.0, 3.0, 3.0], [1.0, 2.0, 3.0])
