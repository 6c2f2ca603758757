from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration.verification._artefact import GROUND

__all__ = ["REFERENCE_OHM", "Branch", "line_reflection", "nodal_scattering"]

REFERENCE_OHM = 50.0
_NEPER_IN_DB = 8.685889638065037

Branch = tuple[str, str, NDArray[np.complex128]]
"""Two nodes and the admittance between them in siemens, ``(n_freq,)``."""


def nodal_scattering(
    frequency_hz: NDArray[np.float64], legs: Sequence[str], branches: Sequence[Branch]
) -> NDArray[np.complex128]:
    """Return the S-matrix at `legs`, 50 ohm, of a network of branches: ``S = 2 P^T (z0 Y + P P^T)^-1 P - 1``.

    From ``Y v = i`` at the nodes with ``v = a + b`` and ``z0 i = a - b`` at the legs (P puts legs on nodes).
    It never inverts Y alone, so that floating parts need no special care.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    legs
        The ports, in the order of the result.
    branches
        Between legs, ``ground`` and nodes of any other name.

    Returns
    -------
    ndarray
        ``(n_freq, n_leg, n_leg)`` complex128.
    """
    inner = dict.fromkeys(
        node for branch in branches for node in branch[:2] if node != GROUND and node not in legs
    )
    at = {node: index for index, node in enumerate((*legs, *inner))}
    n = len(at)
    y = np.zeros((frequency_hz.size, n, n), dtype=np.complex128)
    for one, two, admittance in branches:
        for node in (one, two):
            if node != GROUND:
                y[:, at[node], at[node]] += admittance
        if GROUND not in (one, two):
            y[:, at[one], at[two]] -= admittance
            y[:, at[two], at[one]] -= admittance
    y *= REFERENCE_OHM
    k = len(legs)
    y[:, np.arange(k), np.arange(k)] += 1.0
    drive = np.zeros((n, k))
    drive[:k] = 2.0 * np.eye(k)
    volts = np.linalg.solve(y, np.broadcast_to(drive, (frequency_hz.size, n, k)))
    return np.asarray(volts[:, :k] - np.eye(k), dtype=np.complex128)


def line_reflection(
    frequency_hz: NDArray[np.float64],
    *,
    z0_ohm: float,
    delay_s: float,
    loss_db_at_100_mhz: float,
    end_ohm: float,
) -> NDArray[np.complex128]:
    """Return what a line with a resistor (0: a short) at its far end reflects, at 50 ohm, ``(n_freq,)``.

    The end reflects ``(R - z0) / (R + z0)`` in the line, turned and weakened twice by the line; its input
    impedance is then referred to 50 ohm. The impedance of the line is taken as real.
    """
    weakened = loss_db_at_100_mhz * np.sqrt(frequency_hz / 1e8) / _NEPER_IN_DB
    end = (end_ohm - z0_ohm) / (end_ohm + z0_ohm)
    inside = end * np.exp(-2.0 * weakened - 4j * np.pi * frequency_hz * delay_s)
    step = (z0_ohm - REFERENCE_OHM) / (z0_ohm + REFERENCE_OHM)
    return np.asarray((step + inside) / (1.0 + step * inside), dtype=np.complex128)
