from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import CalibrationError

__all__ = ["ResidualTerms", "fit_residuals", "ripple_hz"]

_FEWEST = 4


@dataclass(frozen=True, slots=True, eq=False)
class ResidualTerms:
    """The residual error terms of one port after correction, each ``(n_freq,)`` complex128.

    ``measured = directivity + (1 + tracking) G / (1 - source_match G)`` for a true reflection G.
    """

    directivity: NDArray[np.complex128]
    source_match: NDArray[np.complex128]
    tracking: NDArray[np.complex128]


def ripple_hz(delay_s: float) -> float:
    """Return the period in frequency of the ripple that a line of that delay (one way) makes: 1 / (2 tau)."""
    return 1.0 / (2.0 * delay_s)


def fit_residuals(
    frequency_hz: NDArray[np.float64],
    expected: Sequence[NDArray[np.complex128]],
    measured: Sequence[NDArray[np.complex128]],
    *,
    window_hz: float,
) -> ResidualTerms:
    """Fit the residual error terms of a port to corrected reflections of lines with known ends.

    ``y (1 - M G) = D (1 - M G) + R G`` is linear in D, c = R - D M and M: ``y = D + c G + M y G``. The terms
    are taken as constant within a window of about one ripple period, which slides along the grid (EURAMET
    cg-12 has the scalar form of this, the ripple technique; that one over- and underestimates).

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``, rising.
    expected, measured
        For each end of the line, ``(n_freq,)``: computed reflection and corrected one. One end that reflects
        and one that does not, or two that reflect differently.
    window_hz
        Width of the window, see `ripple_hz`.

    Raises
    ------
    CalibrationError
        The grid is too coarse or too short for the window, or the lines do not tell the terms apart.

    Notes
    -----
    The impedance of the line limits what can be seen: one that is off by dZ looks like a directivity of
    |dZ| / (2 Z).
    """
    if frequency_hz[-1] - frequency_hz[0] < window_hz * 0.999:
        raise CalibrationError(
            f"residual terms need a sweep over {window_hz / 1e6:.4g} MHz, one ripple of the line; this one "
            f"covers {(frequency_hz[-1] - frequency_hz[0]) / 1e6:.4g} MHz",
            hint="Sweep further, or use a longer line.",
        )
    y, g = (np.stack([np.asarray(one) for one in values]) for values in (measured, expected))
    terms = np.stack([np.ones_like(y), g, y * g], axis=-1)  # (n_line, n_freq, 3)
    solved = np.empty((frequency_hz.size, 3), dtype=np.complex128)
    for point, (first, last) in enumerate(_windows(frequency_hz, window_hz)):
        columns = terms[:, first:last].reshape(-1, 3)
        if last - first < _FEWEST:
            raise CalibrationError(
                f"residual terms: {last - first} points in a window of {window_hz / 1e6:.4g} MHz, at least "
                f"{_FEWEST} are needed",
                hint="Sweep a finer grid, or use a shorter line.",
            )
        solved[point], _, rank, _ = np.linalg.lstsq(columns, y[:, first:last].reshape(-1), rcond=1e-9)
        if rank < 3:
            raise CalibrationError(
                "residual terms: the lines reflect too much alike to tell the terms apart",
                hint="Use one line with a load and one with a short at its end.",
            )
    directivity, slope, match = solved.T
    return ResidualTerms(directivity, match, slope + directivity * match - 1.0)


def _windows(frequency_hz: NDArray[np.float64], width_hz: float) -> list[tuple[int, int]]:
    """Return first and one past the last point of the window of every point, as wide at the ends."""
    low = np.clip(
        frequency_hz - width_hz / 2.0, frequency_hz[0], max(frequency_hz[-1] - width_hz, frequency_hz[0])
    )
    first = np.searchsorted(frequency_hz, low - 1e-6 * width_hz)
    last = np.searchsorted(frequency_hz, low + width_hz * (1.0 + 1e-6))
    return [(int(a), int(b)) for a, b in zip(first, last, strict=True)]
