"""From a spectrum of positive frequencies to the response in time, for many ports at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling.distance._gate import TimeGrid, time_grid
from benchsweep.errors import UsageError

__all__ = ["WINDOWS", "TimeResponse", "resolution_s", "time_response"]

Row = NDArray[np.float64]

WINDOWS: Mapping[str, Callable[[Row], Row]] = MappingProxyType(
    {
        "hann": lambda u: 0.5 + 0.5 * np.cos(np.pi * u),
        "blackman": lambda u: 0.42 + 0.5 * np.cos(np.pi * u) + 0.08 * np.cos(2.0 * np.pi * u),
        "rectangular": np.ones_like,
    }
)
"""Windows by name: weight over u = f/f_max from 0 to 1 (F. J. Harris, Proc. IEEE 66, 1978, from memory)."""

# Points per 1/(2 f_max), so that a maximum is met within a twentieth of the resolution.
_OVERSAMPLING = 4
# The last part of the alias range, which is time before zero: nothing may come there.
_QUIET = 0.25
_QUIET_NEAR = 0.10


@dataclass(frozen=True, slots=True, eq=False)
class TimeResponse:
    """Response in time of spectra ``(…, n_freq)``.

    Parameters
    ----------
    time_s
        ``(n_time,)``, rising, evenly spaced, with zero among them; a quarter of the alias range lies below.
    impulse
        ``(…, n_time)``: a single reflection that is the same at all frequencies shows with its own value.
    envelope
        ``(…, n_time)``: magnitude of the analytic impulse response, for what has no sign worth telling.
    step
        ``(…, n_time)``: response to a step of one, the running integral of the impulse response.
    zero_frequency
        ``(…,)``: the value at zero frequency that was found.
    zero_frequency_error
        ``(…,)``: how much it changes with the part of the quiet time that it is taken from; it is small
        against the reflections when the response dies out as it should. It does not show that a sweep begins
        too high: `why_no_time_domain` does.
    resolution_s
        Width of the impulse at half its height.
    """

    time_s: Row
    impulse: Row
    envelope: Row
    step: Row
    zero_frequency: Row
    zero_frequency_error: Row
    resolution_s: float


def time_response(
    frequency_hz: Row, s: NDArray[np.complex128], *, window: str = "hann", grid: TimeGrid | None = None
) -> TimeResponse:
    """Transform spectra to time.

    The value at zero frequency cannot be measured. It adds a constant to the impulse response, and before
    time zero nothing can come back: it is taken such that the mean over the last quarter of the alias range,
    less the width of the impulse, is zero. (Against lines of known resistance that is several times closer
    than carrying the real part of the lowest frequencies down to zero; it needs no assumption on how the far
    end is terminated.)

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``; the caller asks `why_no_time_domain` first.
    s
        ``(…, n_freq)``.
    window
        A name of `WINDOWS`.
    grid
        The grid as found already.

    Raises
    ------
    UsageError
        No such window; a sweep that makes no harmonic grid.
    """
    found = grid or time_grid(frequency_hz)
    if isinstance(found, str):
        raise UsageError(f"no time domain: {found}", hint="Sweep linearly, with the step as first frequency.")
    weight, total, _ = _window(window, found.count)
    values = found.on_multiples(s)
    from scipy.fft import irfft, next_fast_len

    n = next_fast_len(2 * _OVERSAMPLING * (found.count + 1), real=True)
    spectrum = np.zeros((*values.shape[:-1], found.count + 1), dtype=np.complex128)
    spectrum[..., 1:] = values * weight
    open_end = irfft(spectrum, n, axis=-1) * n
    width = resolution_s(found.step_hz * found.count, window)
    per_s = n * found.step_hz
    last = n - max(1, round(2.0 * width * per_s))
    far = open_end[..., n - round(_QUIET * n) : last].mean(axis=-1)
    near = open_end[..., n - max(round(_QUIET_NEAR * n), 2 * (n - last)) : last].mean(axis=-1)
    lead = round(_QUIET * n)
    impulse = np.roll((open_end - far[..., None]) / total, lead, axis=-1)
    # The quadrature part makes the analytic response; it has no part at zero frequency.
    quadrature = np.roll(irfft(-1j * spectrum, n, axis=-1) * (n / total), lead, axis=-1)
    return TimeResponse(
        time_s=(np.arange(n) - lead) / per_s,
        impulse=impulse,
        envelope=np.hypot(impulse, quadrature),
        # By trapezoids: a plain sum would be half a point late.
        step=(np.cumsum(impulse, axis=-1) - 0.5 * impulse) * (total / n),
        zero_frequency=-far,
        zero_frequency_error=np.abs(far - near),
        resolution_s=width,
    )


def resolution_s(stop_hz: float, window: str) -> float:
    """Return the width of the impulse at half its height in seconds: the window's over the highest frequency.

    Raises
    ------
    UsageError
        No such window.
    """
    return _window(window, 0)[2] / stop_hz


@lru_cache(maxsize=32)
def _window(name: str, count: int) -> tuple[Row, float, float]:
    """Return the weights at 1 … `count` of `count` + 1, their sum over both signs, and the half-height width.

    The width is in units of 1/f_max.
    """
    if name not in WINDOWS:
        raise UsageError(f"no window {name!r}", hint=f"One of {', '.join(WINDOWS)}.")
    u = np.linspace(0.0, 1.0, 513)
    shape = WINDOWS[name](u)
    time = np.linspace(0.0, 2.0, 2001)
    # Trapezoid over positive frequencies of the even window.
    ends = np.where((u == 0.0) | (u == 1.0), 0.5, 1.0)
    kernel = np.cos(2.0 * np.pi * time[:, None] * u) @ (shape * ends)
    below = int(np.argmax(kernel < 0.5 * kernel[0]))
    weight = WINDOWS[name](np.arange(1, count + 1) / (count + 1))
    weight.flags.writeable = False
    return weight, float(WINDOWS[name](np.zeros(1))[0] + 2.0 * weight.sum()), 2.0 * float(time[below])
