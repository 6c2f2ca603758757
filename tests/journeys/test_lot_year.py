"""Plans accept what their curves say, charts see what drifts, the switching rules do as they are written."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from benchsweep.records import Severity
from benchsweep.statistics.sampling import START
from tests.journeys.lot_year import PARTS, rows
from tests.journeys.lot_year_charts import drifted, ewma_run_length, trend_run_length
from tests.journeys.lot_year_rows import Row, rate_row, table
from tests.journeys.lot_year_series import inspected, plan_of

SEED = 2026
LOTS = 500
FEWER = {"no drift": 240, "step": 320, "drift": 80}
"""Charts need points rather than lots."""


@pytest.fixture(scope="module")
def year() -> dict[str, list[Row]]:
    return {part: rows(FEWER.get(part, LOTS), SEED, [part]) for part in PARTS}


@pytest.mark.parametrize("part", PARTS)
def test_what_is_found_is_what_is_expected(part: str, year: dict[str, list[Row]]) -> None:
    made = year[part]
    assert made
    assert not [row for row in made if not row.agrees], table(made)
    # The operating characteristic that is shown is the one from outside; 4001 points, so it is interpolated.
    for row in made:
        if row.curve is not None:
            assert row.curve == pytest.approx(row.expected, abs=1e-5), row.what


def test_it_is_a_year_of_many_lots(year: dict[str, list[Row]]) -> None:
    parts = ("attributes", "finite", "scheme", "bad supplier", "good supplier")
    assert sum(row.lots for part in parts for row in year[part] if row.expected is not None) > 10_000


@pytest.mark.parametrize("severity", list(Severity))
def test_another_acceptance_number_would_be_seen(severity: Severity, year: dict[str, list[Row]]) -> None:
    """The intervals are narrow enough: a plan with one more, or one fewer, disagrees somewhere."""
    plan = plan_of(severity)
    made = [row for row in year["attributes"] if row.what.startswith(severity) and row.curve is not None]
    for most in (plan.reject - 2, plan.reject):
        expected = [float(stats.binom.cdf(most, plan.sample_size, share)) for share in (0.015, 0.04, 0.09)]
        wrong = [replace(row, expected=each, curve=None) for row, each in zip(made, expected, strict=True)]
        assert not all(row.agrees for row in wrong)


def test_normality_costs_lots_and_not_risk(year: dict[str, list[Row]]) -> None:
    """Skewed margins are doubted more often than 5 %, and fewer bad lots of them are accepted."""
    found = {row.what: row for row in year["variables"]}
    doubted = found["minima: not decided"]
    normal = next(row for what, row in found.items() if "not normal at 5 %" in what)
    assert normal.high < doubted.low
    unchecked = found["minima, 5 % do not conform: accepted without the test"]
    assert found["minima: accepted with the test"].found < unchecked.found
    # Minima have a long lower tail: k takes more of them for good than normal margins of the same share.
    of_normal = next(row for what, row in found.items() if what.startswith("5 %") and "decided" not in what)
    assert of_normal.expected is not None
    assert unchecked.low > of_normal.expected


@pytest.mark.parametrize("share", [0.03, 0.05, 0.08])
def test_a_bad_supplier_is_stopped_as_the_rules_are_written(share: float) -> None:
    """Against ISO 2859-1 as patterns over a row of outcomes: 2 of 5, 5 in a row, 5 on tightened."""
    draw = np.random.default_rng([SEED, int(1000 * share)])
    for _ in range(40):
        state, passed = START, {Severity.NORMAL: "", Severity.TIGHTENED: ""}
        while not state.discontinued and len(passed[Severity.TIGHTENED]) < 100:
            before = state.severity
            state, found = inspected(draw, state, share)
            passed[before] += "+" if found.accepted else "-"
            if before is Severity.TIGHTENED and state.severity is Severity.NORMAL:
                break
        normal, tightened = passed[Severity.NORMAL], passed[Severity.TIGHTENED]
        switch = re.search(r"-\+{0,3}-", normal)
        assert switch is not None
        assert switch.end() == len(normal)
        back, stop = tightened.find("+++++"), re.match(r"(?:\+*-){5}", tightened)
        if state.discontinued:
            assert back < 0
            assert stop is not None
            assert stop.end() == len(tightened)
        else:
            assert back + 5 == len(tightened)
            assert stop is None


def test_run_lengths_are_the_published_ones() -> None:
    """Crowder, Technometrics 29 (1987); Lucas and Saccucci, Technometrics 32 (1990); from memory."""
    assert ewma_run_length(0.25, 3.0) == pytest.approx(502.9, abs=0.1)
    assert ewma_run_length(0.2, 2.962) == pytest.approx(500.0, rel=2e-3)
    assert ewma_run_length(0.1, 2.814) == pytest.approx(500.0, rel=2e-3)
    assert ewma_run_length(0.1, 2.814, 1.0) == pytest.approx(10.3, abs=0.05)


def test_run_lengths_of_a_drift_are_those_of_other_ways() -> None:
    # Single points are independent: the share that lasts is a product. Without drift it is what Crowder has.
    slope, lasts, length = 0.1, 1.0, 0.0
    for number in range(1, 200):
        length += lasts
        lasts *= float(stats.norm.cdf(3.0 - slope * number) - stats.norm.cdf(-3.0 - slope * number))
    assert trend_run_length(slope, 1.0) == pytest.approx(length, rel=1e-9)
    assert trend_run_length(0.0, 0.2, 2.0) == pytest.approx(ewma_run_length(0.2, 2.0), rel=1e-9)


def test_charts_tell_of_a_drift_before_lots_are_refused() -> None:
    """A slow drift, limits of 25 lots: the weighted average is first, then lot means, then sampling."""
    suppliers = 80
    found = drifted(np.random.default_rng(SEED), suppliers, slope_db=0.1)
    average, between, refused = (np.array(each) for each in (found.average, found.between, found.refused))
    assert average.max() <= 60  # every drift is told of within the 60 lots
    assert between.max() <= 60
    # Signs, exact: as often first as not would have p = 1/2.
    for sooner, later in ((average, between), (average, refused)):
        first, second = int((sooner < later).sum()), int((sooner > later).sum())
        assert stats.binomtest(first, first + second, 0.5, alternative="greater").pvalue < 1e-3
    steady = drifted(np.random.default_rng(SEED), suppliers, slope_db=0.0)
    alarms = rate_row("", "", sum(each <= 60 for each in steady.average), suppliers, None, "")
    assert alarms.high < 0.7, "most steady processes alarm: a signal would tell nothing"
