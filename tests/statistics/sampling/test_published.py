"""Plans and curves against figures that others published; each names its source."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from benchsweep.records import Normality, SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    acceptance_probability,
    attributes_plan,
    judge_variables,
    operating_curve,
    variables_plan,
    zero_acceptance_plan,
)


def plan_of(n: int, c: int, *, lot_size: int = 10_000, aql: float | None = None) -> SamplingPlan:
    return SamplingPlan("attributes", lot_size, n, c, c + 1, aql_percent=aql, table_sample_size=n)


def accepted(plan: SamplingPlan, share: float) -> float:
    return float(acceptance_probability(plan, np.array([100.0 * share]))[0])


def test_defects_per_hundred_units() -> None:
    """7 CFR 42.140(c): n = 500, c = 3: 26 % of lots with 1.0 defects/100 accepted, about 99 % with 0.10."""
    plan = plan_of(500, 3, aql=15.0)  # an AQL above 10 counts per hundred units
    assert accepted(plan, 0.01) == pytest.approx(0.26, abs=0.006)
    assert accepted(plan, 0.001) > 0.985


@pytest.mark.parametrize(
    ("n", "c", "share", "published", "tolerance"),
    [
        (125, 2, 0.1, 0.000210835, 1e-8),  # Planesmuestra, worked example
        (20, 0, 0.05, 0.358, 6e-4),  # AcceptanceSampling, manual and JSS 26 (2008)
        (20, 0, 0.15, 0.039, 6e-4),  # the same
        (68, 2, 0.01213, 0.95, 1e-4),  # samplingplans.com, a question answered there
        (68, 2, 0.089704, 0.05, 1e-5),  # the same
        (52, 3, 0.03, 0.930, 5e-4),  # NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.3.2
    ],
)
def test_probability_of_acceptance(n: int, c: int, share: float, published: float, tolerance: float) -> None:
    assert accepted(plan_of(n, c), share) == pytest.approx(published, abs=tolerance)


def test_the_smallest_plan_between_two_points() -> None:
    """AcceptanceSampling, manual and JSS 26 (2008): P(5 %) >= 0.95 and P(15 %) <= 0.075 need 80, 7."""
    fitting = [
        (n, c)
        for n in range(60, 82)
        for c in range(3, 10)
        if accepted(plan_of(n, c), 0.05) >= 0.95 and accepted(plan_of(n, c), 0.15) <= 0.075
    ]
    assert fitting[0] == (80, 7)


def test_average_outgoing_quality() -> None:
    """NIST/SEMATECH e-Handbook, 6.2.3.2: N = 10 000, n = 52, c = 3, p = 0.03: AOQ = 0.02775.

    Computed there from P = 0.930, which is rounded: half of its last digit is 0.0015 % of AOQ.
    """
    curve = operating_curve(plan_of(52, 3), points=2001)
    assert np.interp(3.0, curve.percent, curve.outgoing_percent) == pytest.approx(2.775, abs=1.5e-3)
    # ATI of the same page: n + (1 - Pa) (N - n) with Pa = 0.930
    assert np.interp(3.0, curve.percent, curve.inspected) == pytest.approx(52 + 0.070 * 9948, abs=6)


def scheme_at(share: float) -> float:
    options = {"aql_percent": 1.5}
    normal = attributes_plan(5000, **options)
    tightened = attributes_plan(5000, **options, severity=Severity.TIGHTENED)
    assert (normal.code_letter, normal.sample_size, normal.accept, tightened.accept) == ("L", 200, 7, 5)
    curve = operating_curve(normal, tightened=tightened, points=2001)
    assert curve.scheme_accepted is not None
    return float(np.interp(100.0 * share, curve.percent, curve.scheme_accepted))


def test_a_scheme() -> None:
    """AQLSchemes, vignette (Stephens and Larson 1967): L, AQL 1.5: P(0.019296) = 0.95, P(0.045884) = 0.10."""
    assert scheme_at(0.019296) == pytest.approx(0.95, abs=1e-3)
    assert scheme_at(0.045884) == pytest.approx(0.10, abs=1e-3)


def test_the_single_plan_that_a_scheme_is_worth() -> None:
    """The same vignette: a single plan with the same two points needs n = 359."""
    found = [
        (n, c)
        for n in (*range(340, 360),)
        for c in range(9, 14)
        if accepted(plan_of(n, c), 0.019296) >= 0.95 and accepted(plan_of(n, c), 0.045884) <= 0.10
    ]
    assert found == [(359, 11)]


@pytest.mark.parametrize(
    ("limiting_percent", "risk", "n"),
    [(5.0, 0.05, 59), (10.0, 0.10, 22), (1.0, 0.05, 299)],
)
def test_zero_acceptance_of_large_lots(limiting_percent: float, risk: float, n: int) -> None:
    """The well-known numbers of the binomial: ln(risk) / ln(1 - p), rounded up: 95/95, 90/10, 95/1."""
    plan = zero_acceptance_plan(10**7, limiting_percent=limiting_percent, consumer_risk=risk)
    assert plan.sample_size == n == int(np.ceil(np.log(risk) / np.log(1 - limiting_percent / 100)))


def by_variables(n: int, k: float) -> SamplingPlan:
    plan = variables_plan(1000, aql_percent=1.0, characteristics=["next"])
    return replace(plan, sample_size=n, constant_k=k)


def test_variables_between_two_points() -> None:
    """AcceptanceSampling, manual: n = 49, k = 1.326538 is the smallest for (0.05, 0.95), (0.15, 0.075)."""
    plan = by_variables(49, 1.326538)
    assert accepted(plan, 0.05) == pytest.approx(0.95, abs=1e-5)
    assert accepted(plan, 0.15) <= 0.075
    smaller = by_variables(48, 1.326538)
    assert accepted(smaller, 0.05) < 0.95


def test_the_two_forms_of_one_plan() -> None:
    """AQLSchemes: n = 75, M = 3.17 % is k = 1.84097."""
    margins = np.linspace(-1.0, 1.0, 75)
    margins = (margins - margins.mean()) / margins.std(ddof=1) + 1.84097  # Q = 1.84097
    decision = judge_variables(by_variables(75, 1.84), "next", list(margins))
    assert decision.quality == pytest.approx(1.84097, abs=1e-12)
    assert decision.estimated_percent == pytest.approx(3.17, abs=2e-5)


def test_a_constant() -> None:
    """A manual's question and answer: n = 35, AQL 1 %: k = 1.89."""
    plan = variables_plan(1000, aql_percent=1.0, characteristics=["next"])
    assert (plan.code_letter, plan.sample_size, plan.constant_k) == ("K", 35, 1.89)


