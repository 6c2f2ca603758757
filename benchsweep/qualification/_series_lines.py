"""Straight lines through points that come one after the other, without keeping them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import LineFit

__all__ = ["RunningLine"]


class RunningLine:
    """Least-squares lines y = a + b x through points given one x at a time, several y for each.

    The sums are taken about the running means (B. P. Welford, "Note on a method for calculating corrected
    sums of squares and products", Technometrics 4, 1962), so that no figures are lost over many points. The
    slope and its standard error ``sqrt(sum of squared residuals / (n - 2) / sum (x - mean x)^2)`` are those
    of JCGM 100:2008 (GUM), clause H.3.2.

    Parameters
    ----------
    shape
        Of the y of one x.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.count = 0
        self._x = 0.0
        self._y = np.zeros(shape)
        self._xx = 0.0
        self._xy = np.zeros(shape)
        self._yy = np.zeros(shape)
        # Of the steps from one point to the next.
        self._last: tuple[float, NDArray[np.float64]] | None = None
        self._dxx = 0.0
        self._dxy = np.zeros(shape)
        self._dyy = np.zeros(shape)

    def add(self, x: float, y: NDArray[np.float64]) -> None:
        """Take one more x with its y; where y is ever not a number there will be no line."""
        self.count += 1
        off_x, off_y = x - self._x, y - self._y
        self._x += off_x / self.count
        self._y = self._y + off_y / self.count
        self._xx += off_x * (x - self._x)
        self._xy = self._xy + off_x * (y - self._y)
        self._yy = self._yy + off_y * (y - self._y)
        if self._last is not None:
            step_x, step_y = x - self._last[0], y - self._last[1]
            self._dxx += step_x**2
            self._dxy = self._dxy + step_x * step_y
            self._dyy = self._dyy + step_y**2
        self._last = (x, y)

    def fit(self, place: Any) -> LineFit | None:
        """Return the line of the y at `place`; None with fewer than two different x, or where y was none."""
        if self.count < 2 or self._xx <= 0.0:
            return None
        slope = float(self._xy[place]) / self._xx
        if not np.isfinite(slope):
            return None
        if self.count == 2:
            return LineFit(slope, None, self.count)
        variance = max(float(self._yy[place]) - slope * float(self._xy[place]), 0.0) / (self.count - 2)
        steps = float(self._dyy[place]) - 2.0 * slope * float(self._dxy[place]) + slope**2 * self._dxx
        step_variance = max(steps, 0.0) / 2.0 / (self.count - 1)
        return LineFit(
            slope,
            float(np.sqrt(variance / self._xx)),
            self.count,
            float(np.sqrt(variance)),
            float(np.sqrt(step_variance)),
        )
