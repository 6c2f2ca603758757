"""Limits of agreement against the papers that gave them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement import bland_altman

# Peak expiratory flow, first readings of both meters, l/min (Bland and Altman, Lancet 1986; i: 307, table,
# from memory). Mean and deviation of the paper, which the test below takes, tell that they are right.
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
SMALL = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def with_moments(count: int, mean: float, deviation: float) -> np.ndarray:
    """Return some values of exactly that mean and standard deviation."""
    some = np.random.default_rng(3).normal(size=count)
    return mean + deviation * (some - some.mean()) / some.std(ddof=1)


def test_peak_flow_of_the_paper_of_1986() -> None:
    """Bland and Altman 1986: n 17, bias -2.1, s 38.8; with 2 s -79.7 to 75.5; bias -22.0 to 17.8 (95 %)."""
    found = bland_altman(np.subtract(LARGE, SMALL).astype(float))
    assert found.count == found.independent == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.deviation == pytest.approx(38.8, abs=0.05)
    # The paper takes 2 s of its rounded figures; we take 1.96 s.
    assert round(found.bias, 1) - 2.0 * round(found.deviation, 1) == pytest.approx(-79.7)
    assert round(found.bias, 1) + 2.0 * round(found.deviation, 1) == pytest.approx(75.5)
    assert found.upper - found.lower == pytest.approx(3.92 * found.deviation)
    t = 2.12  # for 16 degrees of freedom, as the paper says
    assert found.bias - t * found.bias_error == pytest.approx(-22.0, abs=0.15)
    assert found.bias + t * found.bias_error == pytest.approx(17.8, abs=0.15)
    # sqrt(3 / n) s of the paper is 16.3; with 1.96 and n - 1 it is a little more.
    assert found.limit_error == pytest.approx(16.3, abs=0.3)


def test_limits_of_thirty_pairs() -> None:
    """Giavarina, Biochemia Medica 25 (2015) 141: bias -27.17, s 34.81; limits -95.4 and 41.1 (rounded).

    The limits depend on number, mean and deviation alone (the data computed -27.1667, 34.8059, -95.3863 and
    41.0530); the pairs themselves are not kept here.
    """
    found = bland_altman(with_moments(30, -27.1667, 34.8059))
    assert found.lower == pytest.approx(-95.3863, abs=5e-4)
    assert found.upper == pytest.approx(41.0530, abs=5e-4)
    assert found.words == ""


@pytest.mark.parametrize(("count", "t", "half"), [(10, 2.262, 1.27), (20, 2.093, 0.81), (30, 2.045, 0.65)])
def test_how_well_a_limit_is_known(count: int, t: float, half: float) -> None:
    """Half-width of 95 % of a limit in s: 1.27 for 10 pairs, 0.81 for 20, 0.65 for 30.

    From the formula of 1986 with t of the usual table.
    """
    assert t * bland_altman(with_moments(count, 0.0, 1.0)).limit_error == pytest.approx(half, abs=0.005)


@settings(max_examples=40)
@given(st.lists(st.floats(-50.0, 50.0), min_size=2, max_size=40))
def test_without_repeats_it_is_the_plain_arithmetic(values: list[float]) -> None:
    n = len(values)
    mean = sum(values) / n
    s = math.sqrt(sum((each - mean) ** 2 for each in values) / (n - 1))
    found = bland_altman(values, [f"channel {place}" for place in range(n)])
    assert found.bias == pytest.approx(mean, abs=1e-9)
    assert found.deviation == pytest.approx(s, abs=1e-9)
    assert found.bias_error == pytest.approx(s / math.sqrt(n), abs=1e-9)
    assert found.limit_error == pytest.approx(s * math.sqrt(1 / n + 1.96**2 / (2 * (n - 1))), abs=1e-9)


def repeated(seed: int, sizes: list[int], between: float, within: float) -> tuple[np.ndarray, list[int]]:
    draw = np.random.default_rng(seed)
    groups = [place for place, size in enumerate(sizes) for _ in range(size)]
    shift = draw.normal(0.0, between, len(sizes))
    return shift[groups] + draw.normal(0.0, within, len(groups)), groups


@pytest.mark.parametrize("sizes", [[5] * 6, [1, 3, 10, 4, 4, 2]])
def test_errors_of_repeats_are_those_that_come_out(sizes: list[int]) -> None:
    """Over 1500 made sets the told variances of bias and difference are what comes out, on average."""
    between, within = 1.0, 0.3
    found = [bland_altman(*repeated(seed, sizes, between, within)) for seed in range(1500)]
    spread = np.std([each.bias for each in found])
    assert math.sqrt(np.mean([each.bias_error**2 for each in found])) == pytest.approx(spread, rel=0.06)
    assert np.mean([each.deviation**2 for each in found]) == pytest.approx(between**2 + within**2, rel=0.05)
    upper = np.std([each.upper for each in found])
    assert math.sqrt(np.mean([each.limit_error**2 for each in found])) == pytest.approx(upper, rel=0.12)
    # Taken as independent, they would promise far too much.
    assert np.mean([bland_altman(repeated(1, sizes, between, within)[0]).bias_error]) < 0.7 * spread


def test_repeats_and_few_channels_are_said() -> None:
    value, groups = repeated(1, [5] * 6, 1.0, 0.3)
    found = bland_altman(value, groups)
    assert (found.count, found.independent) == (30, 6)
    assert "30 results of 6 channels: repeats on one channel are not independent" in found.words
    assert "from 6 channels: each limit is known to" in found.words
    alone = bland_altman(value, ["the one"] * 30)
    assert alone.independent == 1
    assert "nothing of another channel" in alone.words


def test_repeats_that_differ_as_much_as_channels_count_in_full() -> None:
    value = np.array([-1.0, 1.0, 1.0, -1.0, -1.0, 1.0])
    assert bland_altman(value, [1, 1, 2, 2, 3, 3]).bias_error == bland_altman(value).bias_error


@pytest.mark.parametrize(
    ("values", "groups", "words"),
    [
        ([1.0], None, "2 values or more are needed, there are 1"),
        ([1.0, math.inf], None, "value 2 of limits of agreement is inf"),
        ([1.0, 2.0], ["a"], "1 groups for 2 differences"),
        ([[1.0, 2.0]], None, "2 dimensions"),
    ],
)
def test_what_makes_no_limits(values: list[float], groups: list[str] | None, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        bland_altman(values, groups)
