"""Reels of the shipped productions through reduction and grading: a good one, a bad one."""

from __future__ import annotations

import pytest

from benchsweep.records import Outcome, Parameter
from tests.journeys.productions import Reel, measured, table

POINTS = 60


@pytest.fixture(scope="module")
def good() -> list[Reel]:
    return [measured(f"tollmoor-6-{number:04d}", POINTS) for number in range(1, 9)]


def test_the_good_production_conforms_with_margins_as_cable_has_them(good: list[Reel]) -> None:
    assert {reel.outcome for reel in good} == {Outcome.PASS}
    for reel in good:
        # A few decibels: neither a cable that nobody makes nor one that nobody would buy.
        assert 0.0 < reel.margins[Parameter.NEXT] < 9.0
        assert 0.0 < reel.margins[Parameter.RETURN_LOSS] < 12.0
        assert 0.0 < reel.margins[Parameter.INSERTION_LOSS] < 2.0
    # Nothing is alike in all reels, so that charts of it have something to tell.
    for parameter in (Parameter.NEXT, Parameter.RETURN_LOSS, Parameter.DELAY, Parameter.SKEW):
        assert len({round(reel.margins[parameter], 3) for reel in good}) == len(good)


def test_the_bad_supplier_fails_at_times_and_says_in_what() -> None:
    # Of its first 40 reels six fail with 250 points (5, 10, 16, 28, 33, 40). NEXT has peaks that a coarse
    # grid may miss; with 60 points these three fail.
    failing = [measured(f"sallowfield-6-{number:04d}", POINTS) for number in (5, 28, 40)]
    assert {reel.outcome for reel in failing} == {Outcome.FAIL}
    for reel in failing:
        assert min(reel.margins.values()) < 0.0
        worst = min(reel.margins, key=lambda each: reel.margins[each])
        assert worst in (Parameter.NEXT, Parameter.PS_NEXT, Parameter.RETURN_LOSS, Parameter.ACR_F)
    others = [measured(f"sallowfield-6-{number:04d}", POINTS) for number in (1, 2, 3, 4)]
    assert {reel.outcome for reel in others} == {Outcome.PASS}


def test_the_table_counts(good: list[Reel]) -> None:
    bad = Reel("x-1", Outcome.FAIL, dict.fromkeys(good[0].margins, -1.0))
    lines = table([*good, bad]).splitlines()
    assert lines[0] == "9 reels against tia-6-cable, 1 do not pass: x-1"
    assert len(lines) == 4 + len(good[0].margins)
    assert all(line.endswith("| -1.00 | 1 |") for line in lines[4:])
