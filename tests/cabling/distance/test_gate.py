"""Which sweeps may be turned into time: by the sampling theorem and by what lines of known impedance show."""

from __future__ import annotations

import re

import numpy as np
import pytest

from benchsweep.cabling import why_no_time_domain
from benchsweep.cabling.distance import TimeGrid, time_grid


def grid(start_mhz, step_mhz, points):
    return 1e6 * (start_mhz + step_mhz * np.arange(points))


@pytest.mark.parametrize(
    ("start", "step", "points", "length_m"),
    [
        (1.0, 1.0, 500, 2.0),
        (1.0, 1.0, 500, 15.0),
        (0.25, 0.25, 2000, 100.0),
        (1.0, 0.25, 1997, 2.0),  # every fourth point is used
        (0.3, 0.74981, 1601, 5.0),  # an even sweep from 300 kHz to 1.2 GHz
        (0.1, 0.49990, 1001, 15.0),
    ],
)
def test_fit_sweeps(start, step, points, length_m):
    assert why_no_time_domain(grid(start, step, points), length_m) == ""


@pytest.mark.parametrize(
    ("frequency_hz", "length_m", "word"),
    [
        (np.geomspace(1e6, 500e6, 400), 2.0, "not evenly spaced"),
        (np.concatenate([grid(1, 1, 100), grid(102, 2, 200)]), 2.0, "not evenly spaced"),
        (grid(1, 1, 12), 2.0, "fewer than 16"),
        (grid(10, 1, 491), 15.0, "begins too high"),
        (grid(1, 1, 500), 100.0, "begins too high"),
        (grid(1, 1, 500), 90.0, "begins too high"),
        (grid(1.3, 1, 500), 2.0, "neither at its step"),
        (grid(0.2, 1, 500), 100.0, "tell places apart over only"),
        (grid(0.6, 1, 20), 49.9, "interpolated with an error"),
    ],
)
def test_unfit_sweeps_are_refused_and_the_sweep_that_is_named_instead_is_fit(frequency_hz, length_m, word):
    said = why_no_time_domain(frequency_hz, length_m)
    assert word in said
    found = re.search(r"from ([\d.]+) MHz in steps of ([\d.]+) MHz \((\d+) points\)$", said)
    assert found, said
    start, step, points = float(found[1]), float(found[2]), int(found[3])
    assert why_no_time_domain(grid(start, step, points), length_m) == ""
    assert start * 1e6 + (points - 1) * step * 1e6 >= frequency_hz[-1] * (1 - 1e-9)


def test_without_a_length_nobody_can_tell():
    assert "give the length" in why_no_time_domain(grid(1, 1, 500), None)


def test_a_slow_cable_needs_a_finer_sweep():
    f = grid(1, 1, 500)
    assert why_no_time_domain(f, 29.0, velocity_fraction=0.67) == ""
    assert "begins too high" in why_no_time_domain(f, 29.0, velocity_fraction=0.6)


def test_frequencies_rounded_by_the_analyzer_are_even():
    exact = grid(0.3, 0.74981251, 1601)
    rounded = np.round(exact, -1)
    assert isinstance(time_grid(rounded), TimeGrid)
    off = exact.copy()
    off[800] += 0.02 * 0.75e6
    assert time_grid(off) == "the frequencies are not evenly spaced"


def test_every_manyth_point_of_a_sweep_that_begins_at_a_multiple_of_its_step():
    f = grid(1.0, 0.25, 101)
    found = time_grid(f)
    assert isinstance(found, TimeGrid)
    assert (found.step_hz, found.count, found.every) == (1e6, 26, 4)
    assert found.on_multiples(f.astype(complex)).real == pytest.approx(1e6 * np.arange(1, 27))
    assert found.interpolation_error(1e-7) == 0.0


@pytest.mark.parametrize("start", [0.1, 0.5, 0.9])
def test_the_stated_error_of_interpolation_bounds_the_true_one(start):
    """Random reflections at random times: the error is at most the bound times the sum of magnitudes."""
    f = grid(start, 1.0, 120)
    found = time_grid(f)
    assert isinstance(found, TimeGrid)
    rng = np.random.default_rng(5)
    latest_s = 0.3e-6
    bound = found.interpolation_error(latest_s)
    multiples = found.step_hz * np.arange(1, found.count + 1)
    largest = 0.0
    for _ in range(40):
        times = rng.uniform(0.0, latest_s, 4)
        size = rng.normal(size=4)
        s = np.exp(-2j * np.pi * f[:, None] * times) @ size
        wanted = np.exp(-2j * np.pi * multiples[:, None] * times) @ size
        # The top of the band is bounded by the window; the bound is that of the lower half.
        error = np.abs(found.on_multiples(s) - wanted)[: found.count // 2].max()
        largest = max(largest, error / np.abs(size).sum())
    assert largest <= bound * 1.05
    assert bound < 0.01
    assert largest > bound / 30.0  # and it is no empty promise