NORMAL_ENOUGH = Normality(5, None, None, None, "too few")


@pytest.mark.parametrize("form", ["k", "M"])
def test_example_b_1(form: str) -> None:
    """MIL-STD-414, Example B-1, from memory: temperatures, upper limit 209; Q = 1.59, p = 2.19 %."""
    margins = [209.0 - value for value in (197.0, 188.0, 184.0, 205.0, 201.0)]
    plan = variables_plan(40, aql_percent=1.0, characteristics=["next"], form=form)  # type: ignore[arg-type]
    assert (plan.sample_size, plan.constant_k) == (5, 1.53)
    decision = judge_variables(plan, "next", margins, NORMAL_ENOUGH)
    assert decision.accepted is True
    assert decision.quality == pytest.approx(1.59, abs=5e-3)
    assert decision.estimated_percent == pytest.approx(2.19, abs=1.5e-2)


def test_variables_need_fewer_units() -> None:
    """AcceptanceSampling, manual: the same two points need 80 units by attributes, 49 by variables."""
    shares = np.array([5.0, 15.0])
    counted = acceptance_probability(plan_of(80, 7), shares)
    measured = acceptance_probability(by_variables(49, 1.326538), shares)
    assert np.abs(counted - measured).max() < 5e-3
    assert all(before > after for before, after in pairwise(counted))
