"""Gauge R&R against published studies and plain loops."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from benchsweep.errors import UsageError
from benchsweep.records import GaugeStudy, VarianceRow
from benchsweep.statistics.process import chart_constants
from benchsweep.statistics.repeatability import gauge_anova, gauge_average_range, gauge_rules

# AIAG, Measurement Systems Analysis, 4th edition: 3 operators x 3 trials x 10 parts. Data from memory; their
# sums of squares, as two public test suites give them, are gated on below.
AIAG = np.array(
    """
    0.29 -0.56 1.34 0.47 -0.80  0.02 0.59 -0.31 2.26 -1.36
    0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
    0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
    0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
    0.25 -1.22 0.94 1.03 -1.20  0.22 0.55  0.08 2.12 -1.62
    0.07 -0.68 1.34 0.20 -1.28  0.06 0.83 -0.34 2.19 -1.50
    0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
   -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
   -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16
    """.split(),
    dtype=float,
).reshape(3, 3, 10)
AIAG = AIAG.transpose(2, 0, 1)

# Houf and Berman (1988; also written Burman), thermal impedance: 10 parts x 3 operators x 3 trials; from
# memory, gated likewise.
IMPEDANCE = np.array(
    """
    37 38 37 41 41 40 41 42 41   42 41 43 42 42 42 43 42 43   30 31 31 31 31 31 29 30 28
    42 43 42 43 43 43 42 42 42   28 30 29 29 30 29 31 29 29   42 42 43 45 45 45 44 46 45
    25 26 27 28 28 30 29 27 27   40 40 40 43 42 42 43 43 41   25 25 25 27 29 28 26 26 26
    35 34 34 35 35 34 35 34 35
    """.split(),
    dtype=float,
).reshape(10, 3, 3)


def row(study: GaugeStudy, term: str) -> VarianceRow:
    return {each.term: each for each in study.table}[term]


def test_the_aiag_study() -> None:
    """AIAG MSA 4th edition, 10 x 3 x 3: sums of squares, pooled interaction, deviations, percentages."""
    found = gauge_anova(AIAG)
    sums = {each.term: each.sum_of_squares for each in found.table}
    assert sums["part"] == pytest.approx(88.3619, abs=5e-5)
    assert sums["operator"] == pytest.approx(3.1673, abs=5e-5)
    assert sums["interaction"] == pytest.approx(0.3590, abs=5e-5)
    assert sums["repeatability"] == pytest.approx(2.7589, abs=5e-5)
    freedom = {each.term: each.freedom for each in found.table}
    assert freedom == {
        "part": 9, "operator": 2, "interaction": 18, "repeatability": 60, "pooled": 78, "total": 89
    }  # fmt: skip
    assert row(found, "interaction").f == pytest.approx(0.434, abs=5e-4)
    assert row(found, "interaction").p_value == pytest.approx(0.974, abs=5e-4)
    assert found.pooled
    assert found.pooling_level == gauge_rules().pooling_level == 0.25
    assert found.repeatability == pytest.approx(0.199933, abs=5e-7)
    assert found.reproducibility == pytest.approx(0.226838, abs=5e-7)
    # The root of the squares of the two printed above is 0.302372: the manual's last digit is rounded.
    assert found.gauge == pytest.approx(0.302373, abs=2e-6)
    assert found.part == pytest.approx(1.042327, abs=5e-7)
    assert found.total == pytest.approx(1.085, abs=5e-4)
    assert found.interaction == 0.0
    expected = {"repeatability": 3.39, "reproducibility": 4.37, "gauge": 7.76, "part": 92.24}
    assert dict(found.contribution_percent) == pytest.approx(expected, abs=0.005)
    expected = {"repeatability": 18.42, "reproducibility": 20.90, "gauge": 27.86, "part": 96.04}
    assert dict(found.study_percent) == pytest.approx(expected, abs=0.005)
    assert found.categories == 4  # 4.86, cut
    assert "27.9 % of the total deviation of these parts (10 to 30 %" in found.words
    assert "4 categories apart, fewer than 5" in found.words
    assert "p = 0.974 at level 0.25, pooled" in found.words


def test_the_aiag_study_with_its_interaction_kept() -> None:
    """EV .214435 with the interaction kept (the same public test suites)."""
    found = gauge_anova(AIAG, pooling_level=1.0)
    assert not found.pooled
    assert found.repeatability == pytest.approx(0.214435, abs=5e-7)
    assert found.interaction == 0.0  # its mean square is smaller than that of repeatability


def test_the_aiag_study_by_averages_and_ranges() -> None:
    """AIAG MSA 4th edition: K1 .5908 K2 .5231 K3 .3146; EV .2019 AV .2297 GRR .3058 PV 1.1046 TV 1.1461."""
    found = gauge_average_range(AIAG)
    assert found.method == "average-range"
    assert found.table == ()
    assert found.repeatability == pytest.approx(0.2019, abs=2e-4)  # the manual rounds the mean range
    assert found.reproducibility == pytest.approx(0.2297, abs=2e-4)
    assert found.gauge == pytest.approx(0.3058, abs=2e-4)
    assert found.part == pytest.approx(1.1046, abs=3e-4)
    assert found.total == pytest.approx(1.1461, abs=3e-4)
    assert dict(found.study_percent)["gauge"] == pytest.approx(26.7, abs=0.05)
    assert found.categories == 5


@pytest.mark.parametrize(("count", "k"), [(3, 0.5231), (10, 0.3146)])
def test_factors_of_one_range(count: int, k: float) -> None:
    """AIAG MSA, K2 for 3 operators and K3 for 10 parts; with one range for the parts, PV is K3 times it."""
    values = np.zeros((count, 2, 2))
    values[0] = 1.0
    values[:, :, 1] += 1e-6 * np.arange(count)[:, None]  # some repeatability
    assert gauge_average_range(values).part == pytest.approx(k, abs=1e-4)
    assert 1.0 / chart_constants(3).d2 == pytest.approx(0.5908, abs=5e-5)  # K1 for 3 trials


def test_a_study_whose_interaction_counts() -> None:
    """Houf and Berman 1988: SS 3935.956, 39.267, 48.511, 30.667; F 5.273; components as in textbooks."""
    found = gauge_anova(IMPEDANCE)
    sums = {each.term: each.sum_of_squares for each in found.table}
    assert sums["part"] == pytest.approx(3935.956, abs=5e-4)
    assert sums["operator"] == pytest.approx(39.267, abs=5e-4)
    assert sums["interaction"] == pytest.approx(48.511, abs=5e-4)
    assert sums["repeatability"] == pytest.approx(30.667, abs=5e-4)
    assert row(found, "interaction").f == pytest.approx(5.273, abs=5e-4)
    assert not found.pooled
    assert "pooled" not in sums
    assert found.repeatability**2 == pytest.approx(0.5111, abs=5e-5)
    assert found.reproducibility**2 - found.interaction**2 == pytest.approx(0.5646, abs=5e-5)
    assert found.interaction**2 == pytest.approx(0.7280, abs=5e-5)
    assert found.part**2 == pytest.approx(48.2926, abs=5e-5)
    assert found.gauge**2 == pytest.approx(1.8037, abs=5e-5)
    # Parts and operators are tested against the interaction.
    assert row(found, "operator").f == pytest.approx((39.267 / 2) / (48.511 / 18), rel=1e-4)
    assert row(found, "operator").p_value == pytest.approx(stats.f.sf(7.285, 2, 18), abs=1e-4)
    assert "interaction of part and operator p = 0.000 at level 0.25, kept" in found.words


def by_loops(v: np.ndarray) -> dict[str, float]:
    """Sums of squares of a two-way table, each value looked at by itself."""
    parts, operators, trials = v.shape
    flat = [float(each) for each in v.ravel()]
    mean = sum(flat) / len(flat)
    sums = dict.fromkeys(("part", "operator", "interaction", "repeatability", "total"), 0.0)
    for i in range(parts):
        for j in range(operators):
            for k in range(trials):
                a = sum(float(x) for x in v[i].ravel()) / (operators * trials)
                b = sum(float(x) for x in v[:, j].ravel()) / (parts * trials)
                c = sum(float(x) for x in v[i, j]) / trials
                sums["part"] += (a - mean) ** 2
                sums["operator"] += (b - mean) ** 2
                sums["interaction"] += (c - a - b + mean) ** 2
                sums["repeatability"] += (float(v[i, j, k]) - c) ** 2
                sums["total"] += (float(v[i, j, k]) - mean) ** 2
    return sums


@settings(max_examples=30, deadline=None)
@given(st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 4)), st.integers(0, 999))
def test_sums_of_squares_by_loops(shape: tuple[int, int, int], seed: int) -> None:
    draw = np.random.default_rng(seed)
    value = 20.0 + draw.normal(size=shape) + 2.0 * draw.normal(size=(shape[0], 1, 1))
    found = gauge_anova(value)
    sums = {each.term: each.sum_of_squares for each in found.table}
    for term, expected in by_loops(value).items():
        assert sums[term] == pytest.approx(expected, rel=1e-9, abs=1e-12)
    parts = [sums[term] for term in ("part", "operator", "interaction", "repeatability")]
    assert sum(parts) == pytest.approx(sums["total"])
    assert found.total**2 == pytest.approx(found.gauge**2 + found.part**2)
    assert found.gauge**2 == pytest.approx(found.repeatability**2 + found.reproducibility**2)
    # Another unit scales deviations and leaves percentages.
    scaled = gauge_anova(1000.0 * value)
    assert scaled.gauge == pytest.approx(1000.0 * found.gauge)
    assert dict(scaled.study_percent) == pytest.approx(dict(found.study_percent))


def test_what_is_put_in_comes_out() -> None:
    """Mean variances of 400 made studies: parts 1, operators 0.25, interaction 0.16, trials 0.09."""
    draw = np.random.default_rng(4)
    found = []
    for _ in range(400):
        value = draw.normal(0, 1, (12, 1, 1)) + draw.normal(0, 0.5, (1, 8, 1))
        value = value + draw.normal(0, 0.4, (12, 8, 1)) + draw.normal(0, 0.3, (12, 8, 3))
        one = gauge_anova(value)
        found.append(
            [
                one.repeatability**2,
                one.interaction**2,
                one.reproducibility**2 - one.interaction**2,
                one.part**2,
            ]
        )
    assert np.mean(found, axis=0) == pytest.approx([0.09, 0.16, 0.25, 1.0], rel=0.08)


def test_parts_alike_are_told_by_the_percentage() -> None:
    value = np.random.default_rng(2).normal(size=(5, 3, 3))
    found = gauge_anova(value)
    assert dict(found.study_percent)["gauge"] > 90.0
    assert "(poor: more than 30 %)" in found.words
    assert math.isfinite(found.total)


@pytest.mark.parametrize("call", [gauge_anova, gauge_average_range])
@pytest.mark.parametrize(
    ("values", "words"),
    [
        (np.ones((1, 3, 3)), "with 1 part"),
        (np.ones((3, 1, 3)), "with 1 operator"),
        (np.ones((3, 3, 1)), "with 1 trial"),
        (np.ones((3, 3)), "not 2 dimensions"),
        (np.full((2, 2, 2), math.inf), r"value \(1, 1, 1\) is inf"),
        ([[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]], "rows of different lengths"),
        (np.arange(3.0)[:, None, None] * np.ones((3, 3, 3)), "repeat to the last digit"),
    ],
)
def test_what_makes_no_study(call: object, values: np.ndarray, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call(values)  # type: ignore[operator]


def test_a_pooling_level_is_a_share() -> None:
    with pytest.raises(UsageError, match="a pooling level of 25"):
        gauge_anova(AIAG, pooling_level=25.0)
