"""Responses in time freed from the loss and dispersion of the way to each place and back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling.distance._gate import TimeGrid
from benchsweep.cabling.distance._loss import PairLoss
from benchsweep.cabling.distance._transform import WINDOWS, resolution_s

__all__ = ["FreedResponse", "against_dispersion", "freed_response"]

Row = NDArray[np.float64]
Wave = NDArray[np.complex128]

# The loss of the way is undone up to this gain; above, the frequencies are left out, which widens the
# resolution towards the far end. At 20 dB noise and residual errors grow tenfold at most.
_MOST_GAIN_NP = math.log(10.0)
# The loss is undone exactly at some places; between them the two nearest are mixed. With g neper of gain more
# from one place to the next the mixture is off by at most g²/8: 0.3 % of a reflection.
_GAIN_PER_PLACE_NP = 0.15
_REACH = 1.2
_FEWEST_FREQUENCIES = 16
_OVERSAMPLING = 4
_QUIET = 4


@dataclass(frozen=True, slots=True, eq=False)
class FreedResponse:
    """Responses in time as `TimeResponse`, freed from loss.

    Parameters
    ----------
    time_s
        ``(n_time,)``, rising, evenly spaced, with zero among them.
    impulse, envelope, step
        ``(n_path, n_time)``.
    resolution_s, far_s
        Width of the impulse at half its height, at the near end and at the far end.
    """

    time_s: Row
    impulse: Row
    envelope: Row
    step: Row
    resolution_s: float
    far_s: float


def freed_response(
    grid: TimeGrid, spectra: Wave, losses: Sequence[PairLoss], window: str, *, envelope: bool = False
) -> FreedResponse:
    """Return the responses of spectra freed from loss.

    Parameters
    ----------
    grid
        The harmonic grid.
    spectra
        ``(n_path, count)`` at the multiples of its step.
    losses
        For each path the loss and delay of the whole way, one way.
    window
        A name of `WINDOWS`.
    envelope
        Compute the envelope too; otherwise it is the magnitude of the impulse response.
    """
    f = grid.step_hz * np.arange(1.0, grid.count + 1.0)
    from scipy.fft import irfft, next_fast_len

    n = next_fast_len(2 * _OVERSAMPLING * (grid.count + 1), real=True)
    dt_s = 1.0 / (n * grid.step_hz)
    most = np.max(np.stack([p.attenuation_np(f) for p in losses]), axis=0)
    places = 1 + math.ceil(min(2.0 * _REACH * float(most[-1]), _MOST_GAIN_NP) / _GAIN_PER_PLACE_NP)
    counts = [_usable(most, place * _REACH / places) for place in range(places + 1)]
    widths = [resolution_s(count * grid.step_hz, window) for count in counts]
    # Only the times of the way there and back are kept, and as much before them as the impulse is wide.
    lead = min(math.ceil(2.0 * widths[0] / dt_s), n // _QUIET)
    latest = math.ceil(2.0 * _REACH * max(p.delay_s for p in losses) / dt_s)
    kept = np.arange(-lead, min(latest, n - n // _QUIET))
    # Where each time lies among the places, for each path: the first at the port, the last beyond the end.
    position = np.stack([kept * dt_s / (2.0 * p.delay_s) for p in losses]) * (places / _REACH)
    position = np.clip(position, 0.0, places)
    density, impulse, quadrature = (np.zeros((len(losses), kept.size)) for _ in range(3))
    for place, (count, width_s) in enumerate(zip(counts, widths, strict=True)):
        shape = WINDOWS[window](np.arange(count + 1) / (count + 1))
        spectrum = np.zeros((len(losses), count + 1), dtype=np.complex128)
        undone = np.stack([p.undone(f[:count], place * _REACH / places) for p in losses])
        spectrum[:, 1:] = spectra[:, :count] * undone * shape[1:]
        share = np.clip(1.0 - np.abs(position - place), 0.0, None)
        scale = n / float(shape[0] + 2.0 * shape[1:].sum())
        response = irfft(spectrum, n, axis=-1)
        part = share * (response[:, kept] - _before_zero(response, width_s * grid.step_hz))
        density += part
        impulse += scale * part
        if envelope:
            quadrature += scale * share * irfft(-1j * spectrum, n, axis=-1)[:, kept]
    return FreedResponse(
        time_s=kept * dt_s,
        impulse=impulse,
        envelope=np.hypot(impulse, quadrature),
        step=np.cumsum(density, axis=-1) - 0.5 * density,  # by trapezoids
        resolution_s=widths[0],
        far_s=widths[round(places / _REACH)],
    )


def against_dispersion(reflected: Wave, losses: Sequence[PairLoss], step_hz: float) -> Wave:
    """Return reflections against the reference impedance times the dispersion d of the line: (z - d)/(z + d).

    With z = (1 + S)/(1 - S), written so that an open (S = 1) makes no infinity. A uniform line then reflects
    the same at all frequencies, as one without resistance would.
    """
    f = step_hz * np.arange(1.0, reflected.shape[-1] + 1.0)
    dispersion = np.stack([p.dispersion(f) for p in losses])
    plus, minus = 1.0 + reflected, dispersion * (1.0 - reflected)
    return np.asarray((plus - minus) / (plus + minus), dtype=np.complex128)


def _before_zero(response: Row, width: float) -> Row:
    """Return the mean before time zero, see `time_response`; `width` of the impulse over the alias range."""
    n = response.shape[-1]
    last = n - min(round(2.0 * width * n), n // (2 * _QUIET))
    return np.asarray(response[:, n - n // _QUIET : last].mean(axis=-1, keepdims=True))


def _usable(attenuation_np: Row, part: float) -> int:
    """Return how many frequencies need no more than the allowed gain for the way to `part` and back."""
    needed = 2.0 * part * attenuation_np
    within = int(np.searchsorted(needed, _MOST_GAIN_NP, side="right"))
    return min(max(within, _FEWEST_FREQUENCIES), attenuation_np.size)
