"""Which frequency grids may be turned into time, and what to sweep instead of the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling.distance._velocity import COMMON_VELOCITY, LIGHT_M_PER_S

__all__ = ["TimeGrid", "time_grid", "why_no_time_domain"]

_FEWEST = 16
# Part of a step by which a frequency may be off its place: less than 1 degree in the phase of the farthest
# reflection that the alias range allows.
_OFF_PLACE = 0.004
# The response must have died out within half of the alias range: an echo that comes later would show at a
# place where there is nothing, and the value at zero frequency is found from the quiet half.
_MOST_OF_ALIAS = 0.5
# What lies below the first frequency is not measured: the farthest reflection may not have turned by more
# than this part of a turn there (measured with lines of known impedance: 0.15 is right to 0.1 %, 1.5 is
# wrong by 15 to 28 % without a sign of it).
_MOST_TURN_AT_START = 0.3
_MOST_SPLINE_ERROR = 0.01
_SPLINE_DEGREE = 7
_SPLINE_KNOTS = 48
_ROUND = (1.0, 2.0, 2.5, 5.0)


@dataclass(frozen=True, slots=True, eq=False)
class TimeGrid:
    """How the frequencies of a sweep make a harmonic grid: 1, 2, 3 … times one step.

    Parameters
    ----------
    step_hz
        Step of the harmonic grid.
    count
        How many multiples of it there are.
    every
        Where the sweep begins at so many steps of its own: every so manyth point is taken. 1 else.
    frequency_hz
        ``(n_freq,)`` the frequencies of the sweep when they are evenly spaced but no multiples of the step
        and the spectrum has to be interpolated; None when no interpolation is needed.
    """

    step_hz: float
    count: int
    every: int = 1
    frequency_hz: NDArray[np.float64] | None = None

    def on_multiples(self, s: NDArray[np.complex128]) -> NDArray[np.complex128]:
        """Return ``(…, count)`` of ``(…, n_freq)``: the spectrum at the multiples of the step."""
        if self.frequency_hz is None:
            return s[..., :: self.every]
        return _interpolated(self.frequency_hz, s, self.step_hz, self.count)

    def interpolation_error(self, latest_s: float) -> float:
        """Return how wrong the interpolated spectrum of a unit reflection can be, which comes by `latest_s`.

        The interpolation is linear, so a spectrum of many reflections is wrong by no more than the sum of
        their magnitudes times this: the largest error found over unit reflections at times from 0 to
        `latest_s`. 0 without interpolation.
        """
        if self.frequency_hz is None:
            return 0.0
        count = min(self.count, _SPLINE_KNOTS // 2)
        f = self.frequency_hz[:_SPLINE_KNOTS]
        multiples = self.step_hz * np.arange(1, count + 1)
        times = np.linspace(0.0, latest_s, 17)[:, None]
        turned = np.exp(-2j * np.pi * f * times)
        wanted = np.exp(-2j * np.pi * multiples * times)
        return float(np.max(np.abs(_interpolated(f, turned, self.step_hz, count) - wanted)))


def _interpolated(
    frequency_hz: NDArray[np.float64], s: NDArray[np.complex128], step_hz: float, count: int
) -> NDArray[np.complex128]:
    """Interpolate by a spline over positive and negative frequencies, where a real response is conjugate.

    A quarter of the alias range is taken out of the phase first: responses lie within half of it, so what is
    left turns by at most a quarter turn from one frequency to the next.
    """
    middle_s = 0.5 * _MOST_OF_ALIAS / step_hz
    centred = s * np.exp(2j * np.pi * frequency_hz * middle_s)
    both = np.concatenate([centred[..., ::-1].conj(), centred], axis=-1)
    knots = np.concatenate([-frequency_hz[::-1], frequency_hz])
    multiples = step_hz * np.arange(1, count + 1)
    from scipy.interpolate import make_interp_spline

    spline = make_interp_spline(knots / step_hz, both, k=_SPLINE_DEGREE, axis=-1)
    values = np.asarray(spline(np.arange(1, count + 1)), dtype=np.complex128)
    return np.asarray(values * np.exp(-2j * np.pi * multiples * middle_s), dtype=np.complex128)


def time_grid(frequency_hz: NDArray[np.float64]) -> TimeGrid | str:
    """Return how the sweep makes a harmonic grid, or in words why it makes none."""
    if frequency_hz.size < _FEWEST:
        return f"fewer than {_FEWEST} frequencies"
    start = float(frequency_hz[0])
    step = float(frequency_hz[-1] - start) / (frequency_hz.size - 1)
    places = start + step * np.arange(frequency_hz.size)
    if float(np.max(np.abs(frequency_hz - places))) > _OFF_PLACE * step:
        return "the frequencies are not evenly spaced"
    every = round(start / step)
    if every >= 1 and abs(start - every * step) <= _OFF_PLACE * step:
        return TimeGrid(step * every, (frequency_hz.size - 1) // every + 1, every)
    if start > step:
        return f"the sweep begins at {_mhz(start)}, neither at its step of {_mhz(step)} nor a multiple of it"
    return TimeGrid(step, math.floor(frequency_hz[-1] / step), frequency_hz=frequency_hz)


def why_no_time_domain(
    frequency_hz: NDArray[np.float64],
    length_m: float | None,
    *,
    velocity_fraction: float = COMMON_VELOCITY,
) -> str:
    """Return in words why a sweep of a specimen cannot be turned into time; empty when it can.

    Allowed is a linear sweep whose first frequency is its step or a multiple of it (then every so manyth
    point is used), or lies below the step (then the points between are interpolated, if the error of that is
    below 1 %); with twice the length within the alias range v/(2 step); with less than 0.3 turns of the
    farthest reflection below the first frequency. Otherwise profiles come out wrong without a sign of it.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``, rising.
    length_m
        Length of the specimen; None: neither given nor measured, which is a reason.
    velocity_fraction
        Velocity over that of light.
    """
    grid = time_grid(np.asarray(frequency_hz, dtype=np.float64))
    if length_m is None:
        return "neither the length nor the delay is known: give the length"
    delay_s = 2.0 * length_m / (velocity_fraction * LIGHT_M_PER_S)
    stop = float(frequency_hz[-1])
    if isinstance(grid, str):
        return f"{grid}; {_instead(delay_s, length_m, stop)}"
    start = grid.step_hz if grid.frequency_hz is None else float(frequency_hz[0])
    if start * delay_s > _MOST_TURN_AT_START:
        return (
            f"a sweep from {_mhz(start)} begins too high for {length_m:.3g} m: a reflection at the far end "
            f"makes {start * delay_s:.2g} turns below it, {_MOST_TURN_AT_START} at most can be carried to "
            f"zero frequency; {_instead(delay_s, length_m, stop)}"
        )
    if grid.step_hz * delay_s > _MOST_OF_ALIAS:
        return (
            f"steps of {_mhz(grid.step_hz)} tell places apart over only "
            f"{length_m / (grid.step_hz * delay_s):.3g} m, twice the {length_m:.3g} m are needed; "
            f"{_instead(delay_s, length_m, stop)}"
        )
    if (error := grid.interpolation_error(delay_s)) > _MOST_SPLINE_ERROR:
        return (
            f"the sweep begins at {_mhz(start)}, not at its step of {_mhz(grid.step_hz)}, and what lies "
            f"between would be interpolated with an error of {100.0 * error:.2g} %; "
            f"{_instead(delay_s, length_m, stop)}"
        )
    return ""


def _instead(delay_s: float, length_m: float, stop_hz: float) -> str:
    limit = min(_MOST_TURN_AT_START / delay_s, 1e6, stop_hz / _FEWEST)
    power = 10.0 ** math.floor(math.log10(limit))
    step = max(part * power for part in _ROUND if part * power <= limit)
    return (
        f"for {length_m:.3g} m sweep linearly from {_mhz(step)} in steps of {_mhz(step)} "
        f"({math.ceil(stop_hz / step - 1e-9)} points)"
    )


def _mhz(hz: float) -> str:
    return f"{hz / 1e6:.4g} MHz"
