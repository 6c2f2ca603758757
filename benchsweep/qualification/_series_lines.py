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

    def add(self, x: float, y: NDArray[np.float64]) -> None:
        """Take one more x with its y, all finite."""
        self.count += 1
        off_x, off_y = x - self._x, y - self._y
        self._x += off_x / self.count
        self._y = self._y + off_y / self.count
        self._xx += off_x * (x - self._x)
        self._xy = self._xy + off_x * (y - self._y)
        self._yy = self._yy + off_y * (y - self._y)

    def fit(self, place: Any) -> LineFit | None:
        """Return the line of the y at `place`; None with fewer than two different x."""
        if self.count < 2 or self._xx <= 0.0:
            return None
        slope = float(self._xy[place]) / self._xx
        error = None
        if self.count > 2:
            residual = max(float(self._yy[place]) - slope * float(self._xy[place]), 0.0)
            error = float(np.sqrt(residual / (self.count - 2) / self._xx))
        return LineFit(slope, error, self.count)
