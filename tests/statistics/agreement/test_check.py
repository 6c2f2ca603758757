"""Check standards against the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.records import LevelCheck
from benchsweep.statistics.agreement import (
    check_limits,
    deviation_in_control,
    fit_line,
    level_check,
    shared_t,
)

# NIST/SEMATECH e-Handbook 2.3.7.1, optical line widths: reference low, middle, upper, and what was measured
# on six days (from memory; that day 4 alone is out, at all levels, is the handbook's).
LEVELS = (0.76, 3.29, 8.89)
DAYS = [
    (1.12, 3.49, 9.11),
    (0.99, 3.53, 8.89),
    (1.05, 3.46, 9.02),
    (0.76, 3.75, 9.30),
    (0.96, 3.53, 9.05),
    (1.03, 3.52, 9.02),
]

# NIST Statistical Reference Datasets, linear regression, Norris (public domain): y, x.
NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6
778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6
557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1
888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""


@pytest.mark.parametrize(("count", "t"), [(6, 2.571), (10, 2.262), (25, 2.064)])
def test_limits_are_t_deviations_from_the_mean(count: int, t: float) -> None:
    """e-Handbook 2.3.5.2: mean -+ t s; quantiles of its table 1.3.6.7.2."""
    some = np.random.default_rng(count).normal(20.0, 0.3, count)
    found = check_limits(some)
    mean = sum(some) / count
    s = math.sqrt(sum((each - mean) ** 2 for each in some) / (count - 1))
    assert (found.count, found.confidence, found.together) == (count, 0.95, 1)
    assert found.mean == pytest.approx(mean)
    assert found.deviation == pytest.approx(s)
    assert (found.upper - mean) / s == pytest.approx(t, abs=5e-4)
    assert (mean - found.lower) / s == pytest.approx(t, abs=5e-4)


@pytest.mark.parametrize(("freedom", "t"), [(10, 2.860), (61, 2.455)])
def test_three_levels_share_their_confidence(freedom: int, t: float) -> None:
    """e-Handbook 2.3.7, table of t* for three levels at 5 %."""
    assert shared_t(freedom, together=3) == pytest.approx(t, abs=5e-4)
    # Sidak by hand: three values at once.
    assert shared_t(freedom, together=1, confidence=0.95 ** (1 / 3)) == pytest.approx(
        shared_t(freedom, together=3), rel=1e-9
    )


def test_precision_limit_of_the_handbook() -> None:
    """e-Handbook 2.3.5.1.1: 117 runs, 351 degrees of freedom, 3 for each run, 1 %: sqrt(F) is 1.959."""
    assert deviation_in_control(1.0, 3, 1.0, 351).limit == pytest.approx(1.959, abs=1e-3)
    assert deviation_in_control(1.95, 3, 1.0, 351).in_control
    assert not deviation_in_control(1.97, 3, 1.0, 351).in_control


def test_line_widths_of_the_handbook() -> None:
    """e-Handbook 2.3.7.1: b0 .2817, b1 .9767, s .06826, 38 degrees of freedom; day 4 is out at all levels.

    t* 2.4976 and the limit .17455 were computed from those figures with scipy.
    """
    found: list[LevelCheck] = [
        level_check(LEVELS, day, intercept=0.2817, slope=0.9767, deviation=0.06826, freedom=38)
        for day in DAYS
    ]
    assert [each.out for each in found] == [(), (), (), ("low", "middle", "high"), (), ()]
    assert {round(each.limit, 5) for each in found} == {0.17455}
    assert shared_t(38, together=3) == pytest.approx(2.4976, abs=5e-5)
    # By hand: (0.76 - .2817) / .9767 - 0.76.
    assert found[3].deviation[0] == pytest.approx(-0.2703, abs=5e-5)
    assert found[3].words.startswith("out of control: low -0.27, middle")
    assert found[0].words.startswith("in control")


def test_a_certified_line() -> None:
    """NIST StRD Norris, certified: -0.262323073774029, 1.00211681802045, s 0.884796396144373."""
    numbers = np.array(NORRIS.split(), dtype=float).reshape(-1, 2)
    found = fit_line(numbers[:, 1], numbers[:, 0])
    assert found.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.deviation == pytest.approx(0.884796396144373, rel=1e-9)
    assert found.freedom == 34


@settings(max_examples=40)
@given(
    st.floats(-5.0, 5.0), st.floats(0.2, 3.0), st.floats(0.01, 1.0), st.lists(st.floats(-3, 3), min_size=3)
)
def test_levels_are_judged_one_by_one(b0: float, b1: float, s: float, off: list[float]) -> None:
    reference = [float(place) for place in range(len(off))]
    told = [b0 + b1 * (x + each) for x, each in zip(reference, off, strict=True)]
    names = [f"level {place}" for place in range(len(off))]
    found = level_check(
        reference, told, intercept=b0, slope=b1, deviation=s, freedom=20, levels=names, confidence=0.99
    )
    limit = s / b1 * shared_t(20, together=len(off), confidence=0.99)
    assert found.deviation == pytest.approx(off, abs=1e-9)
    clear = {name for name, each in zip(names, off, strict=True) if abs(abs(each) - limit) > 1e-9}
    beyond = {name for name, each in zip(names, off, strict=True) if abs(each) > limit}
    assert set(found.out) & clear == beyond & clear


def test_false_alarms_of_a_short_and_of_a_long_baseline() -> None:
    """A next value lies beyond limits of 6 values in 2 P(t5 > 2.571 / sqrt(7/6)) = 6.3 %, of 100 in 5.1 %."""
    draw = np.random.default_rng(5)
    rates = {}
    for count in (6, 100):
        sets = draw.normal(size=(4000, count + 1))
        limits = [check_limits(each[:-1]) for each in sets]
        out = [not limit.lower <= each[-1] <= limit.upper for limit, each in zip(limits, sets, strict=True)]
        rates[count] = float(np.mean(out))
    assert rates[6] == pytest.approx(0.063, abs=0.012)
    assert rates[100] == pytest.approx(0.051, abs=0.011)


def test_many_values_at_once_alarm_as_seldom_as_one() -> None:
    """Twenty values of an unmoved channel: one or more beyond in about 5 % of measurements, not in 64 %."""
    draw = np.random.default_rng(6)
    alarms = []
    for _ in range(400):
        # A long baseline, so that what is tested is the sharing.
        values = draw.normal(size=(20, 201))
        limits = [check_limits(each[:-1], together=20) for each in values]
        alarms.append(
            any(not one.lower <= each[-1] <= one.upper for one, each in zip(limits, values, strict=True))
        )
    assert np.mean(alarms) == pytest.approx(0.05, abs=0.035)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: check_limits([1.0]), "2 values or more are needed, there are 1"),
        (lambda: check_limits([1.0, math.nan]), "value 2 of limits of a check standard is nan"),
        (lambda: check_limits([1.0, 1.0, 1.0]), "all 3 values of the baseline are alike"),
        (lambda: check_limits([1.0, 2.0], confidence=95.0), "a confidence of 95"),
        (lambda: check_limits([1.0, 2.0], together=0), "0 values judged at once"),
        (lambda: fit_line([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0]), "3 known and 4 told"),
        (lambda: fit_line([1.0, 2.0], [1.0, 2.0]), "3 values or more"),
        (lambda: fit_line([2.0, 2.0, 2.0], [1.0, 2.0, 3.0]), "values of one level"),
        (lambda: fit_line([1.0, 2.0, math.inf], [1.0, 2.0, 3.0]), "value 3 of known values"),
        (lambda: deviation_in_control(-1.0, 3, 1.0, 30), "a standard deviation of -1"),
        (lambda: deviation_in_control(1.0, 3, 0.0, 30), "a pooled standard deviation of 0"),
        (lambda: deviation_in_control(1.0, 0, 1.0, 30), "with 0 degrees of freedom"),
        (
            lambda: level_check([1.0, 2.0], [1.0, 2.0], intercept=0.0, slope=1.0, deviation=0.1, freedom=9),
            "3 levels with 2 known and 2 told values",
        ),
        (
            lambda: level_check(LEVELS, DAYS[0], intercept=0.0, slope=0.0, deviation=0.1, freedom=9),
            "a slope of zero",
        ),
        (
            lambda: level_check(LEVELS, DAYS[0], intercept=0.0, slope=1.0, deviation=0.1, freedom=0),
            "degrees of freedom of 0",
        ),
    ],
)
def test_what_makes_no_sense_is_told(call: object, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
