"""Intervals: the rules of the shipped file, and what the staircase comes to in the long run."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement import IN_SERVICE, in_use, interval_rules, staircase

YEAR = 365.0


def test_rules_say_where_they_come_from() -> None:
    rules = interval_rules()
    assert "ILAC-G24:2022" in rules.source
    assert rules.standing == "from-memory"
    assert rules.lengthen.within == 0.8  # 80 % of what is allowed, from memory
    assert rules.shorten.standing == rules.bounds.standing == "common-practice"
    assert "method 4" in IN_SERVICE


@pytest.mark.parametrize(
    ("found", "days", "words"),
    [
        ([], None, "fewer than two results yet"),
        ([(365, 0.2)], 365, "not twice in a row yet"),
        ([(365, 0.2), (365, -0.8)], 456.25, "found within 0.8 of what is allowed twice in a row"),
        ([(365, 0.2), (365, 0.85)], 365, "more than 0.8: 365 days stay"),
        ([(365, 0.2), (365, 1.0)], 365, "more than 0.8"),
        ([(365, 0.2), (365, -1.2)], 182.5, "found at 1.2 of what is allowed after 365 days"),
        (
            [(365, 0.2), (100, 1.2)],
            50,
            "0.5 times 100 days",
        ),  # less time than the interval was too long already
        ([(365, 1.2), (365, 0.2)], 365, "not twice in a row yet"),
        ([(365, 0.2), (2, 0.1)], 365, "measured after 2 of 365 days: too soon to tell"),
        ([(365, 0.2), (1, 3.0)], 7, "held to 7 days"),
    ],
)
def test_steps(found: list[tuple[float, float]], days: float | None, words: str) -> None:
    suggestion = staircase(YEAR, found)
    assert suggestion.days == (None if days is None else pytest.approx(days))
    assert words in suggestion.words
    assert suggestion.method.startswith("ILAC-G24:2022, method 1")


def test_bounds_hold_a_change_but_move_no_interval_that_was_set() -> None:
    assert staircase(1000.0, [(1000, 0.1), (1000, 0.1)]).days == pytest.approx(1095.0)
    assert staircase(2000.0, [(2000, 0.1), (2000, 0.1)]).days == pytest.approx(2000.0)
    assert staircase(3.0, [(3, 0.9)]).days == pytest.approx(3.0)


def test_use_is_counted_and_told_in_days() -> None:
    """750 matings at 5 a day: 150 days; well twice, so a quarter more; out, so a half."""
    good = in_use(750, [(700, 0.3), (750, 0.4)], uses_per_day=5.0)
    assert good.days == pytest.approx(187.5)
    assert "750 uses" in good.words
    assert good.method.startswith("ILAC-G24:2022, method 3")
    assert in_use(750, [(750, 0.3), (750, 1.4)], uses_per_day=5.0).days == pytest.approx(75.0)
    # Hardly used: the bound in days holds, but moves no interval that was longer before.
    assert in_use(750, [(700, 0.3), (750, 0.4)], uses_per_day=0.1).days == pytest.approx(7500.0)
    assert in_use(100, [(90, 0.3), (100, 0.4)], uses_per_day=0.1).days == pytest.approx(1095.0)
    assert in_use(750, [], uses_per_day=5.0).days is None


def long_run(per_year: float, seed: int) -> tuple[float, float]:
    """Return the mean interval in days and the share found beyond 1 of a tester with that drift."""
    draw = np.random.default_rng(seed)
    interval, found, out = YEAR, [], []
    days = []
    for _ in range(200):
        share = abs(draw.normal(0.0, 0.25) + per_year * interval / YEAR)
        found.append((interval, share))
        out.append(share > 1.0)
        days.append(interval)
        suggested = staircase(interval, found).days
        assert suggested is not None
        interval = suggested
        # A tester found beyond is adjusted: drift starts anew each time in this model.
    return float(np.mean(days[50:])), float(np.mean(out[50:]))


def test_a_tester_that_drifts_faster_gets_a_shorter_interval() -> None:
    slow, fast = long_run(0.3, 1), long_run(2.0, 1)
    assert slow[0] > 1.5 * fast[0]
    assert fast[0] < YEAR / 2
    # The staircase keeps most comparisons within, whatever the drift.
    assert max(slow[1], fast[1]) < 0.25


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: staircase(0.0, []), "an interval in days of 0"),
        (lambda: staircase(math.nan, []), "an interval in days of nan"),
        (lambda: staircase(365.0, [(-1.0, 0.5)]), "-1 days between comparisons"),
        (lambda: staircase(365.0, [(1.0, math.inf)]), "a share of what is allowed of inf"),
        (lambda: in_use(100.0, [], uses_per_day=0.0), "a number of uses in a day of 0"),
    ],
)
def test_what_makes_no_sense_is_told(call: object, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
