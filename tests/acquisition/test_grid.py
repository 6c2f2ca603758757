"""Which points are swept: fine enough for the ripple, within what the analyzer can, and honest where not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchsweep.acquisition import choose_grid, grid_text, grid_warnings, settings_grid
from benchsweep.acquisition._grid import ChosenGrid
from benchsweep.acquisition._ripple import (
    ALLOWED_MISS_DB,
    allowed_step_hz,
    delay_s,
    missed_peak_db,
    ripple_step_hz,
    worst_missed_peak_db,
)
from benchsweep.errors import UsageError
from benchsweep.records import SweepSegment, SweepSettings


def frequencies(chosen: ChosenGrid) -> np.ndarray[Any, np.dtype[np.float64]]:
    grid = settings_grid(chosen.settings(if_bandwidth_hz=1000.0, averages=1, power_dbm=-5.0))
    assert grid is not None
    return grid


def seen_dip_db(points_per_period: int, second: float) -> float:
    """Sample the ripple of two reflections on shifted grids; return the most by which a peak is missed."""
    shifts = np.linspace(0.0, 1.0, 2001)  # in steps
    phase = 2.0 * np.pi * (np.arange(points_per_period)[:, np.newaxis] + shifts) / points_per_period
    highest = np.abs(1.0 + second * np.exp(1j * phase)).max(axis=0)
    return float(20.0 * np.log10((1.0 + second) / highest.min()))


@pytest.mark.parametrize("second", [1.0, 0.5, 0.1])
@pytest.mark.parametrize("points", [2, 3, 4, 6, 8, 10, 16, 20])
def test_the_missed_peak_is_that_of_sampling_the_ripple_itself(points: int, second: float) -> None:
    assert missed_peak_db(points, second) == pytest.approx(seen_dip_db(points, second), abs=2e-5)


@pytest.mark.parametrize(
    ("points", "missed_db"), [(4, 0.69), (6, 0.30), (8, 0.17), (10, 0.11), (16, 0.04), (20, 0.03)]
)
def test_the_figures_of_the_rule(points: int, missed_db: float) -> None:
    # Closed form: equal reflections make |2 cos(x)|; half a step beside the peak that is cos(pi/2n). Figures
    # of twice as many dB (1.38, 0.60, 0.34, 0.22, 0.08, 0.05) are 20 log10 of the power, cos^2, by mistake.
    assert round(missed_peak_db(points), 2) == missed_db
    assert missed_peak_db(points) == pytest.approx(-20 * math.log10(math.cos(math.pi / (2 * points))))


def test_a_grid_that_meets_only_the_nulls_misses_everything() -> None:
    assert missed_peak_db(1) == missed_peak_db(0.3) == math.inf
    assert missed_peak_db(1, second=0.5) == pytest.approx(20 * math.log10(1.5 / 0.5))


def test_the_step_of_the_rule() -> None:
    # 100 m at two thirds of the speed of light: a period of 1 MHz, so about 0.1 MHz; 2 m: 5 MHz.
    assert ripple_step_hz(100.0) == pytest.approx(0.1e6, rel=0.01)
    assert ripple_step_hz(2.0) == pytest.approx(5e6, rel=0.01)
    assert 1 / (2 * delay_s(100.0) * ripple_step_hz(100.0)) == pytest.approx(10.0)


@pytest.mark.parametrize("length_m", [1.0, 20.0, 100.0])
def test_where_the_cable_loses_much_a_larger_step_misses_no_more(length_m: float) -> None:
    assert allowed_step_hz(1.0, length_m) == pytest.approx(ripple_step_hz(length_m), rel=1e-3)
    before = 0.0
    for frequency in (1e6, 10e6, 100e6, 500e6, 2000e6):
        step = allowed_step_hz(frequency, length_m)
        assert step >= before
        missed = worst_missed_peak_db(np.array([frequency]), np.array([step]), length_m)[0]
        # Larger than that, some distance within the specimen is missed by more.
        more = worst_missed_peak_db(np.array([frequency]), np.array([1.2 * step]), length_m)[0]
        assert missed <= ALLOWED_MISS_DB * (1 + 1e-6) < more
        before = step


@pytest.mark.parametrize(
    ("length_m", "words"),
    [
        (2.0, "1 MHz to 500 MHz in steps of 1 MHz, 500 points"),
        (20.0, "0.5 MHz to 500 MHz in steps of 0.5 MHz, 1000 points"),
        (100.0, "0.1 MHz to 500 MHz in steps of 0.1 MHz, 5000 points"),
    ],
)
def test_usual_specimens_get_a_harmonic_grid_fit_for_all(length_m: float, words: str) -> None:
    chosen = choose_grid(1e6, 500e6, length_m)
    assert chosen.warnings == ()
    assert grid_text(chosen.settings(if_bandwidth_hz=1e3, averages=1, power_dbm=0.0)) == words
    grid = frequencies(chosen)
    assert np.allclose(grid / grid[0], np.arange(1, grid.size + 1), rtol=1e-12)


def test_where_linear_takes_too_many_points_segments_are_fine_at_the_bottom() -> None:
    chosen = choose_grid(1e6, 500e6, 100.0, most_points=4001)
    assert chosen.spacing == "segments"
    assert chosen.points <= 4001
    steps = [(part.stop_hz - part.start_hz) / (part.points - 1) for part in chosen.segments]
    assert steps == sorted(steps)
    assert steps[0] == pytest.approx(0.1e6)
    # Time domain is what segments cannot do; return loss is as good as on the linear grid.
    assert [words.split(":")[0] for words in chosen.warnings] == ["time domain"]


def test_without_segments_the_grid_is_coarser_and_says_by_how_much() -> None:
    chosen = choose_grid(1e6, 500e6, 100.0, most_points=1601, spacing="linear")
    assert (chosen.spacing, chosen.points) == ("linear", 1000)
    assert "5000 points are needed" in chosen.warnings[0]
    loss = next(words for words in chosen.warnings if words.startswith("return loss"))
    # Two points per period and a loss of 1.5 sqrt(0.5) dB there, twice: 20 log10(1.78/|1 - 0.78 j|) = 2.9 dB
    assert "missed by up to 2.9 dB" in loss


def test_a_logarithmic_grid_only_when_asked_for_and_never_for_time_domain() -> None:
    chosen = choose_grid(1e6, 500e6, 2.0, spacing="logarithmic")
    steps = np.diff(frequencies(chosen))
    assert steps.max() <= ripple_step_hz(2.0)
    assert [words for words in chosen.warnings if "refused on a logarithmic grid" in words]
    assert len(chosen.warnings) == 1


def test_what_the_analyzer_does_not_reach_is_said() -> None:
    chosen = choose_grid(1e6, 500e6, 2.0, lowest_hz=2e6, highest_hz=300e6)
    assert (chosen.start_hz, chosen.stop_hz) == (2e6, 300e6)
    assert "the analyzer starts at 2 MHz, 1 MHz is asked for" in chosen.warnings
    assert "the analyzer stops at 300 MHz, 500 MHz is asked for" in chosen.warnings
    with pytest.raises(UsageError, match="the analyzer goes from"):
        choose_grid(1e6, 500e6, 2.0, lowest_hz=600e6)


@pytest.mark.parametrize(
    ("start", "stop", "length", "extra"),
    [
        (5e6, 1e6, 2.0, {}),
        (0.0, 1e6, 2.0, {}),
        (1e6, math.inf, 2.0, {}),
        (1e6, 5e6, 0.0, {}),
        (1e6, 5e6, 2e4, {}),
        (1e6, 5e6, math.nan, {}),
        (1e6, 5e6, 2.0, {"velocity_factor": 1.2}),
        (1e6, 5e6, 2.0, {"most_points": 1}),
    ],
)
def test_nonsense_is_refused(start: float, stop: float, length: float, extra: dict[str, Any]) -> None:
    with pytest.raises(UsageError, match="makes no sense"):
        choose_grid(start, stop, length, **extra)


@settings(deadline=None)
@given(
    start_mhz=st.floats(0.01, 50.0),
    width_mhz=st.floats(1.0, 2000.0),
    length_m=st.floats(0.1, 500.0),
    most_points=st.integers(11, 30_000),
    spacing=st.sampled_from([None, "linear", "segments", "logarithmic"]),
    lowest_share=st.floats(0.0, 1.0),
)
def test_a_chosen_grid_covers_the_range_and_obeys_or_warns(
    start_mhz: float, width_mhz: float, length_m: float, most_points: int, spacing: Any, lowest_share: float
) -> None:
    start, stop = start_mhz * 1e6, (start_mhz + width_mhz) * 1e6
    chosen = choose_grid(
        start, stop, length_m, most_points=most_points, spacing=spacing, lowest_hz=lowest_share * start
    )
    grid = frequencies(chosen)
    assert grid.size == chosen.points <= most_points
    assert lowest_share * start * (1 - 1e-9) <= grid[0] <= start * (1 + 1e-9)
    assert grid[-1] >= stop * (1 - 1e-9)
    steps = np.diff(grid)
    assert (steps > 0.0).all()
    # Told from every point, not from those that the warning looks at.
    missed = worst_missed_peak_db(grid[:-1], steps, length_m).max()
    warned = any(words.startswith("return loss") for words in chosen.warnings)
    assert warned == bool(missed > ALLOWED_MISS_DB * (1 + 1e-5)) or missed < ALLOWED_MISS_DB * (1 + 1e-4)
    if not warned and chosen.spacing == "linear":
        assert steps.max() <= max(ripple_step_hz(length_m), allowed_step_hz(grid[0], length_m)) * (1 + 1e-6)
    if spacing == "linear":
        assert chosen.spacing == "linear"
    if spacing != "logarithmic":
        assert chosen.spacing != "logarithmic"


GRID_1_MHZ = np.arange(1, 501) * 1e6


def test_a_grid_that_is_fit_brings_no_words() -> None:
    assert grid_warnings(GRID_1_MHZ, 10.0) == ()


def test_a_long_specimen_on_a_coarse_grid() -> None:
    loss, repeats, start = grid_warnings(GRID_1_MHZ, 100.0)
    assert "repeats after 100 m; 100 m need 200 m" in repeats
    assert loss.startswith("return loss and NEXT: the step of 1 MHz near 1 MHz is too coarse for 100 m")
    assert "Take 0.1 MHz or less there" in loss
    # 0.3 of 1/(2 tau) of 100 m
    assert "Start at 0.3 MHz or lower" in start
    assert grid_warnings(GRID_1_MHZ, 100.0, time_domain=False) == (loss,)


def test_turns_of_the_phase_that_cannot_be_counted() -> None:
    grid = np.arange(1, 101) * 5e6
    delay = [words for words in grid_warnings(grid, 100.0) if words.startswith("delay")]
    # The delay of 100 m lies within a window of 374 ns; one turn of the phase per step of 5 MHz is 200 ns.
    assert delay == [
        "delay and skew: steps of 5 MHz are too coarse for 100 m: the turns of the phase cannot be counted. "
        "Take 2.4 MHz or less."
    ]
    assert not [words for words in grid_warnings(grid, 30.0) if words.startswith("delay")]


def test_time_domain_wants_range_low_start_and_multiples_of_the_step() -> None:
    # 15 m at steps of 1 MHz: from 1 MHz right, from 10 MHz the profile of the impedance was wrong by 13 ohm.
    assert not [w for w in grid_warnings(np.arange(1, 501) * 1e6, 15.0) if w.startswith("time domain")]
    assert any("too high for 15 m" in w for w in grid_warnings(np.arange(10, 501) * 1e6, 15.0))
    assert any("no multiple" in w for w in grid_warnings(np.arange(1, 500) * 1e6 + 0.3e6, 5.0))
    repeats = [w for w in grid_warnings(np.arange(1, 101) * 5e6, 20.0) if "repeats after 20.1 m" in w]
    assert len(repeats) == 1
    assert "20 m need 40 m" in repeats[0]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (SweepSettings(None, None, None, 1e3), "the analyzer's own grid after a preset"),
        (
            SweepSettings(1e6, 500e6, 201, 1e3, spacing="logarithmic"),
            "1 MHz to 500 MHz, logarithmic, 201 points",
        ),
        (
            SweepSettings(
                None,
                None,
                None,
                1e3,
                spacing="segments",
                segments=(SweepSegment(1e6, 10e6, 10, 100.0), SweepSegment(12e6, 20e6, 5)),
            ),
            "1 MHz to 20 MHz in segments, 15 points: from 1 MHz in steps of 1 MHz at 100 Hz bandwidth; "
            "from 12 MHz in steps of 2 MHz",
        ),
    ],
)
def test_a_grid_in_words(settings: SweepSettings, words: str) -> None:
    assert grid_text(settings) == words


@given(length_m=st.floats(0.1, 5000.0), stop_mhz=st.floats(50.0, 3000.0))
def test_steps_are_round_and_the_linear_grid_lies_on_multiples_of_them(
    length_m: float, stop_mhz: float
) -> None:
    chosen = choose_grid(1e6, stop_mhz * 1e6, length_m, spacing="linear", most_points=100_001)
    if chosen.limited:
        return
    step = (chosen.stop_hz - chosen.start_hz) / (chosen.points - 1)
    mantissa = step / 10.0 ** math.floor(math.log10(step * (1 + 1e-9)))
    assert min(abs(mantissa - wanted) for wanted in (1.0, 2.0, 2.5, 5.0)) < 1e-6
    assert chosen.start_hz == pytest.approx(step)
    assert step <= min(ripple_step_hz(length_m), 1e6) * (1 + 1e-6)
    # No finer than the next lower round step makes necessary.
    assert step > 0.39 * min(ripple_step_hz(length_m), 1e6)


@example(start=50000001.0, decades=3.0, length_m=925.0, most_points=2, spacing=None, lowest=1.0, highest=1.0)
@settings(deadline=None)
@given(
    start=st.floats(1e4, 1e8),
    decades=st.floats(0.02, 3.0),
    length_m=st.floats(0.1, 1000.0),
    most_points=st.integers(2, 100_001),
    spacing=st.sampled_from([None, "linear", "segments", "logarithmic"]),
    lowest=st.floats(0.2, 1.5),
    highest=st.floats(0.5, 2.0),
)
def test_no_grid_leaves_what_the_analyzer_reaches_and_none_is_narrowed_in_silence(
    start: float,
    decades: float,
    length_m: float,
    most_points: int,
    spacing: Any,
    lowest: float,
    highest: float,
) -> None:
    stop = start * 10.0**decades
    low, high = lowest * start, highest * stop
    if max(start, low) >= min(stop, high):
        with pytest.raises(UsageError):
            choose_grid(start, stop, length_m, lowest_hz=low, highest_hz=high)
        return
    chosen = choose_grid(
        start, stop, length_m, spacing=spacing, most_points=most_points, lowest_hz=low, highest_hz=high
    )
    grid = frequencies(chosen)
    assert grid.size == chosen.points <= most_points
    assert (np.diff(grid) > 0.0).all()
    assert low * (1 - 1e-9) <= grid[0] <= max(start, low) * (1 + 1e-9)
    assert min(stop, high) * (1 - 1e-9) <= grid[-1] <= high * (1 + 1e-9)
    narrowed = low > start * (1 + 1e-9) or high < stop * (1 - 1e-9)
    assert bool(chosen.limited) or not narrowed
    assert set(chosen.limited) <= set(chosen.warnings)
    # A grid is coarser than the rule only for a reason that is given.
    coarse = any(words.startswith("return loss") for words in chosen.warnings)
    assert not coarse or chosen.limited
