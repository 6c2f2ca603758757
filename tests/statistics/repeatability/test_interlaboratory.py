"""ISO 5725-2 and ASTM E691 against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import UsageError
from benchsweep.statistics.repeatability import (
    cochran_critical,
    grubbs_critical,
    h_critical,
    interlaboratory,
    k_critical,
)

# ASTM E691, glucose in serum, material A: 8 laboratories, 3 values each (from memory; mean and deviations, as
# computed from the public data set of NIST, are gated on below).
GLUCOSE_A = [
    [41.03, 41.45, 41.37],
    [41.17, 42.00, 41.15],
    [41.01, 40.68, 42.66],
    [39.37, 42.37, 42.63],
    [41.88, 41.19, 41.32],
    [43.28, 40.50, 42.28],
    [41.08, 41.27, 39.02],
    [43.36, 42.65, 41.72],
]


def test_glucose_material_a() -> None:
    """ASTM E691, material A: mean 41.5183, s_r 1.0632, s_R 1.0632 (laboratories add nothing)."""
    found = interlaboratory(GLUCOSE_A)
    assert (found.laboratories, found.replicates) == (8, 3)
    assert found.mean == pytest.approx(41.5183, abs=5e-5)
    assert found.repeatability == pytest.approx(1.0632, abs=5e-5)
    assert found.reproducibility == pytest.approx(1.0632, abs=5e-5)
    assert found.between == 0.0
    assert found.h_critical == pytest.approx(2.15, abs=5e-3)
    assert found.k_critical == pytest.approx(2.06, abs=5e-3)
    # Mandel's statistics by hand.
    means = [sum(each) / 3 for each in GLUCOSE_A]
    centre = sum(means) / 8
    spread = math.sqrt(sum((each - centre) ** 2 for each in means) / 7)
    assert found.h == pytest.approx([(each - centre) / spread for each in means])
    inside = [
        math.sqrt(sum((x - mean) ** 2 for x in each) / 2) for each, mean in zip(GLUCOSE_A, means, strict=True)
    ]
    assert found.k == pytest.approx([each / found.repeatability for each in inside])
    assert found.outliers == ()


def with_deviations(
    s_r: float, s_big: float, laboratories: int = 6, replicates: int = 4
) -> list[list[float]]:
    """Return values that have exactly those deviations."""
    draw = np.random.default_rng(1)
    inside = draw.normal(size=(laboratories, replicates))
    inside -= inside.mean(axis=1, keepdims=True)
    inside *= s_r / math.sqrt(np.mean(inside.var(axis=1, ddof=1)))
    means = draw.normal(size=laboratories)
    means -= means.mean()
    means *= math.sqrt(s_big**2 - s_r**2 + s_r**2 / replicates) / means.std(ddof=1)
    return (means[:, None] + inside).tolist()


@pytest.mark.parametrize(("s_r", "r", "s_big", "big"), [(0.021, 0.059, 0.057, 0.160)])
def test_limits_of_a_cross_test(s_r: float, r: float, s_big: float, big: float) -> None:
    """Cross test of sulfur, Building Research Establishment: s_r .021 -> r .059, s_R .057 -> R .160."""
    found = interlaboratory(with_deviations(s_r, s_big))
    assert found.repeatability == pytest.approx(s_r, rel=1e-9)
    assert found.reproducibility == pytest.approx(s_big, rel=1e-9)
    assert found.repeatability_limit == pytest.approx(r, abs=5e-4)
    assert found.reproducibility_limit == pytest.approx(big, abs=5e-4)


def test_critical_values() -> None:
    """h and k of ASTM E691, 8 laboratories; Cochran and Grubbs of ISO 5725-2 (tables, from memory)."""
    assert h_critical(8) == pytest.approx(2.152, abs=5e-4)
    assert k_critical(8, 3) == pytest.approx(2.061, abs=5e-4)
    assert cochran_critical(8, 2) == pytest.approx(0.6798, abs=5e-5)
    assert cochran_critical(8, 3) == pytest.approx(0.5157, abs=5e-5)
    assert grubbs_critical(8) == pytest.approx(2.127, abs=1e-3)
    assert grubbs_critical(8, 0.01) == pytest.approx(2.274, abs=1e-3)


def test_critical_values_are_exceeded_as_often_as_they_say() -> None:
    draw = np.random.default_rng(7)
    value = draw.normal(size=(20_000, 6, 3))
    variances = value.var(axis=2, ddof=1)
    share = variances.max(axis=1) / variances.sum(axis=1)
    assert np.mean(share > cochran_critical(6, 3)) == pytest.approx(0.05, abs=0.006)
    k = np.sqrt(variances[:, 0] / variances.mean(axis=1))
    assert np.mean(k > k_critical(6, 3)) == pytest.approx(0.005, abs=0.002)
    means = value.mean(axis=2)
    h = (means - means.mean(axis=1, keepdims=True)) / means.std(axis=1, ddof=1, keepdims=True)
    assert np.mean(np.abs(h[:, 0]) > h_critical(6)) == pytest.approx(0.005, abs=0.002)
    assert np.mean(np.abs(h).max(axis=1) > grubbs_critical(6)) == pytest.approx(0.05, abs=0.006)


def test_outliers_are_named_and_kept() -> None:
    values = with_deviations(0.1, 0.12, laboratories=8, replicates=3)
    plain = interlaboratory(values)
    assert plain.outliers == ()
    names = [f"tester {place}" for place in range(1, 9)]
    away = [list(each) for each in values]
    away[2] = [each + 2.0 for each in away[2]]
    found = interlaboratory(away, names=names)
    assert len(found.outliers) == 1
    assert found.outliers[0].startswith("tester 3 lies above the others: outlier (1 %) by Grubbs")
    assert found.reproducibility > 5.0 * plain.reproducibility  # nothing was taken out
    wild = [list(each) for each in values]
    wild[4] = [each * 1.0 + shift for each, shift in zip(wild[4], (-1.5, 0.0, 1.5), strict=True)]
    (told,) = interlaboratory(wild, names=names).outliers
    assert told.startswith("tester 5 scatters more than the others: outlier (1 %) by Cochran")


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.floats(-5, 5), min_size=2, max_size=5), min_size=3, max_size=8))
def test_unequal_numbers_by_loops(values: list[list[float]]) -> None:
    """The formulas of ISO 5725-2 for unequal numbers (from memory), by plain loops."""
    p, total = len(values), sum(len(each) for each in values)
    mean = sum(sum(each) for each in values) / total
    within = sum(sum((x - sum(each) / len(each)) ** 2 for x in each) for each in values) / (total - p)
    s_d2 = sum(len(each) * (sum(each) / len(each) - mean) ** 2 for each in values) / (p - 1)
    n = (total - sum(len(each) ** 2 for each in values) / total) / (p - 1)
    found = interlaboratory(values)
    assert found.mean == pytest.approx(mean, abs=1e-9)
    assert found.replicates == pytest.approx(n)
    assert found.repeatability**2 == pytest.approx(within, abs=1e-9)
    assert found.between**2 == pytest.approx(max(0.0, (s_d2 - within) / n), abs=1e-8)
    assert found.reproducibility**2 == pytest.approx(found.repeatability**2 + found.between**2)


def test_values_that_never_differ() -> None:
    found = interlaboratory([[20.0, 20.0]] * 4)
    assert found.repeatability == found.reproducibility == 0.0
    assert found.h == found.k == (0.0,) * 4
    assert found.outliers == ()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: interlaboratory([[1.0, 2.0]] * 2), "an interlaboratory study of 2"),
        (lambda: interlaboratory([[1.0, 2.0], [1.0], [1.0, 2.0]]), "laboratory 2 has 1 value"),
        (lambda: interlaboratory([[1.0, 2.0], [1.0, math.inf], [1.0, 2.0]]), "laboratory 2 of a study"),
        (lambda: interlaboratory([[1.0, 2.0]] * 3, names=["a"]), "1 names for 3"),
        (lambda: h_critical(2), "2 laboratories"),
        (lambda: k_critical(8, 1), "with 1 values"),
        (lambda: cochran_critical(8, 2, 5.0), "a level of 5"),
        (lambda: grubbs_critical(2), "2 laboratories"),
    ],
)
def test_what_makes_no_sense_is_told(call: object, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
