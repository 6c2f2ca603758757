"""Traces and matrices as arrays of numbers, in the layouts that answers have."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.analyzer import Channel, Measured, WaveRatio

__all__ = ["decibels", "interleaved", "padded", "reading", "trace"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
_LOWEST_DB = -400.0


def trace(channel: Channel, receiver: int, source: int, *, raw: bool = False) -> Complex:
    """Return one S-parameter ``(points,)``, where `raw` as the receivers read it; ports count from 1."""
    read = channel.read_raw if raw else channel.read
    return read(np.array([receiver - 1]), np.array([source - 1]))[:, 0, 0]


def reading(channel: Channel, measured: Measured) -> Complex:
    """Return what a measurement holds, ``(points,)``."""
    if isinstance(measured, WaveRatio):
        return channel.read_ratio(measured)
    return trace(channel, *measured)


def interleaved(values: Complex) -> Real:
    """Return real and imaginary part in turn, ``(..., 2)``."""
    return np.stack([values.real, values.imag], axis=-1)


def decibels(values: Complex) -> Real:
    """Return 20 lg of the magnitude, of zero a very low level."""
    with np.errstate(divide="ignore"):
        level = 20.0 * np.log10(np.abs(values))
    return np.asarray(np.maximum(level, _LOWEST_DB))


def padded(values: Real) -> Real:
    """Return each value and a zero behind it, ``(..., 2)``: as many numbers as complex data have."""
    return np.stack([values, np.zeros_like(values)], axis=-1)
