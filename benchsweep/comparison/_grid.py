"""Values of a curve at frequencies that are not its own, and where its grid is too coarse for that."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["COARSE_DB", "at_frequencies", "inside", "interpolation_error", "limit_at"]

COARSE_DB = 0.5
"""An interpolated value counts while the error of interpolating it is at most this (dB)."""

# How far the ends of two grids may miss each other, relative: frequencies are written with few digits.
_EDGE = 1e-6


def inside(frequency_hz: NDArray[np.float64], grid_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which frequencies lie in the band of a grid."""
    lowest, highest = float(grid_hz[0]) * (1.0 - _EDGE), float(grid_hz[-1]) * (1.0 + _EDGE)
    return np.logical_and(frequency_hz >= lowest, frequency_hz <= highest)


def at_frequencies(
    frequency_hz: NDArray[np.float64], grid_hz: NDArray[np.float64], value: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return a curve on other frequencies: straight between its points in dB over the logarithm of f.

    What is next to an infinite value (no signal) is infinite, and beyond the ends of the grid the value
    there holds (see `inside`).
    """
    finite = np.where(np.isfinite(value), value, 0.0)
    found = np.interp(np.log(frequency_hz), np.log(grid_hz), finite)
    silent = np.interp(np.log(frequency_hz), np.log(grid_hz), np.where(np.isfinite(value), 0.0, 1.0))
    return np.where(silent > 0.0, np.inf, found)


def interpolation_error(
    frequency_hz: NDArray[np.float64], grid_hz: NDArray[np.float64], value: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how far a straight line between two points of a curve may be off, in its unit.

    The error of linear interpolation is x (h - x) f''/2 (any text on numerical analysis); the second
    difference stands for h^2 f'', the larger one of the two points around. Nothing on a point of the grid.
    """
    if grid_hz.size < 3:
        return np.zeros(frequency_hz.size)
    x, at = np.log(grid_hz), np.log(frequency_hz)
    steady = np.where(np.isfinite(value), value, 0.0)
    slope = np.diff(steady) / np.diff(x)
    bend = 2.0 * np.abs(np.diff(slope)) / (x[2:] - x[:-2])
    bend = np.concatenate([bend[:1], bend, bend[-1:]])
    left = np.clip(np.searchsorted(x, at) - 1, 0, x.size - 2)
    before, after = at - x[left], x[left + 1] - at
    near = np.minimum(np.abs(before), np.abs(after)) < _EDGE
    error = 0.5 * np.clip(before, 0.0, None) * np.clip(after, 0.0, None)
    return np.where(near, 0.0, error * np.maximum(bend[left], bend[left + 1]))


def limit_at(
    frequency_hz: NDArray[np.float64], grid_hz: NDArray[np.float64], limit: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return a limit on other frequencies; NaN where it has none.

    Limits bend and step, so on each side of a point without a limit only the points themselves hold.
    """
    found = np.full(frequency_hz.size, np.nan)
    known = inside(frequency_hz, grid_hz)
    x, at = np.log(grid_hz), np.log(frequency_hz[known])
    there = np.isfinite(limit)
    values = np.interp(at, x, np.where(there, limit, 0.0))
    gap = np.interp(at, x, np.where(there, 0.0, 1.0))
    found[known] = np.where(gap > _EDGE, np.nan, values)
    return found
