"""Zero acceptance against counting samples in whole numbers."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import pytest

from benchsweep.errors import UsageError
from benchsweep.statistics.sampling import operating_curve, zero_acceptance_plan


@pytest.mark.parametrize(
    ("lot_size", "percent", "risk", "n"),
    [(20, 10.0, 0.10, 14), (50, 10.0, 0.10, 18), (100, 5.0, 0.05, 45)],
)
def test_small_lots(lot_size: int, percent: float, risk: float, n: int) -> None:
    """Computed with scipy's hypergeometric distribution (N = 20, 50, 100 with D = 2, 5, 5)."""
    plan = zero_acceptance_plan(lot_size, limiting_percent=percent, consumer_risk=risk)
    assert (plan.sample_size, plan.accept, plan.reject) == (n, 0, 1)


@pytest.mark.parametrize("lot_size", [1, 2, 7, 20, 33, 90])
@pytest.mark.parametrize(
    ("percent", "risk"), [("1", "1/10"), ("6.5", "1/20"), ("10", "1/10"), ("100", "1/3")]
)
def test_the_smallest_sample_that_keeps_the_risk(lot_size: int, percent: str, risk: str) -> None:
    share, most = Fraction(percent) / 100, Fraction(risk)
    bad = next(d for d in range(1, lot_size + 1) if Fraction(d, lot_size) >= share)
    ways = [Fraction(comb(lot_size - bad, n), comb(lot_size, n)) for n in range(lot_size + 1)]
    smallest = next(n for n, accepted in enumerate(ways) if accepted <= most)
    plan = zero_acceptance_plan(lot_size, limiting_percent=float(percent), consumer_risk=float(most))
    assert plan.sample_size == smallest


def test_a_risk_that_is_just_met_is_kept() -> None:
    """One bad of ten: 9 tested leave exactly 1/10; 3 bad of 30 (10 %) is no case of 4 for rounding."""
    assert zero_acceptance_plan(10, limiting_percent=10.0, consumer_risk=0.1).sample_size == 9
    assert (
        zero_acceptance_plan(100, limiting_percent=7.0).sample_size
        == zero_acceptance_plan(100, limiting_percent=6.5).sample_size
    )


def test_its_curve_keeps_the_risk() -> None:
    plan = zero_acceptance_plan(90, limiting_percent=5.0, consumer_risk=0.1)
    curve = operating_curve(plan)
    worse = curve.lot_accepted[curve.lot_percent >= 5.0]
    assert worse.max() <= 0.1
    assert plan.level == ""
    assert plan.severity is None


@pytest.mark.parametrize(
    ("lot_size", "percent", "risk", "message"),
    [
        (0, 5.0, 0.1, "a lot of 0"),
        (90, 0.0, 0.1, "limiting quality of 0 %"),
        (90, 101.0, 0.1, "limiting quality of 101 %"),
        (90, float("nan"), 0.1, "limiting quality of nan"),
        (90, 5.0, 0.0, "consumer's risk of 0"),
        (90, 5.0, 1.0, "consumer's risk of 1"),
        (90, 5.0, 10.0, "consumer's risk of 10"),
    ],
)
def test_figures_out_of_range(lot_size: int, percent: float, risk: float, message: str) -> None:
    with pytest.raises(UsageError, match=message) as caught:
        zero_acceptance_plan(lot_size, limiting_percent=percent, consumer_risk=risk)
    assert caught.value.hint
