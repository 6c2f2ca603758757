"""Ticks of many ranges, and places against closed forms."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.report.chart._scale import Scale, linear_ticks, log_ticks, minor_places, widened

QUIET = settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])


def value_of(words: str) -> float:
    return float(words.replace("\N{MINUS SIGN}", "-"))


@QUIET
@given(st.floats(-1e9, 1e9), st.floats(1e-9, 1e9), st.integers(1, 20))
def test_linear_ticks_of_any_range(low: float, span: float, room: int) -> None:
    low, high = widened(low, low + span)
    ticks = linear_ticks(low, high, room)
    assert 3 <= len(ticks) <= 9
    values = [value for value, _ in ticks]
    assert values == sorted(values)
    assert low <= values[0]
    assert values[-1] <= high
    assert len({words for _, words in ticks}) == len(ticks)
    step = values[1] - values[0]
    assert all(
        math.isclose(b - a, step, rel_tol=1e-5, abs_tol=1e-12 * max(map(abs, values)))
        for a, b in itertools.pairwise(values)
    )
    # 1, 2 or 5 times a power of ten, and what is written is where it stands.
    fine = 1e-3 * step + 1e-12 * max(map(abs, values))
    lead = [step / 10.0**power for power in (math.floor(math.log10(step)), math.ceil(math.log10(step)))]
    assert any(abs(one - factor) < 0.02 for one in lead for factor in (1.0, 2.0, 5.0))
    for value, words in ticks:
        assert abs(value_of(words) - value) <= fine


@pytest.mark.parametrize(
    ("low", "high", "room", "words"),
    [
        (0.0, 60.0, 6, ["0", "10", "20", "30", "40", "50", "60"]),
        (-1.0, 1.0, 5, ["−1.0", "−0.5", "0.0", "0.5", "1.0"]),
        (9.99, 10.012, 5, ["9.990", "9.995", "10.000", "10.005", "10.010"]),
        (0.0, 2.5e7, 5, ["0", "5e6", "1.0e7", "1.5e7", "2.0e7", "2.5e7"]),
    ],
)
def test_linear_ticks_as_a_person_would_write_them(
    low: float, high: float, room: int, words: list[str]
) -> None:
    told = [value_of(word) for _, word in linear_ticks(low, high, room)]
    assert told == [value_of(word) for word in words]


@pytest.mark.parametrize(
    "ends", [(0.0, 0.0), (5.0, 5.0), (1e12, 1e12 + 1e-6), (-math.inf, math.inf), (3.0, -3.0)]
)
def test_an_axis_can_always_be_drawn(ends: tuple[float, float]) -> None:
    low, high = widened(*ends)
    assert math.isfinite(low)
    assert math.isfinite(high)
    assert low < high
    assert 3 <= len(linear_ticks(low, high, 6)) <= 9
    low, high = widened(*ends, log=True)
    assert 0.0 < low < high < math.inf


def words_wide(words: str) -> float:
    return 4.2 * len(words)


@QUIET
@given(st.floats(-6.0, 9.0), st.floats(0.001, 12.0), st.floats(60.0, 500.0))
def test_log_ticks_of_any_range(power: float, decades: float, wide: float) -> None:
    low, high = 10.0**power, 10.0 ** (power + decades)
    scale = Scale(low, high, 40.0, 40.0 + wide, log=True)
    ticks = log_ticks(low, high, scale.at, words_wide)
    assert 1 <= len(ticks) <= 9
    assert ticks[-1][0] == high, "the end is labelled"
    assert all(low * (1 - 1e-9) <= value <= high * (1 + 1e-9) for value, _ in ticks)
    assert len({words for _, words in ticks}) == len(ticks)
    for (a, a_words), (b, b_words) in itertools.pairwise(ticks):
        assert scale.at(b) - scale.at(a) >= (words_wide(a_words) + words_wide(b_words)) / 2.0
    for value, words in ticks:
        assert math.isclose(value_of(words), value, rel_tol=1e-4)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (1.0, 500.0, "1 2 5 10 20 50 100 200 500"),
        (1.0, 600.0, "1 3 10 30 100 600"),
        (1.0, 2000.0, "1 3 10 30 100 300 2000"),
        (0.001, 1000.0, "0.001 0.01 0.1 1 10 100 1000"),
    ],
)
def test_frequencies_as_a_person_would_label_them(low: float, high: float, words: str) -> None:
    scale = Scale(low, high, 0.0, 200.0, log=True)
    told = [word for _, word in log_ticks(low, high, scale.at, words_wide)]
    assert told[-1] == words.split()[-1]
    assert told[0] == words.split()[0]
    assert 5 <= len(told) <= 9


def test_places_on_both_kinds_of_axis() -> None:
    linear, log = Scale(10.0, 30.0, 100.0, 0.0), Scale(1.0, 100.0, 0.0, 200.0, log=True)
    assert linear(np.array([10.0, 20.0, 30.0])).tolist() == [100.0, 50.0, 0.0]
    assert log(np.array([1.0, 10.0, 100.0])).tolist() == pytest.approx([0.0, 100.0, 200.0])
    for scale in (linear, log):
        values = np.array([12.0, 17.5, 28.0])
        assert [scale.at(value) for value in values] == pytest.approx(scale(values).tolist())
        shares = (scale(values) - scale.start) / (scale.stop - scale.start)
        assert scale.values(shares) == pytest.approx(values)


def test_what_has_no_place_and_what_is_far_off() -> None:
    log, linear = Scale(1.0, 10.0, 0.0, 100.0, log=True), Scale(-1e308, 1e308, 0.0, 100.0)
    assert np.isnan(log(np.array([0.0, -1.0, np.nan]))).all()
    assert math.isnan(log.at(0.0))
    assert math.isnan(log.at(math.nan))
    assert linear(np.array([0.0, 1e308])).tolist() == [50.0, 100.0]
    assert np.isfinite(log(np.array([1e300, np.inf]))).all()
    assert math.isfinite(log.at(math.inf))
    assert Scale(0.0, 1.0, 0.0, 100.0)(np.array([np.inf, -np.inf])).tolist() == [3000.0, -3000.0]


def test_small_marks_between_powers_of_ten() -> None:
    assert minor_places(1.0, 30.0) == [*map(float, range(1, 11)), 20.0, 30.0]
    assert minor_places(1e-9, 1e9) == []
