"""The packed values, read by plain Python."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from benchsweep.report.chart._packing import packed, stretches
from tests.report.chart.second_reader import unpacked

QUIET = settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
VALUES = st.one_of(
    st.floats(-1e6, 1e6),
    st.floats(-1e11, 1e11),
    st.sampled_from([math.inf, -math.inf, math.nan, 0.0, -0.0, 2e11, -2e11, 1e300, 1e-9]),
)


def test_bytes_that_are_worked_out_by_hand() -> None:
    """0, 1, -1, 64 ten-thousandths: differences 0, 1, -2, 65; numbers 0, 2, 3, 130; 130 is 0x82 0x01."""
    assert packed(np.array([[0.0, 0.0001, -0.0001, 0.0064]])) == [{"v": "AAIDggE=", "gaps": []}]


@QUIET
@given(hnp.arrays(np.float64, st.tuples(st.integers(1, 4), st.integers(1, 60)), elements=VALUES))
def test_a_second_reader_gets_all_values(rows: Any) -> None:
    for row, told in zip(rows, packed(rows), strict=True):
        read = unpacked(told)
        assert len(read) == row.size
        for value, got in zip(row.tolist(), read, strict=True):
            if math.isfinite(value) and abs(value) <= 2e11:
                # A float of this size is not exact to a ten-thousandth from 10^11 / 2^53 on.
                assert abs(got - value) <= 0.5e-4 * (1 + 1e-9) + abs(value) * 4e-16
            else:
                assert math.isnan(got)


@QUIET
@given(hnp.arrays(np.float64, st.tuples(st.integers(1, 4), st.integers(1, 30)), elements=VALUES))
def test_rows_are_packed_together_as_each_alone(rows: Any) -> None:
    assert packed(rows) == [packed(row[None])[0] for row in rows]


def test_a_gap_costs_a_byte_a_point() -> None:
    """A difference of 0 is one byte: the value after a gap is counted from the one before it."""
    row = np.array([[100.0, np.inf, np.nan, 100.0]])
    told = packed(row)[0]
    assert told["gaps"] == [[1, 3]]
    assert unpacked({"v": told["v"], "gaps": []}) == [100.0] * 4


def test_a_gap_at_the_begin() -> None:
    told = packed(np.array([[np.nan, np.inf, -3.5]]))[0]
    assert told["gaps"] == [[0, 2]]
    assert unpacked(told)[2] == -3.5
    assert unpacked({"v": told["v"], "gaps": []})[:2] == [0.0, 0.0]


def test_nothing_is_packed_as_nothing() -> None:
    assert packed(np.empty((2, 0))) == [{"v": "", "gaps": []}] * 2


@pytest.mark.parametrize(
    ("mask", "told"),
    [([], []), ([0, 0], []), ([1], [[0, 1]]), ([1, 0, 1, 1], [[0, 1], [2, 4]]), ([0, 1, 1, 0], [[1, 3]])],
)
def test_stretches(mask: list[int], told: list[list[int]]) -> None:
    assert stretches(np.array(mask, dtype=np.bool_)) == told


def test_in_steps_of_a_thousandth() -> None:
    """0, 1, -1, 64 thousandths are the same bytes as so many ten-thousandths."""
    assert packed(np.array([[0.0, 0.001, -0.001, 0.064]]), 1_000) == [{"v": "AAIDggE=", "gaps": []}]
    assert unpacked(packed(np.array([[1.2344]]), 1_000)[0], 1_000) == [1.234]


def test_a_smooth_curve_takes_two_bytes_a_point() -> None:
    """40 dB + 10 dB sin over 1001 points: differences below 0.82 dB are two bytes, four letters for three."""
    row = 40.0 + 10.0 * np.sin(np.linspace(0.0, 20.0, 1001))
    assert len(packed(row[None])[0]["v"]) <= 2 * 1001 * 4 / 3 + 8
