"""Operating characteristic, outgoing quality, risks: closed forms, whole numbers, other ways of scipy."""

from __future__ import annotations

import subprocess
import sys
import time
from fractions import Fraction
from math import comb

import numpy as np
import pytest
from scipy import stats

from benchsweep.errors import UsageError
from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    acceptance_probability,
    attributes_plan,
    operating_curve,
    variables_plan,
    zero_acceptance_plan,
)

PERCENT = np.array([0.0, 0.01, 0.65, 2.0, 10.0, 33.0, 100.0])


def exact(size: int, count: int, accept: int, bad: int) -> Fraction:
    """Return P(d <= accept) by counting samples."""
    kept = sum(comb(bad, d) * comb(size - bad, count - d) for d in range(min(accept, count) + 1))
    return Fraction(kept, comb(size, count))


@pytest.mark.parametrize(
    ("lot_size", "aql"), [(2, 0.65), (20, 0.65), (20, 10.0), (90, 0.65), (90, 4.0), (500, 1.5), (3000, 6.5)]
)
def test_over_the_lot_it_counts_samples(lot_size: int, aql: float) -> None:
    """Type A against C(D, d) C(N - D, n - d) / C(N, n) in whole numbers."""
    plan = attributes_plan(lot_size, aql_percent=aql)
    curve = operating_curve(plan)
    assert curve.lot_percent.size <= 201
    bad = (curve.lot_percent * lot_size / 100.0).round().astype(int)
    expected = [float(exact(lot_size, plan.sample_size, plan.accept, int(each))) for each in bad]
    assert curve.lot_accepted == pytest.approx(expected, abs=1e-11)
    assert curve.lot_accepted[0] == 1.0
    assert curve.lot_accepted[-1] < 0.01


def test_a_lot_of_twenty() -> None:
    """3 of 20 reels tested, none may fail: one bad reel is accepted 85 times of 100, (17/20)."""
    plan = attributes_plan(20, level="S-4", aql_percent=4.0)
    assert (plan.sample_size, plan.accept) == (3, 0)
    curve = operating_curve(plan)
    assert curve.lot_percent[:2].tolist() == [0.0, 5.0]
    assert curve.lot_accepted[1] == pytest.approx(0.85, abs=1e-12)


def test_a_lot_tested_whole_is_told_apart_for_certain() -> None:
    plan = attributes_plan(15, aql_percent=0.65)
    assert (plan.sample_size, plan.table_sample_size, plan.accept, plan.whole_lot) == (15, 20, 0, True)
    curve = operating_curve(plan)
    assert curve.lot_accepted[0] == 1.0
    assert not curve.lot_accepted[1:].any()
    assert not curve.outgoing_percent.any()
    assert curve.outgoing_limit_percent == 0.0
    assert curve.inspected == pytest.approx(np.full(curve.percent.size, 15.0))


@pytest.mark.parametrize(
    ("lot_size", "aql", "severity"),
    [(90, 0.65, Severity.NORMAL), (500, 10.0, Severity.TIGHTENED), (200_000, 0.65, Severity.NORMAL)],
)
def test_binomial(lot_size: int, aql: float, severity: Severity) -> None:
    """Type B against scipy.stats.binom, which sums up in another way."""
    plan = attributes_plan(lot_size, aql_percent=aql, severity=severity)
    expected = stats.binom.cdf(plan.accept, plan.sample_size, PERCENT / 100.0)
    assert acceptance_probability(plan, PERCENT) == pytest.approx(expected, abs=1e-13)


def test_reduced_plans_accept_between_ac_and_re() -> None:
    """MIL-STD-105E, Table II-C: H, AQL 1.5 is 20, 1/3: two nonconforming are accepted, and reduced ends."""
    plan = attributes_plan(500, aql_percent=1.5, severity=Severity.REDUCED)
    assert (plan.sample_size, plan.accept, plan.reject) == (20, 1, 3)
    assert acceptance_probability(plan, PERCENT) == pytest.approx(stats.binom.cdf(2, 20, PERCENT / 100.0))


def test_above_ten_it_is_poisson() -> None:
    plan = attributes_plan(500, aql_percent=15.0)
    assert (plan.sample_size, plan.accept) == (50, 14) if plan.plan_letter == "H" else plan.plan_letter
    curve = operating_curve(plan)
    expected = stats.poisson.cdf(plan.accept, plan.sample_size * curve.percent / 100.0)
    assert curve.accepted == pytest.approx(expected, abs=1e-13)
    assert curve.lot_percent.size == 0
    # np of 10 % accepted is chi-square(90 %, 2c + 2) / 2
    consumer = 100.0 * stats.chi2.ppf(0.9, 2 * plan.accept + 2) / 2.0 / plan.sample_size
    assert curve.consumer_percent == pytest.approx(consumer, rel=1e-9)


