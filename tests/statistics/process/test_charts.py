"""Control charts against printed tables and worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchsweep.errors import UnknownName, UsageError
from benchsweep.statistics.process import (
    between_chart,
    chart_constants,
    ewma_chart,
    individuals_chart,
    lots_differ,
    mean_charts,
    run_rules,
    run_signals,
)

# n: A2, A3, D3, D4, c4, d2, d3, E2, B3, B4. Textbook appendix "Factors for constructing control charts"
# and the AIAG SPC table (E2), as in shared tables of the trade; D4 for n = 3 is printed 2.574 and computed
# 2.5746.
TABLE = {
    2: (1.880, 2.659, 0, 3.267, 0.7979, 1.128, 0.853, 2.660, 0, 3.267),
    3: (1.023, 1.954, 0, 2.574, 0.8862, 1.693, 0.888, 1.772, 0, 2.568),
    4: (0.729, 1.628, 0, 2.282, 0.9213, 2.059, 0.880, 1.457, 0, 2.266),
    5: (0.577, 1.427, 0, 2.114, 0.9400, 2.326, 0.864, 1.290, 0, 2.089),
    6: (0.483, 1.287, 0, 2.004, 0.9515, 2.534, 0.848, 1.184, 0.030, 1.970),
    7: (0.419, 1.182, 0.076, 1.924, 0.9594, 2.704, 0.833, 1.109, 0.118, 1.882),
    8: (0.373, 1.099, 0.136, 1.864, 0.9650, 2.847, 0.820, 1.054, 0.185, 1.815),
    9: (0.337, 1.032, 0.184, 1.816, 0.9693, 2.970, 0.808, 1.010, 0.239, 1.761),
    10: (0.308, 0.975, 0.223, 1.777, 0.9727, 3.078, 0.797, 0.975, 0.284, 1.716),
}
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
BEFORE_FLOW = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]


def names(count: int) -> list[str]:
    return [f"lot {place}" for place in range(1, count + 1)]


@pytest.mark.parametrize("n", TABLE)
def test_factors_equal_the_printed_table(n: int) -> None:
    c = chart_constants(n)
    computed = (
        c.a2,
        c.a3,
        c.range_factors[0],
        c.range_factors[1],
        c.c4,
        c.d2,
        c.d3,
        c.e2,
        *c.deviation_factors,
    )
    # E2 is printed as 3 over the rounded d2.
    assert computed == pytest.approx(TABLE[n], abs=1.4e-3)


def test_factors_of_two_values_are_known_exactly() -> None:
    # The range of two normal values is |N(0, 2)|: d2 = 2/sqrt(pi), d3 = sqrt(2 - 4/pi), c4 = sqrt(2/pi).
    c = chart_constants(2)
    assert c.d2 == pytest.approx(2.0 / math.sqrt(math.pi), rel=1e-9)
    assert c.d3 == pytest.approx(math.sqrt(2.0 - 4.0 / math.pi), rel=1e-4)
    assert c.c4 == pytest.approx(math.sqrt(2.0 / math.pi), rel=1e-12)


@pytest.mark.parametrize("n", [0, 1, 1001])
def test_no_factors_for_other_samples(n: int) -> None:
    with pytest.raises(UsageError):
        chart_constants(n)


def test_individuals_of_flow_rates() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.2, "flow rate"; its numbers from memory. It divides by
    # d2 = 1.128, which is 1.1284.
    individuals, ranges = individuals_chart(FLOW, names(10))
    assert individuals.centre[0] == pytest.approx(50.81, abs=5e-3)
    assert individuals.upper[0] == pytest.approx(55.8041, abs=2e-3)
    assert individuals.lower[0] == pytest.approx(45.8159, abs=2e-3)
    assert ranges.centre[0] == pytest.approx(1.8778, abs=5e-5)
    assert ranges.upper[0] == pytest.approx(3.267 * 1.8778, abs=1e-3)
    assert math.isnan(ranges.value[0])
    assert not [signal for signal in individuals.signals if signal.decisive]


def test_individuals_of_a_textbook() -> None:
    # Textbook answer: mean 53.05, mean moving range 56/19 -> 60.888, 45.212; 9.628; standard deviation 2.613.
    # Twenty values with that mean and that sum of moving ranges, made for it; it divides by d2 = 1.128.
    steps = [3, -3] * 9 + [2]
    values = np.cumsum([0.0, *steps]) - np.mean(np.cumsum([0.0, *steps])) + 53.05
    assert np.sum(np.abs(np.diff(values))) == pytest.approx(56.0)
    individuals, ranges = individuals_chart(values, names(20))
    assert individuals.upper[0] == pytest.approx(60.888, abs=3e-3)
    assert individuals.lower[0] == pytest.approx(45.212, abs=3e-3)
    # It calculates with 56/19 rounded to 2.947.
    assert ranges.upper[0] == pytest.approx(9.628, abs=2e-3)
    assert individuals.deviation[0] == pytest.approx(2.613, abs=1e-3)


def test_limits_come_from_the_baseline_alone() -> None:
    one, _ = individuals_chart([*FLOW, 80.0], names(11), baseline=10)
    two, _ = individuals_chart(FLOW, names(10))
    assert one.upper[-1] == two.upper[0]
    signal = next(signal for signal in one.signals if signal.rule == "beyond-limits")
    assert signal.points == (10,)
    assert signal.noticed == 10
    assert signal.decisive


def test_means_and_ranges_of_five() -> None:
    # Limits from printed factors (table above): A2 = 0.577, D4 = 2.114; A3 = 1.427, B4 = 2.089.
    draw = np.random.default_rng(3).normal(10.0, 2.0, (25, 5))
    means, ranges = mean_charts(list(draw), names(25), spread="range")
    mean_range = float(np.mean(np.ptp(draw, axis=1)))
    assert means.upper[0] - means.centre[0] == pytest.approx(0.577 * mean_range, rel=1e-3)
    assert ranges.upper[0] == pytest.approx(2.114 * mean_range, rel=1e-3)
    assert ranges.lower[0] == 0.0
    means, spreads = mean_charts(list(draw), names(25))
    mean_s = float(np.mean(np.std(draw, axis=1, ddof=1)))
    assert means.upper[0] - means.centre[0] == pytest.approx(1.427 * mean_s, rel=1e-3)
    assert spreads.upper[0] == pytest.approx(2.089 * mean_s, rel=1e-3)


def test_means_and_ranges_of_a_public_data_set() -> None:
    # CCXBAR of NIST's Dataplot, four samples of five: mean 23.34, mean range 1.875, limits 22.2585 and
    # 24.4215, upper limit of the range 3.965, all computed from the file once. The file is not at hand: these
    # are samples made with that mean and mean range, which is all that the limits depend on.
    shape = np.array([-0.5, -0.2, 0.0, 0.2, 0.5])
    groups = [23.34 + offset + 1.875 * scale * shape for offset, scale in ((-0.3, 0.8), (0.3, 1.2)) * 2]
    means, ranges = mean_charts(groups, names(4), spread="range")
    assert means.centre[0] == pytest.approx(23.34)
    assert (means.lower[0], means.upper[0]) == pytest.approx((22.2585, 24.4215), abs=5e-4)
    assert ranges.upper[0] == pytest.approx(3.965, abs=1e-3)


def test_limits_of_means_follow_the_size_of_a_sample() -> None:
    draw = np.random.default_rng(4)
    groups = [draw.normal(0.0, 1.0, size) for size in (4, 4, 16, 1, 4)]
    means, spreads = mean_charts(groups, names(5))
    half = means.upper - means.centre
    assert half[0] == pytest.approx(2.0 * half[2])
    assert half[3] == pytest.approx(2.0 * half[0])
    assert math.isnan(spreads.value[3])
    with pytest.raises(UsageError, match="two values or more"):
        mean_charts([[1.0], [2.0]], names(2))


def test_lots_that_differ_do_not_alarm_the_chart_between_lots() -> None:
    draw = np.random.default_rng(5)
    groups = [draw.normal(draw.normal(5.0, 1.0), 0.2, 8) for _ in range(40)]
    within, _ = mean_charts(groups, names(40))
    between = between_chart(groups, names(40))
    p = lots_differ(groups)
    assert p is not None
    assert p < 1e-6
    outside = [s for s in within.signals if s.rule == "beyond-limits"]
    assert sum(len(signal.points) for signal in outside) > 20
    assert not [s for s in between.signals if s.rule == "beyond-limits"]


def test_analysis_of_variance_equals_another_program() -> None:
    from scipy.stats import f_oneway

    draw = np.random.default_rng(6)
    groups = [draw.normal(0.2 * place, 1.0, 3 + place) for place in range(4)]
    assert lots_differ(groups) == pytest.approx(float(f_oneway(*groups).pvalue), rel=1e-9)
    assert lots_differ([[1.0, 2.0]]) is None
    assert lots_differ([[1.0], [2.0]]) is None


def test_moving_average_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.4: EWMA0 = 50, weight 0.3, s = 2.0539; its numbers from memory.
    chart = ewma_chart(BEFORE_FLOW + FLOW, names(20), weight=0.3, centre=50.0, deviation=2.0539, steady=True)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1.5e-4)
    assert np.round(chart.value[:4], 2) == pytest.approx([50.60, 49.52, 50.56, 50.18])
    assert np.round(chart.value[-2:], 2) == pytest.approx([51.94, 51.99])
    assert not chart.signals


def test_moving_average_with_limits_that_open() -> None:
    # Documented example of a statistics package: mean 10, s 0.8, weight 0.1, width 3 -> 10.5506, 9.4494.
    chart = ewma_chart(np.full(200, 10.0), names(200), weight=0.1, centre=10.0, deviation=0.8)
    assert chart.upper[-1] == pytest.approx(10.5506, abs=1e-4)
    assert chart.lower[-1] == pytest.approx(9.4494, abs=1e-4)
    # After one value the deviation is weight times that of the value.
    assert chart.upper[0] == pytest.approx(10.0 + 3.0 * 0.1 * 0.8)


def test_moving_average_sees_a_small_shift_sooner() -> None:
    draw = np.random.default_rng(7)
    values = np.concatenate([draw.normal(0.0, 1.0, 50), draw.normal(1.0, 1.0, 50)])
    chart = ewma_chart(values, names(100), baseline=50)
    noticed = min(signal.noticed for signal in chart.signals)
    assert 50 <= noticed < 75


@pytest.mark.parametrize(
    "keywords",
    [
        {"weight": 0.0},
        {"weight": 1.5},
        {"width": -1.0},
        {"deviation": -1.0},
        {"baseline": 1},
        {"baseline": 99},
    ],
)
def test_nonsense_is_refused(keywords: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        ewma_chart(FLOW, names(10), **keywords)  # type: ignore[arg-type]


def test_a_value_that_is_none_is_named() -> None:
    with pytest.raises(UsageError, match="lot 2"):
        individuals_chart([1.0, math.inf, 2.0], names(3))
    with pytest.raises(UsageError, match="2 labels for 3"):
        individuals_chart([1.0, 1.5, 2.0], names(2))


def signals(values: list[float], rules: list[str] | None = None) -> list[tuple[str, tuple[int, ...], int]]:
    value = np.array(values)
    one, zero = np.ones(value.shape), np.zeros(value.shape)
    found = run_signals(value, zero, -3.0 * one, 3.0 * one, one, rules=rules)
    return [(each.rule, each.points, each.noticed) for each in found]


def test_boundaries_are_not_beyond() -> None:
    assert signals([3.0, -3.0, 0.0]) == []
    assert signals([2.0, 2.0, 2.0]) == []
    assert signals([0.0] * 20) == []


def test_each_rule_names_its_points_once() -> None:
    assert signals([0.0, 3.1, 0.0, -3.2, -3.3]) == [
        ("beyond-limits", (1,), 1),
        ("beyond-limits", (3, 4), 3),
        ("two-of-three", (3, 4), 4),
    ]
    assert signals([0.1, 2.1, -0.1, 2.2, 0.3]) == [("two-of-three", (1, 3), 3)]
    assert signals([1.1, 1.2, -0.5, 1.3, 1.4, 0.2]) == [("four-of-five", (0, 1, 3, 4), 4)]
    run = [0.1, 0.3, 0.2, 0.4, 0.2, 0.3, 0.1, 0.2, 0.4, 0.3, -0.2]
    assert signals(run) == [("run-of-eight", tuple(range(10)), 7)]
    assert signals(run, ["run-of-nine"]) == [("run-of-nine", tuple(range(10)), 8)]
    rising = [-0.5, -0.3, -0.1, 0.0, 0.2, 0.4, 0.6, -0.1]
    assert signals(rising) == [("six-trending", tuple(range(7)), 5)]
    swinging = [0.1 * (-1.0) ** place for place in range(15)]
    assert signals(swinging) == [("fourteen-alternating", tuple(range(15)), 13)]


def test_values_that_differ_by_rounding_break_no_rule() -> None:
    alike = 0.385 + 1e-16 * np.random.default_rng(8).integers(-4, 4, 30)
    for chart in (*individuals_chart(alike, names(30)), ewma_chart(alike, names(30))):
        assert not chart.signals


def test_a_missing_value_breaks_a_run() -> None:
    run = [0.2] * 5 + [math.nan] + [0.2] * 5
    assert signals(run) == []


def test_no_such_rule() -> None:
    with pytest.raises(UnknownName, match="no run rule named 'seven'"):
        signals([0.0], ["seven"])


def test_rules_say_where_they_come_from() -> None:
    rules = run_rules()
    assert "1956" in rules.source
    assert [rule.id for rule in rules.rules if rule.decisive] == ["beyond-limits"]
    assert len({rule.id for rule in rules.rules}) == len(rules.rules)


def test_false_alarms_of_the_four_rules() -> None:
    # Champ & Woodall, Technometrics 29 (1987) 393: all four rules alarm every 91.75 points on average; the
    # first one alone every 370.4 (1 / 0.0027).
    western = ["beyond-limits", "two-of-three", "four-of-five", "run-of-eight"]
    draw = np.random.default_rng(1987)
    lengths, alone = [], []
    for _ in range(1500):
        values = draw.normal(0.0, 1.0, 1000)
        noticed = [at for _, _, at in signals(list(values), western)]
        lengths.append(noticed[0] + 1 if noticed else 1000)
    for _ in range(250):
        values = draw.normal(0.0, 1.0, 4000)
        noticed = [at for _, _, at in signals(list(values), ["beyond-limits"])]
        alone.append(noticed[0] + 1 if noticed else 4000)
    error = float(np.std(lengths)) / math.sqrt(len(lengths))
    assert np.mean(lengths) == pytest.approx(91.75, abs=4.0 * error)
    error = float(np.std(alone)) / math.sqrt(len(alone))
    assert np.mean(alone) == pytest.approx(370.4, abs=4.0 * error)
