"""Differences on a common grid against closed forms: what counts, matched nulls, margins as values."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.comparison import compared_points, differences, not_compared, worst_margin
from benchsweep.records import FieldPoint, FieldResult, FieldTrace, LimitCurve, Parameter, Trace

GRID = np.geomspace(1e6, 500e6, 181)


def straight(grid, at_1mhz, per_decade):
    """A line in dB over lg f: linear interpolation over lg f is exact on it."""
    return at_1mhz + per_decade * np.log10(grid / 1e6)


def trace(parameter=Parameter.NEXT, value=None, *, end="A", pairs=("12", "36"), grid=GRID):
    return Trace(parameter, end, pairs, grid, straight(grid, 80.0, -15.0) if value is None else value)


def told(
    value, *, parameter=Parameter.NEXT, end="A", pairs=("12", "36"), grid=GRID, quantity="value", limit=None
):
    return FieldResult((FieldTrace(parameter, end, pairs, quantity, grid, value, limit),))


def curve(value, *, parameter=Parameter.NEXT, sense="min", grid=GRID):
    return LimitCurve(
        parameter, sense, grid, np.broadcast_to(value, grid.shape).astype(float), "from-memory", "test"
    )


LIMIT = curve(straight(GRID, 75.0, -15.0))


class TestGrid:
    def test_an_offset_is_the_difference_on_any_grid_of_the_tester(self):
        grid = np.linspace(1e6, 500e6, 137)
        (found,) = differences(told(straight(grid, 80.7, -15.0), grid=grid), [trace()], [LIMIT])
        assert found.difference == pytest.approx(0.7, abs=1e-9)
        assert found.counts.all()
        assert found.limit == pytest.approx(straight(grid, 75.0, -15.0))

    def test_points_outside_the_bench_band_are_no_part_of_it(self):
        grid = np.geomspace(0.5e6, 1000e6, 100)
        (found,) = differences(told(straight(grid, 80.0, -15.0), grid=grid), [trace()], [LIMIT])
        assert found.frequency_hz[0] >= 1e6
        assert found.frequency_hz[-1] <= 500e6
        outside = int(((grid < 1e6) | (grid > 500e6)).sum())
        assert f"{outside} points outside the bench's band" in found.why_not

    def test_a_tester_wholly_elsewhere_has_no_difference(self):
        grid = np.geomspace(600e6, 1000e6, 10)
        assert differences(told(straight(grid, 80.0, -15.0), grid=grid), [trace()], [LIMIT]) == ()

    def test_a_ripple_finer_than_the_bench_grid_is_left_out_between_its_points(self):
        coarse = np.geomspace(1e6, 500e6, 12)
        ripple = straight(coarse, 80.0, -15.0) + 3.0 * (-1.0) ** np.arange(12)
        grid = np.sort(np.concatenate([coarse, np.sqrt(coarse[:-1] * coarse[1:])]))
        result = told(straight(grid, 80.0, -15.0), grid=grid)
        (found,) = differences(result, [trace(value=ripple, grid=coarse)], [LIMIT], null_steps=0)
        assert found.counts[::2].all()
        assert not found.counts[1::2].any()
        assert any("too coarse" in why for why in found.why_not)

    def test_no_signal_on_the_bench_is_no_difference(self):
        value = straight(GRID, 80.0, -15.0)
        value[50] = np.inf
        (found,) = differences(told(straight(GRID, 80.0, -15.0)), [trace(value=value)], [LIMIT])
        assert not found.counts[50]
        assert found.counts.sum() == GRID.size - 1


class TestWhatCounts:
    def test_only_what_is_within_10_db_of_a_minimum(self):
        bench = np.where(GRID < 10e6, straight(GRID, 86.0, -15.0), straight(GRID, 84.0, -15.0))
        (found,) = differences(told(bench), [trace(value=bench)], [LIMIT], null_steps=0)
        np.testing.assert_array_equal(found.counts, GRID >= 10e6)

    def test_a_loss_with_a_maximum_counts_far_from_it(self):
        bench = trace(Parameter.INSERTION_LOSS, straight(GRID, 1.0, 2.0), pairs=("12",))
        limit = curve(60.0, parameter=Parameter.INSERTION_LOSS, sense="max")
        result = told(bench.value + 0.2, parameter=Parameter.INSERTION_LOSS, pairs=("12",))
        (found,) = differences(result, [bench], [limit])
        assert found.counts.all()

    def test_below_the_floor_nothing_counts(self):
        def floor(which):
            return np.full(which.frequency_hz.size, 60.0)

        (found,) = differences(told(straight(GRID, 80.0, -15.0)), [trace()], [LIMIT], floor=floor)
        np.testing.assert_array_equal(found.counts, straight(GRID, 80.0, -15.0) <= 60.0)

    def test_what_the_requirement_exempts_does_not_count(self):
        exempt = {(Parameter.NEXT, "A", ("12", "36")): GRID < 3e6}
        (found,) = differences(told(straight(GRID, 80.0, -15.0)), [trace()], [LIMIT], exempt=exempt)
        np.testing.assert_array_equal(found.counts, GRID >= 3e6)

    def test_without_a_limit_a_minimum_is_near_to_nothing(self):
        (found,) = differences(told(straight(GRID, 80.0, -15.0)), [trace()])
        assert not found.counts.any()
        assert "does not limit" in found.why_not[0]


class TestQuantities:
    @pytest.mark.parametrize(
        ("parameter", "sense", "sign"),
        [(Parameter.RETURN_LOSS, "min", 1.0), (Parameter.INSERTION_LOSS, "max", -1.0)],
    )
    @pytest.mark.parametrize("tells_limit", [False, True])
    def test_margins_become_values_by_the_limit(self, parameter, sense, sign, tells_limit):
        bench = trace(parameter, straight(GRID, 20.0, 1.0), pairs=("12",))
        limit = curve(18.0 if sense == "min" else 25.0, parameter=parameter, sense=sense)
        margin = sign * (bench.value + 0.4 - limit.value)
        result = told(
            margin,
            parameter=parameter,
            pairs=("12",),
            quantity="margin",
            limit=limit.value if tells_limit else None,
        )
        (found,) = differences(result, [bench], [limit])
        assert found.difference == pytest.approx(0.4)

    def test_a_margin_against_another_limit_is_brought_back_by_the_limit_told(self):
        other = straight(GRID, 70.0, -15.0)
        result = told(straight(GRID, 80.0, -15.0) - other, quantity="margin", limit=other)
        (found,) = differences(result, [trace()], [LIMIT])
        assert found.difference == pytest.approx(0.0, abs=1e-9)

    def test_margins_without_any_limit_do_not_count(self):
        (found,) = differences(told(np.ones(GRID.size), quantity="margin"), [trace()])
        assert not found.counts.any()

    def test_delay_in_ns(self):
        bench = trace(Parameter.DELAY, np.full(GRID.size, 500.0), end=None, pairs=("12",))
        limit = curve(555.0, parameter=Parameter.DELAY, sense="max")
        result = told(np.full(GRID.size, 503.0), parameter=Parameter.DELAY, end=None, pairs=("12",))
        (found,) = differences(result, [bench], [limit])
        assert found.counts.all()
        assert found.difference == pytest.approx(3.0)


class TestNulls:
    """|a + b e^{-j 2 pi f T}|: two reflections; its nulls and maxima lie at known frequencies."""

    GRID = np.linspace(10e6, 110e6, 401)
    STEP = 0.25e6

    def loss(self, shift_hz=0.0, ratio=0.8):
        wave = 1.0 + ratio * np.exp(-2j * np.pi * (self.GRID - shift_hz) / 20e6)
        return 20.0 - 20.0 * np.log10(np.abs(wave))

    def compare(self, steps, **tester):
        bench = trace(Parameter.RETURN_LOSS, self.loss(), pairs=("12",), grid=self.GRID)
        limit = curve(15.0, parameter=Parameter.RETURN_LOSS, grid=self.GRID)
        result = told(self.loss(**tester), parameter=Parameter.RETURN_LOSS, pairs=("12",), grid=self.GRID)
        (found,) = differences(
            result, [bench], [limit], null_steps=steps, near_limit_db=100.0, coarse_db=100.0
        )
        return found

    def test_a_shift_of_two_steps_leaves_nothing_at_matched_extrema(self):
        beside = self.compare(0, shift_hz=2 * self.STEP)
        paired = self.compare(2, shift_hz=2 * self.STEP)
        nulls = np.isin(paired.frequency_hz, 30e6 + 20e6 * np.arange(4) + 2 * self.STEP)
        assert nulls.sum() == 4
        assert np.abs(beside.difference[nulls]).min() > 0.5
        assert paired.difference[nulls] == pytest.approx(0.0, abs=1e-9)
        assert paired.frequency_hz[nulls] - paired.bench_frequency_hz[nulls] == pytest.approx(2 * self.STEP)
        assert any("extrema compared" in why for why in paired.why_not)

    def test_the_flanks_of_nulls_do_not_count_but_the_nulls_do(self):
        found = self.compare(2, shift_hz=2 * self.STEP)
        at = int(np.argmin(np.abs(found.frequency_hz - (20e6 + 2 * self.STEP))))
        assert found.counts[np.argmin(np.abs(found.frequency_hz - (40e6 + 2 * self.STEP)))]
        flank = int(np.argmin(np.abs(found.frequency_hz - (30e6 + self.STEP))))
        assert not found.counts[flank]
        assert found.counts[at]

    def test_a_shift_of_more_steps_is_no_match(self):
        found = self.compare(2, shift_hz=8 * self.STEP)
        np.testing.assert_array_equal(found.bench_frequency_hz, found.frequency_hz)

    def test_another_depth_is_a_difference_at_the_null(self):
        found = self.compare(2, shift_hz=self.STEP, ratio=0.7)
        at = int(np.argmin(np.abs(found.frequency_hz - (30e6 + self.STEP))))
        # Depth 1 - ratio: 20 lg(0.2 / 0.3) dB.
        assert found.difference[at] == pytest.approx(20.0 * np.log10(0.2 / 0.3), abs=0.02)


class TestNames:
    def test_next_is_the_same_both_ways_round(self):
        result = told(straight(GRID, 81.0, -15.0), pairs=("36", "12"))
        (found,) = differences(result, [trace()], [LIMIT])
        assert found.pairs == ("12", "36")

    def test_insertion_loss_without_an_end_is_that_of_the_pair(self):
        bench = trace(Parameter.INSERTION_LOSS, straight(GRID, 1.0, 5.0), pairs=("12",))
        result = told(bench.value, parameter=Parameter.INSERTION_LOSS, end=None, pairs=("12",))
        (found,) = differences(result, [bench])
        assert (found.end, found.counts.all()) == ("A", True)

    def test_far_end_combinations_are_not_turned_round(self):
        bench = trace(Parameter.ACR_F, straight(GRID, 80.0, -20.0), pairs=("12", "36"))
        result = told(bench.value, parameter=Parameter.ACR_F, pairs=("36", "12"))
        assert differences(result, [bench], [curve(20.0, parameter=Parameter.ACR_F)]) == ()

    def test_what_only_one_of_them_has_is_named(self):
        result = told(straight(GRID, 80.0, -15.0), pairs=("45", "78"))
        only_tester, only_bench = not_compared(result, [trace()])
        assert only_tester == ((Parameter.NEXT, "A", ("45", "78")),)
        assert only_bench == ((Parameter.NEXT, "A", ("12", "36")),)

    def test_insertion_loss_told_once_misses_nothing(self):
        value = straight(GRID, 1.0, 5.0)
        bench = [trace(Parameter.INSERTION_LOSS, value, end=end, pairs=("12",)) for end in "AB"]
        result = told(value, parameter=Parameter.INSERTION_LOSS, pairs=("12",))
        assert not_compared(result, bench) == ((), ())


class TestPoints:
    BENCH = trace(value=straight(GRID, 80.0, -15.0) - 2.0 * np.exp(-(np.log(GRID / 60e6) ** 2) / 0.02))
    AT = float(GRID[np.argmin(np.abs(GRID - 60e6))])

    def test_worst_margin_of_the_bench(self):
        found = worst_margin(self.BENCH, [LIMIT])
        # 60 MHz lies between two points of the grid.
        assert found.margin == pytest.approx(3.0, abs=0.03)
        assert found.frequency_hz == self.AT
        assert found.value - found.limit == pytest.approx(found.margin)

    def test_worst_margins_are_held_against_each_other(self):
        point = FieldPoint(Parameter.NEXT, "A", ("36", "12"), margin=3.4, frequency_hz=61e6)
        (found,) = compared_points(FieldResult(points=(point,)), [self.BENCH], [LIMIT])
        assert found.worst.difference == pytest.approx(0.4, abs=0.03)
        assert found.worst.frequency_hz == self.AT
        assert found.there.bench == pytest.approx(np.interp(61e6, GRID, self.BENCH.value), abs=0.02)
        assert found.words == ""

    def test_another_frequency_is_said(self):
        point = FieldPoint(Parameter.NEXT, "A", ("12", "36"), margin=3.0, frequency_hz=240e6)
        (found,) = compared_points(FieldResult(points=(point,)), [self.BENCH], [LIMIT])
        assert "at 240 MHz, the bench at 60" in found.words

    def test_an_exempt_dip_is_not_the_worst(self):
        exempt = {(Parameter.NEXT, "A", ("12", "36")): np.abs(np.log(GRID / 60e6)) < 0.6}
        point = FieldPoint(Parameter.NEXT, "A", ("12", "36"), margin=5.0)
        (found,) = compared_points(FieldResult(points=(point,)), [self.BENCH], [LIMIT], exempt=exempt)
        assert found.worst.bench == pytest.approx(5.0, abs=0.01)

    def test_a_value_at_a_frequency_and_a_delay_without_one(self):
        loss = trace(Parameter.INSERTION_LOSS, straight(GRID, 1.0, 10.0), pairs=("12",))
        delay = trace(Parameter.DELAY, np.linspace(510.0, 500.0, GRID.size), end=None, pairs=("12",))
        points = (
            FieldPoint(Parameter.INSERTION_LOSS, "A", ("12",), value=21.5, frequency_hz=100e6),
            FieldPoint(Parameter.DELAY, None, ("12",), value=512.0),
            FieldPoint(Parameter.INSERTION_LOSS, "A", ("12",), value=21.5, frequency_hz=700e6),
            FieldPoint(Parameter.INSERTION_LOSS, "A", ("45",), value=21.5, frequency_hz=100e6),
        )
        at_100, longest, outside, unknown = compared_points(FieldResult(points=points), [loss, delay])
        assert at_100.there.difference == pytest.approx(0.5)
        assert longest.there.difference == pytest.approx(2.0)
        assert outside.there is None
        assert "outside the bench's band" in outside.words
        assert (unknown.key, unknown.worst, unknown.there) == (None, None, None)


def test_a_sweep_with_few_points_that_steps_over_a_narrow_minimum_makes_no_difference():
    """A dip of 3 dB and 0.4 MHz beside a wide minimum: the tester with steps of 1 MHz never saw it."""
    fine = np.arange(25e6, 36e6, 0.05e6)

    def loss(frequency_hz):
        wide = 58.0 + ((frequency_hz - 30.5e6) / 4e6) ** 2
        return wide - 3.0 * np.exp(-(((frequency_hz - 31.45e6) / 0.2e6) ** 2))

    bench = trace(value=loss(fine), grid=fine)
    coarse = np.arange(25e6, 35.5e6, 1e6)
    result = told(loss(coarse), grid=coarse)
    (found,) = differences(result, [bench], [curve(50.0, grid=fine)])
    assert found.counts.any()
    assert np.abs(found.difference[found.counts]).max() < 0.1
