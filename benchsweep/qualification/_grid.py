"""Does the grid of a station fit what is going to be graded? Said before the sweep, not after it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep import limits
from benchsweep.acquisition import grid_warnings
from benchsweep.qualification._bench import Bench
from benchsweep.qualification._requirements import frequency_range, load_requirements

__all__ = ["check_grid", "grid_findings"]

_EDGE = 1e-9


def check_grid(
    bench: Bench,
    requirements: Sequence[limits.Requirement] | None = None,
    length_m: float | None = None,
) -> tuple[str, ...]:
    """Return in words what the grid of an open bench does not cover or is too coarse for; empty when it fits.

    Parameters
    ----------
    bench
        Configured; its grid is the one that the analyzer read back.
    requirements
        What is going to be graded; None: what the station's grid was chosen for, with its longest specimen.
    length_m
        Length of the specimen; None: only the range is checked.
    """
    if requirements is None:
        requirements = load_requirements(bench.station.sweep.requirements)
        length_m = bench.station.sweep.longest_m
    return grid_findings(
        bench.analyzer.frequency_hz,
        requirements,
        length_m,
        velocity_factor=bench.station.sweep.velocity_factor,
    )


def grid_findings(
    frequency_hz: NDArray[np.float64],
    requirements: Sequence[limits.Requirement],
    length_m: float | None,
    *,
    velocity_factor: float | None = None,
    time_domain: bool = False,
) -> tuple[str, ...]:
    """Do the same for any grid, ``(n_freq,)`` in Hz; `time_domain` also looks at what that needs."""
    found = []
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    for requirement in requirements:
        start, stop = frequency_range([requirement])
        if low > start * (1.0 + _EDGE) or high < stop * (1.0 - _EDGE):
            found.append(
                f"{requirement.name} goes from {start / 1e6:.6g} to {stop / 1e6:.6g} MHz, the sweep from "
                f"{low / 1e6:.6g} to {high / 1e6:.6g} MHz: what needs more than that can fail or stay "
                "undecided, but not pass."
            )
    if length_m is not None and frequency_hz.size > 1:
        extra = {} if velocity_factor is None else {"velocity_factor": velocity_factor}
        found += grid_warnings(frequency_hz, length_m, time_domain=time_domain, **extra)
    return tuple(found)