@pytest.mark.parametrize("n_k", [(3, 0.341), (5, 1.53), (35, 1.89), (200, 2.97)])
def test_variables_are_noncentral_t(n_k: tuple[int, float]) -> None:
    """P(mean / s >= k) against scipy.stats.nct, and against drawn samples."""
    n, k = n_k
    plan = SamplingPlan("variables", 1000, n, 0, 1, characteristics=("next",), constant_k=k)
    percent = np.array([0.001, 0.1, 1.0, 5.0, 20.0, 60.0])
    found = acceptance_probability(plan, percent)
    away = -stats.norm.ppf(percent / 100.0) * np.sqrt(n)
    assert found == pytest.approx(stats.nct.sf(k * np.sqrt(n), n - 1, away), abs=1e-12)
    rng = np.random.default_rng(n)
    draws = rng.normal(size=(4000, n)) - stats.norm.ppf(0.05)
    share = np.mean(draws.mean(axis=1) >= k * draws.std(axis=1, ddof=1))
    assert share == pytest.approx(found[3], abs=4 * np.sqrt(0.25 / 4000))
    assert acceptance_probability(plan, np.array([0.0, 100.0])) == pytest.approx([1.0, 0.0], abs=1e-9)


PLANS = [
    attributes_plan(90, aql_percent=0.65),
    attributes_plan(5000, aql_percent=1.5),
    attributes_plan(500, aql_percent=1.5, severity=Severity.REDUCED),
    attributes_plan(500, aql_percent=40.0),
    variables_plan(500, aql_percent=0.65, characteristics=["next"]),
    variables_plan(5, aql_percent=15.0, characteristics=["next"], form="M"),
    zero_acceptance_plan(90, limiting_percent=5.0),
]
NAMES = [f"{plan.method}-{plan.lot_size}" for plan in PLANS]


@pytest.mark.parametrize("plan", PLANS, ids=NAMES)
def test_percentiles_are_on_the_curve(plan: SamplingPlan) -> None:
    curve = operating_curve(plan)
    points = np.array([curve.producer_percent, curve.indifferent_percent, curve.consumer_percent])
    assert acceptance_probability(plan, points) == pytest.approx([0.95, 0.5, 0.1], abs=1e-8)
    assert curve.accepted[-1] == pytest.approx(0.002, abs=1e-6)
    if plan.aql_percent is None:
        assert curve.producer_risk is None
    else:
        at_aql = acceptance_probability(plan, np.array([plan.aql_percent]))[0]
        assert curve.producer_risk == pytest.approx(1.0 - at_aql, abs=1e-15)


def test_percentile_against_the_beta_distribution() -> None:
    plan = attributes_plan(5000, aql_percent=1.5)
    expected = 100.0 * stats.beta.ppf(0.9, plan.accept + 1, plan.sample_size - plan.accept)
    assert operating_curve(plan).consumer_percent == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("plan", PLANS, ids=NAMES)
def test_the_limit_of_outgoing_quality_is_its_maximum(plan: SamplingPlan) -> None:
    curve = operating_curve(plan)
    fine = np.linspace(0.0, curve.percent[-1], 50_001) if plan.method != "variables" else curve.percent
    left = 1.0 - plan.sample_size / plan.lot_size
    out = acceptance_probability(plan, fine) * fine * left
    assert curve.outgoing_limit_percent >= out.max() * (1.0 - 1e-12)
    assert curve.outgoing_limit_percent == pytest.approx(out.max(), rel=1e-3)
    at = acceptance_probability(plan, np.array([curve.outgoing_limit_at]))[0] * curve.outgoing_limit_at * left
    assert curve.outgoing_limit_percent == pytest.approx(at, rel=1e-12)


def test_outgoing_limit_of_zero_acceptance() -> None:
    """c = 0: p (1 - p)^n is largest at p = 1 / (n + 1), calculus."""
    plan = zero_acceptance_plan(90, limiting_percent=5.0)
    n, curve = plan.sample_size, operating_curve(plan)
    assert curve.outgoing_limit_at == pytest.approx(100.0 / (n + 1), rel=1e-4)
    best = (n / (n + 1)) ** n / (n + 1) * (90 - n) / 90
    assert curve.outgoing_limit_percent == pytest.approx(100.0 * best, rel=1e-9)


def test_a_plan_that_accepts_everything() -> None:
    plan = SamplingPlan("attributes", 10, 2, 2, 3, table_sample_size=2)
    curve = operating_curve(plan)
    assert curve.accepted.tolist() == [1.0] * curve.percent.size
    assert curve.lot_accepted == pytest.approx(np.ones(11), abs=1e-12)
    assert (curve.producer_percent, curve.consumer_percent) == (100.0, 100.0)


def test_a_curve_needs_two_points() -> None:
    with pytest.raises(UsageError, match="1 points"):
        operating_curve(PLANS[0], points=1)


def test_fast_and_without_scipy_stats() -> None:
    """Commands about lots call it; scipy.stats alone takes half a second to import."""
    code = """
import sys
from benchsweep.statistics.sampling import attributes_plan, operating_curve
operating_curve(attributes_plan(90, aql_percent=1.0))
print('scipy.stats' in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "False", done.stderr
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        operating_curve(attributes_plan(3000, aql_percent=6.5))
        seconds.append(time.perf_counter() - start)
    assert min(seconds) < 0.03
