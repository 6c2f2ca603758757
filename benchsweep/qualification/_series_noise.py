"""How much of a series is noise: told by what changes from one sweep to the next."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["CLEAR_OF_NOISE", "change_between", "noise_of", "pairs_to_compare"]

CLEAR_OF_NOISE = 10.0
"""A value says something about its level and phase when it is so many times the noise: 20 dB."""

_MOST_PAIRS = 24
_WEAK = 0.01
_NEIGHBOURS = 10
_MEDIAN_OF_RAYLEIGH = float(np.sqrt(2.0 * np.log(2.0)))

Complex = NDArray[np.complex128]
Numbers = NDArray[np.float64]


def pairs_to_compare(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """Return up to 24 couples of successive sweeps, spread over the series."""
    places = np.unique(np.linspace(0, len(numbers) - 2, min(_MOST_PAIRS, len(numbers) - 1)).astype(int))
    return [(numbers[place], numbers[place + 1]) for place in places] if len(numbers) > 1 else []


def noise_of(
    couples: Sequence[tuple[int, int]],
    read: Callable[[int], Complex],
    frequency_hz: Numbers,
    through: NDArray[np.bool_],
) -> Numbers | None:
    """Estimate the noise of complex values from the differences of successive sweeps.

    With noise of variance s^2 in each of real and imaginary part, the difference of two sweeps has 2 s^2, so
    its magnitude is Rayleigh distributed with median ``sqrt(2) s sqrt(2 ln 2)``. Hence the rms magnitude of
    the noise of one sweep is

    ``sqrt(2) s = median |x[k + 1] - x[k]| / sqrt(2 ln 2)``

    where the median is taken over the couples of sweeps, then over the frequency and ten on either side:
    single jumps do not count. What changes slowly hardly counts either; of a path through the specimen the
    mean level and the delay of the later sweep are first made those of the earlier one, for they may change
    by much within an interval.

    Parameters
    ----------
    couples
        Numbers of successive sweeps.
    read
        Gives the values of one sweep, ``(n, n_freq)``.
    frequency_hz
        ``(n_freq,)``.
    through
        ``(n,)``: which of the n are paths through the specimen.

    Returns
    -------
    ``(n, n_freq)``, or None without couples: one sweep alone does not show its noise.
    """
    if not couples:
        return None
    differences = []
    for earlier, later in couples:
        before, after = read(earlier), read(later)
        for place in np.flatnonzero(through):
            # A phase is not followed through a notch: what it is there tells nothing.
            size = np.abs(before[place] * after[place])
            strong = size >= _WEAK * np.median(size)
            level_db, delay_s = change_between(
                before[place, strong], after[place, strong], frequency_hz[strong]
            )
            back = 10.0 ** (-level_db / 20.0) * np.exp(2j * np.pi * frequency_hz * delay_s)
            after[place] = after[place] * back
        differences.append(np.abs(after - before))
    each = np.median(np.stack(differences), axis=0)
    return _running_median(each) / _MEDIAN_OF_RAYLEIGH


def change_between(before: Complex, after: Complex, frequency_hz: Numbers) -> tuple[float, float]:
    """Return the mean change of magnitude in dB and the change of delay in s that fits the phases best.

    Parameters
    ----------
    before, after, frequency_hz
        ``(n_freq,)``; the values are not zero.
    """
    turned = np.unwrap(np.angle(after * np.conj(before)))
    level_db = 20.0 * float(np.mean(np.log10(np.abs(after) / np.abs(before))))
    # phase = -2 pi f delay: the line through the origin that fits best.
    return level_db, -float(turned @ frequency_hz) / (2.0 * np.pi * float(frequency_hz @ frequency_hz))


def _running_median(values: Numbers) -> Numbers:
    """Return the median over each frequency and its neighbours; fewer of them at the ends."""
    padded = np.pad(values, ((0, 0), (_NEIGHBOURS, _NEIGHBOURS)), constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _NEIGHBOURS + 1, axis=1)
    return np.asarray(np.nanmedian(windows, axis=2))
