"""What a frequency grid is too coarse for, in words that a technician understands."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchsweep.acquisition._ripple import (
    ALLOWED_MISS_DB,
    SPEED_OF_LIGHT,
    VELOCITY_FACTOR,
    allowed_step_hz,
    delay_s,
    ripple_step_hz,
    worst_missed_peak_db,
)

__all__ = ["grid_warnings", "mhz"]

_SLACK = 1.0 + 1e-9
# A delay is known from the step only up to multiples of 1/step; with the length known it must lie between
# 3.3 and 7 ns/m and some nanoseconds, and only one multiple may. The same window as in the reduction.
_DELAY_WINDOW_S_PER_M, _DELAY_ROOM_S = 3.7e-9, 4e-9
# Tried on a 15 m line: carried to 0 Hz right from a start of 0.15 / (2 delay), wrong from 1.5 / (2 delay).
_LARGEST_START_TURNS = 0.3
_LEAST_LENGTHS_SHOWN = 2.0
_LOOKED_AT = 64
_ALTOGETHER_DB = 20.0


def grid_warnings(
    frequency_hz: NDArray[np.float64],
    length_m: float,
    *,
    velocity_factor: float = VELOCITY_FACTOR,
    time_domain: bool = True,
) -> tuple[str, ...]:
    """Return what the grid is too coarse for on a specimen of this length; empty when it is fit for all.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``, rising; at least two.
    length_m
        Length of the specimen.
    velocity_factor
        Nominal velocity over that of light.
    time_domain
        Also what stands against time domain (profile of the impedance, place of a fault).

    Returns
    -------
    One sentence for each: return loss (with the dB that may be missed), delay, time domain.
    """
    grid = np.asarray(frequency_hz, dtype=np.float64)
    steps = np.diff(grid)
    found = [
        *_return_loss(grid, steps, length_m, velocity_factor),
        *_delay(steps, length_m),
    ]
    if time_domain:
        found += _time_domain(grid, steps, length_m, velocity_factor)
    return tuple(found)


def mhz(frequency_hz: float) -> str:
    """Return a frequency in words.

    Examples
    --------
    >>> mhz(398.1e6), mhz(25e3)
    ('398.1 MHz', '0.025 MHz')
    """
    return f"{frequency_hz / 1e6:.6g} MHz"


def _at_most(step_hz: float) -> str:
    """Write a largest step, rounded down."""
    digits = 10.0 ** (math.floor(math.log10(step_hz)) - 1)
    return mhz(math.floor(step_hz / digits * _SLACK) * digits)


def _return_loss(
    grid: NDArray[np.float64], steps: NDArray[np.float64], length_m: float, velocity_factor: float
) -> list[str]:
    most = ripple_step_hz(length_m, velocity_factor)
    if steps.max() <= most * _SLACK:  # the usual case, told at once
        return []
    # The ripple is highest at the bottom of each stretch of equal steps: look there and all along.
    turns = np.flatnonzero(np.diff(steps) > 1e-6 * steps[:-1]) + 1
    spread = np.linspace(0, steps.size - 1, min(_LOOKED_AT, steps.size)).astype(np.intp)
    chosen = np.unique(np.concatenate(([0], turns[:_LOOKED_AT], spread)))
    missed = worst_missed_peak_db(grid[chosen], steps[chosen], length_m, velocity_factor)
    worst = int(np.argmax(missed))
    if missed[worst] <= ALLOWED_MISS_DB * (1.0 + 1e-6):
        return []
    lost = f"by up to {missed[worst]:.2g} dB" if missed[worst] < _ALTOGETHER_DB else "altogether"
    at, step = float(grid[chosen][worst]), float(steps[chosen][worst])
    most_there = allowed_step_hz(at, length_m, velocity_factor)
    return [
        f"return loss and NEXT: the step of {mhz(step)} near {mhz(at)} is too coarse for {length_m:g} m: a "
        f"peak may be missed {lost} (it should be {ALLOWED_MISS_DB:.2g} dB at most). Take "
        f"{_at_most(most_there)} or less there."
    ]


def _delay(steps: NDArray[np.float64], length_m: float) -> list[str]:
    window_s = _DELAY_WINDOW_S_PER_M * length_m + _DELAY_ROOM_S
    finest = float(steps.min())
    if finest * window_s <= 1.0:
        return []
    return [
        f"delay and skew: steps of {mhz(finest)} are too coarse for {length_m:g} m: the turns of the phase "
        f"cannot be counted. Take {_at_most(0.9 / window_s)} or less."
    ]


def _time_domain(
    grid: NDArray[np.float64], steps: NDArray[np.float64], length_m: float, velocity_factor: float
) -> list[str]:
    step = float(np.median(steps))
    if np.max(np.abs(steps - step)) > 1e-4 * step:
        ratio = grid[1:] / grid[:-1]
        kind = "a logarithmic grid" if np.ptp(ratio) <= 1e-6 * ratio[0] else "a grid in segments"
        return [f"time domain: refused on {kind}; it needs equal steps from a low start."]
    found = []
    step = float(grid[-1] - grid[0]) / (grid.size - 1)
    shown_m = 0.5 * velocity_factor * SPEED_OF_LIGHT / step
    if shown_m * _SLACK < _LEAST_LENGTHS_SHOWN * length_m:
        most = 0.5 * velocity_factor * SPEED_OF_LIGHT / (_LEAST_LENGTHS_SHOWN * length_m)
        found.append(
            f"time domain: with steps of {mhz(step)} the picture repeats after {shown_m:.3g} m; "
            f"{length_m:g} m need {_LEAST_LENGTHS_SHOWN * length_m:g} m. Take {_at_most(most)} or less."
        )
    start = float(grid[0])
    turns = 2.0 * delay_s(length_m, velocity_factor) * start
    if turns > _LARGEST_START_TURNS * _SLACK:
        most = _LARGEST_START_TURNS / (2.0 * delay_s(length_m, velocity_factor))
        found.append(
            f"time domain: a start at {mhz(start)} is too high for {length_m:g} m: what happens down to 0 Hz "
            f"cannot be told from there. Start at {_at_most(most)} or lower."
        )
    if abs(start / step - round(start / step)) > 1e-3 or round(start / step) < 1:
        found.append(
            f"time domain: the start at {mhz(start)} is no multiple of the step of {mhz(step)}, so that 0 Hz "
            "is not on the grid. Start at one step."
        )
    return found
