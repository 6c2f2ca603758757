"""Nested levels against the NIST/SEMATECH e-Handbook, an analysis of variance by hand, and made values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.statistics.repeatability import nested, pooled_deviation


def test_pooled_over_wafers() -> None:
    """e-Handbook 2.4.4.3, probe 2362, level 3 by wafer: .0223 .0027 .0289 .0133 .0205 pool to .0197."""
    assert pooled_deviation([0.0223, 0.0027, 0.0289, 0.0133, 0.0205]) == pytest.approx(0.0197, abs=5e-5)


def test_pooled_by_freedom() -> None:
    assert pooled_deviation([1.0, 2.0], [3, 1]) == pytest.approx(math.sqrt((3 * 1 + 1 * 4) / 4))


def balanced(seed: int, shape: tuple[int, ...], deviations: tuple[float, ...]) -> np.ndarray:
    """Return values whose levels scatter so much, outermost first."""
    draw = np.random.default_rng(seed)
    value = np.zeros(shape)
    for level, s in enumerate(deviations):
        value = value + draw.normal(0.0, s, shape[: level + 1]).reshape(
            shape[: level + 1] + (1,) * (len(shape) - level - 1)
        )
    return value


@settings(max_examples=30, deadline=None)
@given(st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 4)), st.integers(0, 999))
def test_balanced_levels_by_mean_squares(shape: tuple[int, int, int], seed: int) -> None:
    """The textbook's table of a balanced nested design, by plain loops."""
    v = balanced(seed, shape, (1.0, 0.5, 0.2))
    a, b, n = shape
    mean = v.mean()
    trial = sum((v[i, j, k] - v[i, j].mean()) ** 2 for i in range(a) for j in range(b) for k in range(n))
    mating = n * sum((v[i, j].mean() - v[i].mean()) ** 2 for i in range(a) for j in range(b))
    operator = b * n * sum((v[i].mean() - mean) ** 2 for i in range(a))
    squares = trial / (a * b * (n - 1)), mating / (a * (b - 1)), operator / (a - 1)
    found = nested(v)
    assert found.levels == ("trial", "mating", "operator")
    assert found.freedom == (a * b * (n - 1), a * (b - 1), a - 1)
    # What is seen at each level: trials, averages of matings, averages of operators.
    assert found.deviation == pytest.approx(
        [math.sqrt(squares[0]), math.sqrt(squares[1] / n), math.sqrt(squares[2] / (b * n))], rel=1e-9
    )
    parts = [squares[0], (squares[1] - squares[0]) / n, (squares[2] - squares[1]) / (b * n)]
    assert found.component == pytest.approx([math.sqrt(max(0.0, each)) for each in parts], rel=1e-6, abs=1e-7)
    fresh = found.component[0] ** 2 + found.component[1] ** 2
    assert found.mating_uncertainty == pytest.approx(2.0 * math.sqrt(fresh))
    as_lists = nested(v.tolist())
    assert as_lists == found


def ragged(draw: np.random.Generator) -> list[list[list[float]]]:
    groups = []
    for matings in ([2, 3], [1], [4, 2, 1, 2], [3, 3, 3], [2], [1, 5]):
        operator = draw.normal(0.0, 1.0)
        groups.append([])
        for trials in matings:
            mating = operator + draw.normal(0.0, 0.5)
            groups[-1].append([float(each) for each in mating + draw.normal(0.0, 0.3, trials)])
    return groups


def test_groups_of_any_size_are_not_biased() -> None:
    """Mean components of 1500 ragged sets: 0.3^2, 0.5^2, 1; balanced formulas would miss them by far."""
    draw = np.random.default_rng(8)
    variances = np.array([np.square(nested(ragged(draw)).component) for _ in range(1500)])
    # Those held at zero lift the mean a little; with this much scatter between, hardly.
    assert variances.mean(axis=0) == pytest.approx([0.09, 0.25, 1.0], rel=0.06)


def test_cords_plugged_five_times() -> None:
    """3 cords x 2 ends x 5 matings give 24 degrees of freedom for mating."""
    found = nested(balanced(3, (6, 5), (1.0, 0.1)), levels=("mating", "cord end"))
    assert found.freedom == (24, 5)
    assert found.mating_uncertainty == pytest.approx(2.0 * found.deviation[0])
    assert 0.6 < found.mating_uncertainty / 0.2 < 1.4
    assert "scatters by +-" in found.words
    assert "mating" in found.words


def test_mating_uncertainty_holds_what_a_fresh_mating_scatters() -> None:
    """Over 300 made studies 2 s is twice the deviation of one fresh value, in the root mean square."""
    found = [nested(balanced(seed, (4, 5, 3), (1.0, 0.2, 0.1))).mating_uncertainty for seed in range(300)]
    assert math.sqrt(np.mean(np.square(found))) == pytest.approx(2.0 * math.hypot(0.2, 0.1), rel=0.05)


def test_without_matings_nothing_is_told_of_them() -> None:
    assert nested(balanced(1, (4, 3), (1.0, 0.2)), levels=("trial", "day")).mating_uncertainty is None
    assert nested([[1.0, 1.0], [1.0, 1.0]]).words == "all values are alike"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: nested([1.0, 2.0]), "1 level and 1 names"),
        (lambda: nested([[1.0, 2.0], 3.0]), "groups of different depth"),
        (lambda: nested([[1.0, 2.0], []]), "an empty group"),
        (lambda: nested([[1.0], [2.0]]), "no group has two or more of level trial"),
        (lambda: nested([[1.0, 2.0]]), "no group has two or more of level mating"),
        (lambda: nested([[1.0, math.nan], [1.0, 2.0]]), r"value \(2\) is nan"),
        (lambda: nested([[1.0, "x"], [1.0, 2.0]]), "'x' is no number"),
        (lambda: nested(np.ones((2, 2, 2)), levels=("a", "b")), "3 levels and 2 names"),
        (lambda: nested(np.ones((2,) * 5)), "5 levels and 4 names"),
        (lambda: pooled_deviation([]), "0 standard deviations"),
        (lambda: pooled_deviation([1.0, 2.0], [1]), "2 standard deviations with 1"),
        (lambda: pooled_deviation([-1.0]), "negative"),
        (lambda: pooled_deviation([math.inf]), "is inf"),
        (lambda: pooled_deviation([1.0], [0]), "no degrees of freedom"),
    ],
)
def test_what_makes_no_sense_is_told(call: object, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
