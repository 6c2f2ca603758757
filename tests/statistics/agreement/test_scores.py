"""E_n and zeta against worked figures and plain loops."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement import combined_uncertainty, e_number, zeta_score

uncertainty = st.floats(1e-3, 1e3)
difference = st.floats(-1e3, 1e3)


def test_uncertainties_combine_as_the_root_of_the_sum_of_squares() -> None:
    """GUM (JCGM 100:2008) 5.1.2: 2.0 dB and 0.5 dB make 2.0616 dB, sqrt(4.25)."""
    assert combined_uncertainty([2.0, 0.5]) == pytest.approx(2.0616, abs=5e-5)


def test_a_worked_e_number() -> None:
    """ISO 13528, E_n = (x - X) / sqrt(U_x^2 + U_X^2): 10.0 against 10.3 with U 0.2 and 0.3 is -0.832.

    The formula is from memory (no published worked example could be seen), the figure is -0.3 / sqrt(0.13).
    """
    assert e_number(10.0 - 10.3, [0.2, 0.3]) == pytest.approx(-0.832, abs=5e-4)


@settings(max_examples=50)
@given(difference, st.lists(uncertainty, min_size=1, max_size=5))
def test_zeta_of_standard_uncertainties_is_twice_e_n_of_expanded_ones(d: float, parts: list[float]) -> None:
    e_n = e_number(d, [2.0 * each for each in parts])
    zeta = zeta_score(d, parts)
    assert e_n is not None
    assert zeta == pytest.approx(2.0 * e_n, rel=1e-12)


@settings(max_examples=30)
@given(st.lists(st.tuples(difference, uncertainty, uncertainty), min_size=1, max_size=8), uncertainty)
def test_arrays_are_points_one_by_one(points: list[tuple[float, float, float]], mating: float) -> None:
    d, bench, tester = (np.array(column) for column in zip(*points, strict=True))
    found = e_number(d, [bench, tester, mating])
    assert found is not None
    expected = [each / math.hypot(u, v, mating) for each, u, v in points]
    assert found == pytest.approx(expected, rel=1e-12)


def test_what_is_not_known_makes_no_number() -> None:
    assert combined_uncertainty([0.5, None]) is None
    assert e_number(0.3, [0.5, None]) is None
    assert zeta_score(np.array([0.1, 0.2]), [None, np.array([0.1, 0.1])]) is None


def test_an_uncertainty_known_to_be_nothing_is_a_part() -> None:
    assert e_number(0.3, [0.0, 0.5]) == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("d", "parts", "words"),
    [
        (0.3, [0.0, 0.0], "an uncertainty of zero"),
        (0.3, [-0.1], "uncertainty 1 is -0.1"),
        (math.inf, [0.1], "the difference is inf"),
        (0.3, [0.1, math.nan], "uncertainty 2 is nan"),
        (np.array([0.1, math.nan]), [0.1], "value 2 of the difference is nan"),
        (np.array([0.1, 0.2]), [np.array([0.1, 0.2, 0.3])], "2 and 3 values"),
        (np.array([0.1, 0.2]), [None, np.array([0.1])], "2 and 1 values"),
        (0.1, [np.array([0.1, 0.2])], "one difference, but 2 uncertainties"),
        (np.array([0.1, 0.2]), [np.array([0.1, 0.0])], "an uncertainty of zero"),
        (0.3, [], "made of no parts"),
    ],
)
def test_what_makes_no_score(d: float, parts: list[float], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        e_number(d, parts)


def test_e_number_stays_within_one_as_often_as_its_uncertainties_say() -> None:
    """With true uncertainties 95.45 % of E_n lie within 1 (k = 2 of a normal distribution)."""
    draw = np.random.default_rng(9)
    u = np.array([0.4, 0.3, 0.2])
    errors = draw.normal(0.0, 1.0, (20_000, 3)) * u
    found = e_number(errors.sum(axis=1), list(2.0 * u))
    assert found is not None
    assert np.mean(np.abs(found) <= 1.0) == pytest.approx(0.9545, abs=0.006)
