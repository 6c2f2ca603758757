"""Does a chosen grid see the worst return loss of a cable? Asked of simulated cables, on a very fine grid."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.acquisition import choose_grid, grid_warnings, settings_grid
from benchsweep.acquisition._ripple import ALLOWED_MISS_DB, ripple_step_hz
from benchsweep.records import Spacing
from benchsweep.simulator.specimen import SimulatedSpecimen, load_specimen

FINE_HZ = 0.02e6
CONTACTS = ((0, 1), (2, 5), (3, 4), (6, 7))


def worst_db(specimen: SimulatedSpecimen, grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return for each pair at end A the least margin of return loss to 32 - 10 log10(f / MHz)."""
    s = specimen.scatter(grid)
    margins = []
    for plus, minus in CONTACTS:
        gamma = 0.5 * (s[:, plus, plus] - s[:, plus, minus] - s[:, minus, plus] + s[:, minus, minus])
        margins.append((-20.0 * np.log10(np.abs(gamma)) - 32.0 + 10.0 * np.log10(grid / 1e6)).min())
    return np.array(margins)


@pytest.mark.parametrize("name", ["cable-100m", "channel-100m"])
@pytest.mark.parametrize(
    ("start_hz", "stop_hz", "spacing"), [(1e6, 12e6, "linear"), (100e6, 112e6, "segments")]
)
def test_no_peak_is_missed_by_more_than_the_rule_says(
    name: str, start_hz: float, stop_hz: float, spacing: Spacing
) -> None:
    specimen = load_specimen(name, seed=1)
    truth = worst_db(specimen, np.arange(start_hz, stop_hz + 1.0, FINE_HZ))
    chosen = choose_grid(start_hz, stop_hz, 100.0, spacing=spacing)
    grid = settings_grid(chosen.settings(if_bandwidth_hz=1e3, averages=1, power_dbm=0.0))
    assert grid is not None
    grid = grid[grid >= start_hz]
    # Where the cable loses much the step is larger than ten points per period of its whole length.
    assert (np.diff(grid).max() > 2.0 * ripple_step_hz(100.0)) == (spacing == "segments")
    assert (worst_db(specimen, grid) - truth < ALLOWED_MISS_DB + 0.01).all()


def test_the_grid_that_is_warned_of_does_miss_peaks() -> None:
    specimen = load_specimen("cable-100m", seed=1)
    truth = worst_db(specimen, np.arange(1e6, 12e6 + 1.0, FINE_HZ))
    coarse = np.arange(1e6, 12e6 + 1.0, 1e6)
    assert any(words.startswith("return loss") for words in grid_warnings(coarse, 100.0))
    assert (worst_db(specimen, coarse) - truth).max() > 3.0
