"""What a plan by variables says of margins."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from benchsweep.errors import UsageError
from benchsweep.records import Normality, SamplingPlan
from benchsweep.statistics.sampling import attributes_plan, judge_variables, variables_plan

FINE = Normality(5, 0.95, 0.6, False, "Shapiro-Wilk, p = 0.6")
DOUBTFUL = Normality(5, 0.6, 0.001, True, "Shapiro-Wilk, p = 0.001")
UNKNOWN = Normality(5, None, None, None, "fewer than 8 values")
GOOD = [3.0, 4.0, 5.0, 4.5, 3.5]


def plan_by(form: str = "k") -> SamplingPlan:
    return variables_plan(40, aql_percent=1.0, characteristics=["next", "rl"], form=form)  # type: ignore[arg-type]


def test_mean_deviation_and_quality() -> None:
    decision = judge_variables(plan_by(), "next", GOOD, FINE)
    assert (decision.characteristic, decision.count, decision.mean) == ("next", 5, 4.0)
    assert decision.deviation == pytest.approx(np.std(GOOD, ddof=1))
    assert decision.quality == pytest.approx(4.0 / np.std(GOOD, ddof=1))
    assert (decision.accepted, decision.normality_p) == (True, 0.6)
    assert decision.words == "next: Q = 5.06, k is 1.53, estimated 0 % nonconforming"


def test_both_forms_accept_the_same() -> None:
    """Around Q = k: k and M say the same, up to the last digits."""
    shape = np.array([-1.2, -0.3, 0.1, 0.4, 1.0])
    shape = (shape - shape.mean()) / shape.std(ddof=1)
    for step in (-1e-9, 1e-9):
        margins = list(shape + 1.53 + step)
        told = {form: judge_variables(plan_by(form), "next", margins).accepted for form in ("k", "M")}
        assert told == {"k": step > 0, "M": step > 0}


def test_the_estimate_is_the_beta_distribution() -> None:
    """Lieberman and Resnikoff (1955), as scipy.stats.beta; half of it at Q = 0."""
    margins = [0.5, -0.2, 0.9, 1.1, 0.3]
    decision = judge_variables(plan_by(), "next", margins)
    at = max(0.0, 0.5 - 0.5 * decision.quality * math.sqrt(5) / 4)
    assert decision.estimated_percent == pytest.approx(100.0 * stats.beta.cdf(at, 1.5, 1.5), rel=1e-12)
    even = judge_variables(plan_by(), "next", [-2.0, -1.0, 0.0, 1.0, 2.0])
    assert even.estimated_percent == pytest.approx(50.0)
    assert even.accepted is False


def test_the_estimate_is_unbiased() -> None:
    """Its mean over drawn samples is the true share below zero: 5 %."""
    rng = np.random.default_rng(5)
    draws = rng.normal(size=(4000, 5)) - stats.norm.ppf(0.05)
    found = [judge_variables(plan_by(), "next", list(row)).estimated_percent for row in draws]
    assert np.mean(found) == pytest.approx(5.0, abs=4 * float(np.std(found)) / math.sqrt(4000))


def test_doubtful_margins_decide_nothing() -> None:
    for margins in (GOOD, [-4.0, -5.0, -3.0, -4.5, -3.5]):
        decision = judge_variables(plan_by(), "next", margins, DOUBTFUL)
        assert decision.accepted is None
        assert "the margins are not normal (Shapiro-Wilk, p = 0.001)" in decision.words
        assert decision.normality_p == 0.001


@pytest.mark.parametrize("normality", [None, UNKNOWN])
def test_too_few_to_test_are_decided_and_told(normality: Normality | None) -> None:
    decision = judge_variables(plan_by(), "next", GOOD, normality)
    assert decision.accepted is True
    assert "whether the margins are normal is not known" in decision.words


@pytest.mark.parametrize("form", ["k", "M"])
@pytest.mark.parametrize(
    ("value", "quality", "percent", "accepted"),
    [(0.1, math.inf, 0.0, True), (0.0, math.inf, 0.0, True), (-0.1, -math.inf, 100.0, False)],
)
def test_margins_that_are_all_the_same(
    form: str, value: float, quality: float, percent: float, accepted: bool
) -> None:
    decision = judge_variables(plan_by(form), "next", [value] * 5)
    assert (decision.quality, decision.estimated_percent) == (quality, percent)
    assert (decision.accepted, decision.deviation) == (accepted, 0.0)


def test_the_unit_of_the_margins_does_not_matter() -> None:
    first = judge_variables(plan_by(), "next", [1e-9 * each for each in GOOD])
    assert first.quality == pytest.approx(judge_variables(plan_by(), "next", GOOD).quality)


@pytest.mark.parametrize(
    ("characteristic", "margins", "normality", "message"),
    [
        ("acr_f", GOOD, None, "does not judge acr_f"),
        ("next", GOOD[:4], None, "4 margins of next, but the plan asks for 5"),
        ("next", [*GOOD[:4], math.inf], None, "margin 5 of next is inf"),
        ("next", [math.nan, *GOOD[:4]], None, "margin 1 of next is nan"),
        ("next", GOOD, Normality(6, None, None, None, ""), "tested with 6 margins"),
    ],
)
def test_what_cannot_be_judged(
    characteristic: str, margins: list[float], normality: Normality | None, message: str
) -> None:
    with pytest.raises(UsageError, match=message) as caught:
        judge_variables(plan_by(), characteristic, margins, normality)
    assert caught.value.hint


def test_a_plan_by_attributes_judges_no_margins() -> None:
    with pytest.raises(UsageError, match="by attributes judges no margins"):
        judge_variables(attributes_plan(40, aql_percent=1.0), "next", GOOD)
