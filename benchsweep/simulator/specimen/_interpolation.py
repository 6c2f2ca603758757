"""Values of a measured matrix between the points of its file."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from benchsweep.errors import DataFileError
from benchsweep.simulator.specimen._touchstone import TouchstoneData

__all__ = ["MeasuredMatrix"]

_SAME_HZ = 1.0  # a point this near to one of the file is that point
_UNIFORM = 1e-6  # of the step
_EARLY = 0.2  # of the alias-free span: how much before zero an entry may seem to arrive

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


class MeasuredMatrix:
    """The matrix of a file at any frequency that the file covers.

    Points of the file are given back exactly. Others are interpolated by cubic splines of real and
    imaginary part after each entry's delay was taken out, so that its phase does not turn between points.
    What turns faster than half a turn per step of the file is lost, as in any sampled data.
    """

    def __init__(self, data: TouchstoneData, name: str) -> None:
        self._data = data
        self._name = name
        self._splines: CubicSpline | None = None
        self._delay_s: Real | None = None

    @property
    def grid(self) -> tuple[float, float, int]:
        """Start, stop and number of points of the file, or of a linear grid of the same span and count."""
        frequency = self._data.frequency_hz
        return float(frequency[0]), float(frequency[-1]), len(frequency)

    def scatter(self, frequency_hz: Real) -> Complex:
        """Return ``(n_freq, n, n)``.

        Raises
        ------
        DataFileError
            A frequency lies outside the file.
        """
        own = self._data.frequency_hz
        outside = (frequency_hz < own[0] - _SAME_HZ) | (frequency_hz > own[-1] + _SAME_HZ)
        if np.any(outside):
            raise DataFileError(
                f"specimen {self._name}: {frequency_hz[outside][0] / 1e6:.9g} MHz is outside the file, "
                f"which holds {own[0] / 1e6:.9g} to {own[-1] / 1e6:.9g} MHz",
                hint="Sweep within the file, or give a file that covers the sweep.",
            )
        above = np.clip(np.searchsorted(own, frequency_hz), 1, max(len(own) - 1, 1))
        above = np.minimum(above, len(own) - 1)
        below = np.maximum(above - 1, 0)
        nearest = np.where(own[above] - frequency_hz < frequency_hz - own[below], above, below)
        result: Complex = self._data.s[nearest].copy()
        between = np.abs(own[nearest] - frequency_hz) > _SAME_HZ
        if np.any(between):
            result[between] = self._interpolate(frequency_hz[between])
        return result

    def _interpolate(self, frequency_hz: Real) -> Complex:
        if self._splines is None or self._delay_s is None:
            self._delay_s = entry_delays(self._data)
            slow = self._data.s * _turn(self._data.frequency_hz, self._delay_s, +1.0)
            self._splines = CubicSpline(self._data.frequency_hz, slow, axis=0)
        fast = self._splines(frequency_hz) * _turn(frequency_hz, self._delay_s, -1.0)
        return np.asarray(fast, dtype=np.complex128)


def _turn(frequency_hz: Real, delay_s: Real, sign: float) -> Complex:
    turn: Complex = np.exp(sign * 2j * math.pi * frequency_hz[:, None, None] * delay_s)
    return turn


def entry_delays(data: TouchstoneData) -> Real:
    """Return the mean delay of every entry, ``(n, n)`` seconds.

    On a uniform grid the mean turn from point to point, weighted by the square of the magnitude, is
    unambiguous up to whole turns; causality says which, since nothing arrives (much) before zero. On other
    grids the unwrapped phase is fitted.
    """
    frequency, s = data.frequency_hz, data.s
    if len(frequency) < 2:
        return np.zeros(s.shape[1:])
    step = float(frequency[-1] - frequency[0]) / (len(frequency) - 1)
    if is_uniform(frequency):
        turns = -np.angle(np.sum(s[1:] * s[:-1].conj(), axis=0)) / (2.0 * math.pi)
        turns = np.where(turns < -_EARLY, turns + 1.0, turns)
        return np.asarray(turns / step, dtype=np.float64)
    weight = np.abs(s) ** 2 + 1e-300
    phase = np.unwrap(np.angle(s), axis=0)
    mean_f = np.sum(weight * frequency[:, None, None], axis=0) / weight.sum(axis=0)
    mean_p = np.sum(weight * phase, axis=0) / weight.sum(axis=0)
    away = frequency[:, None, None] - mean_f
    slope = np.sum(weight * away * (phase - mean_p), axis=0) / np.sum(weight * away**2, axis=0)
    return np.asarray(-slope / (2.0 * math.pi), dtype=np.float64)


def is_uniform(frequency_hz: Real) -> bool:
    """Return whether the points are equally spaced to a millionth of the step."""
    if len(frequency_hz) < 3:
        return True
    ideal = np.linspace(frequency_hz[0], frequency_hz[-1], len(frequency_hz))
    step = ideal[1] - ideal[0]
    return bool(np.max(np.abs(frequency_hz - ideal)) <= _UNIFORM * step)
