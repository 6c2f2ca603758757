"""Capability, tolerance limits and normality against published values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.statistics.process import (
    capability,
    least_count,
    normality,
    one_sided_factor,
    tolerance_limits,
    two_sided_factor,
)


def spread(mean: float, deviation: float, count: int) -> np.ndarray:
    """Return `count` values with exactly that mean and standard deviation."""
    raw = np.random.default_rng(count).normal(0.0, 1.0, count)
    return mean + deviation * (raw - raw.mean()) / np.std(raw, ddof=1)


def test_index_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 6.1.6, from memory: limits 8 and 20, mean 16, s 2: Cpk 0.6667, from the upper
    # side, whose margins are 20 - x.
    found = capability(20.0 - spread(16.0, 2.0, 40))
    assert found.index == pytest.approx(0.6667, abs=5e-5)


def test_index_of_a_statistics_package() -> None:
    # Test of an R package for quality work: 20 volumes, mean 749.7625, s 2.104196, lower limit 740:
    # 1.54651309711296.
    found = capability(spread(749.7625, 2.104196, 20) - 740.0)
    assert found.index == pytest.approx(1.54651309711296, rel=1e-6)
    assert found.percent_below < 1e-3


@pytest.mark.parametrize(("count", "bound"), [(50, 1.0931), (10, 0.777)])
def test_bound_is_exact(count: int, bound: float) -> None:
    # Computed independently with the noncentral t distribution of scipy.stats, checked below.
    from scipy.stats import nct

    found = capability(spread(3.0 * 1.33, 1.0, count))
    assert found.index == pytest.approx(1.33)
    assert found.lower_bound == pytest.approx(bound, abs=5e-4)
    root = math.sqrt(count)
    assert nct.cdf(3.0 * 1.33 * root, count - 1, 3.0 * found.lower_bound * root) == pytest.approx(0.95)


def test_ten_values_must_show_much_to_prove_one() -> None:
    # From the same calculation: of ten values an index of 1.69 is needed for a bound of 1.
    assert capability(spread(3.0 * 1.69, 1.0, 10)).lower_bound == pytest.approx(1.0, abs=5e-3)


@settings(max_examples=60, deadline=None)
@given(
    count=st.integers(3, 200),
    mean=st.floats(-2.0, 6.0),
    content=st.sampled_from([0.9, 0.95, 0.99, 0.9973]),
    confidence=st.sampled_from([0.8, 0.9, 0.95, 0.99]),
)
def test_bound_and_tolerance_limit_say_the_same(
    count: int, mean: float, content: float, confidence: float
) -> None:
    # Identity: bound >= z/3 exactly when mean - k1 s >= 0.
    from scipy.stats import norm

    values = spread(mean, 1.0, count)
    limit = tolerance_limits(values, content=content, confidence=confidence).lower
    assert limit is not None
    bound = capability(values, confidence=confidence).lower_bound
    if abs(limit) > 1e-9:
        assert (bound >= float(norm.ppf(content)) / 3.0) == (limit >= 0.0)


@pytest.mark.parametrize(
    ("count", "content", "confidence", "published"),
    [
        # ISO 16269-6, from memory.
        (10, 0.95, 0.95, 2.911),
        # Exact value of NIST/SEMATECH e-Handbook 7.2.6.3, from memory; its approximation is 1.8752.
        (43, 0.90, 0.99, 1.8740),
    ],
)
def test_one_sided_factors(count: int, content: float, confidence: float, published: float) -> None:
    assert one_sided_factor(count, content, confidence) == pytest.approx(published, abs=6e-4)


def test_one_sided_factor_beside_its_usual_approximation() -> None:
    # NIST/SEMATECH e-Handbook 7.2.6.3 (Natrella's formula), 43 values, 90 %, 99 %: 1.8751896 as printed in a
    # worksheet of that page; the exact factor is 1.8740 (from memory), near it and smaller.
    z, g = 1.2815515655446004, 2.3263478740408408
    a, b = 1.0 - g**2 / (2.0 * 42.0), z**2 - g**2 / 43.0
    printed = (z + math.sqrt(z**2 - a * b)) / a
    assert printed == pytest.approx(1.8751896, abs=5e-7)
    assert 0.0 < printed - one_sided_factor(43, 0.90, 0.99) < 2e-3


def test_one_sided_factors_equal_another_program() -> None:
    from scipy.stats import nct, norm

    for count in (2, 3, 5, 17, 60, 400):
        for content in (0.5, 0.9, 0.999):
            for confidence in (0.05, 0.5, 0.95, 0.99):
                shift = norm.ppf(content) * math.sqrt(count)
                other = nct.ppf(confidence, count - 1, shift) / math.sqrt(count)
                assert one_sided_factor(count, content, confidence) == pytest.approx(
                    other, abs=1e-7, rel=1e-7
                )


@pytest.mark.parametrize(
    ("count", "content", "published"),
    [
        # Berthouex & Brown, Statistics for Environmental Engineers, Table 21.1, confidence 0.95.
        (5, 0.90, 4.29),
        (5, 0.95, 5.08),
        (5, 0.99, 6.60),
        (10, 0.95, 3.39),
        (20, 0.90, 2.32),
        (20, 0.95, 2.76),
        (20, 0.99, 3.62),
        (30, 0.90, 2.15),
        (30, 0.95, 2.55),
        (30, 0.99, 3.35),
    ],
)
def test_two_sided_factors(count: int, content: float, published: float) -> None:
    assert two_sided_factor(count, content, 0.95) == pytest.approx(published, abs=5.1e-3)


def test_two_sided_factor_to_more_places() -> None:
    # ISO 16269-6, from memory: 10 values, 95 %, 95 %: 3.393.
    assert two_sided_factor(10, 0.95, 0.95) == pytest.approx(3.393, abs=5e-4)


@pytest.mark.parametrize(
    ("count", "content", "confidence"), [(2, 0.95, 0.95), (3, 0.9, 0.9), (60, 0.99, 0.95)]
)
def test_two_sided_factors_fulfil_their_equation(count: int, content: float, confidence: float) -> None:
    # The chance, integrated by another program, that limits at this factor hold the content.
    from scipy.integrate import quad
    from scipy.optimize import brentq
    from scipy.stats import chi2, norm

    k = two_sided_factor(count, content, confidence)

    def held(z: float) -> float:
        x = z / math.sqrt(count)
        r = brentq(lambda r: norm.cdf(x + r) - norm.cdf(x - r) - content, 0.0, abs(x) + 10.0)
        return float(2.0 * norm.pdf(z) * chi2.sf((count - 1) * (r / k) ** 2, count - 1))

    assert quad(held, 0.0, 9.0, epsabs=1e-10)[0] == pytest.approx(confidence, abs=1e-8)


def test_two_sided_factor_beside_its_usual_approximation() -> None:
    # Montgomery & Runger, Example 8-9, and a worksheet of NIST 7.2.6.3 print Howe's approximation (2.264,
    # 2.2173); the exact factor is larger by a few thousandths.
    for count, content, confidence, printed in ((22, 0.90, 0.95, 2.264), (43, 0.90, 0.99, 2.2173159)):
        from scipy.stats import chi2, norm

        z = norm.ppf(0.5 * (1.0 + content))
        chi = chi2.ppf(1.0 - confidence, count - 1)
        howe = math.sqrt((count - 1) * (1.0 + 1.0 / count) * z**2 / chi)
        assert howe == pytest.approx(printed, abs=5e-4)
        assert 0.0 < two_sided_factor(count, content, confidence) - howe < 0.01


def test_two_sided_limits_hold_what_they_say() -> None:
    draw = np.random.default_rng(20)
    from scipy.stats import norm

    held = 0
    for _ in range(2000):
        found = tolerance_limits(draw.normal(0.0, 1.0, 8), content=0.9, confidence=0.9, sides="both")
        assert found.lower is not None
        assert found.upper is not None
        held += norm.cdf(found.upper) - norm.cdf(found.lower) >= 0.9
    # Four standard deviations of a share of 2000.
    assert held / 2000 == pytest.approx(0.9, abs=4.0 * math.sqrt(0.09 / 2000))


def test_values_needed_without_a_distribution() -> None:
    # Well known: 59 for one side, 93 for both, at 95 % and 95 %.
    assert least_count(0.95, 0.95) == 59
    assert least_count(0.95, 0.95, sides="both") == 93
    assert least_count(0.99, 0.95) == 299
    values = np.arange(59.0)
    assert tolerance_limits(values, content=0.95, method="distribution-free").lower == 0.0
    with pytest.raises(UsageError, match="58 values tell no limit") as refused:
        tolerance_limits(values[:58], content=0.95, method="distribution-free")
    assert refused.value.hint == "It takes 59."


def test_rank_of_a_limit_without_a_distribution() -> None:
    # With 93 values the second least is the limit of 95 % at 95 %: 1 - 0.95^93 - 93 0.05 0.95^92 = 0.9500.
    found = tolerance_limits(np.arange(93.0), content=0.95, method="distribution-free")
    assert found.lower == 1.0
    both = tolerance_limits(np.arange(93.0), content=0.95, sides="both", method="distribution-free")
    assert (both.lower, both.upper) == (0.0, 92.0)


@pytest.mark.parametrize("values", [[1.0], [2.0, 2.0, 2.0], [1.0, math.nan], [math.inf, 1.0, 2.0]], ids=str)
def test_no_capability(values: list[float]) -> None:
    with pytest.raises(UsageError):
        capability(values)


@pytest.mark.parametrize(
    ("deviation", "degrees"), [(0.0, 5), (-1.0, 5), (math.nan, 5), (math.inf, 5), (1.0, 0)]
)
def test_no_capability_with_a_deviation_that_is_none(deviation: float, degrees: int) -> None:
    with pytest.raises(UsageError, match=r"makes no sense|degrees of freedom"):
        capability([4.0, 5.0, 6.0], deviation=deviation, degrees=degrees)


def test_bound_with_a_deviation_from_within() -> None:
    # Another program: mean 5, s 1.2 with 30 degrees of freedom, of 3 values.
    from scipy.stats import nct

    found = capability([4.0, 5.0, 6.0], deviation=1.2, degrees=30)
    assert found.within
    assert found.index == pytest.approx(5.0 / 3.6)
    shift = 3.0 * math.sqrt(3.0) * found.lower_bound
    assert nct.cdf(math.sqrt(3.0) * 5.0 / 1.2, 30, shift) == pytest.approx(0.95)


@pytest.mark.parametrize(("content", "confidence"), [(0.0, 0.9), (1.0, 0.9), (0.9, 1.0), (0.9, -1.0)])
def test_parts_that_are_none(content: float, confidence: float) -> None:
    with pytest.raises(UsageError):
        tolerance_limits([1.0, 2.0, 3.0], content=content, confidence=confidence)


def test_normality() -> None:
    draw = np.random.default_rng(11)
    assert normality(draw.normal(3.0, 1.0, 60)).doubtful is False
    skewed = normality(draw.exponential(1.0, 60))
    assert skewed.doubtful is True
    assert "not normal" in skewed.words
    assert normality([1.0] * 7).doubtful is None
    assert normality([1.0] * 20).doubtful is True
    assert normality(draw.normal(0.0, 1.0, 6000)).count == 5000


def test_normality_alarms_as_often_as_it_says() -> None:
    draw = np.random.default_rng(12)
    refused = sum(bool(normality(draw.normal(0.0, 1.0, 20)).doubtful) for _ in range(1000))
    assert refused / 1000 == pytest.approx(0.05, abs=4.0 * math.sqrt(0.05 * 0.95 / 1000))
