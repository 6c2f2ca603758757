"""Scattering matrices of simple networks from their circuit laws, 50 ohm at every port.

Arrays: ``(n_freq, n, n)`` complex128; row = wave out, column = wave in.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "REFERENCE_OHM",
    "amplitude",
    "behind",
    "cascade",
    "delay",
    "line",
    "of_admittance",
    "pad",
    "reflection",
    "root_loss",
]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

REFERENCE_OHM = 50.0
_LOSS_AT_HZ = 500e6
_NEPER_DB = 20.0 / np.log(10.0)


def amplitude(level_db: float) -> float:
    """Return the amplitude of a level: ``10^(level / 20)``."""
    return float(10.0 ** (level_db / 20.0))


def reflection(impedance_ohm: NDArray[Any]) -> Complex:
    """Return ``(Z - 50) / (Z + 50)``."""
    return np.asarray((impedance_ohm - REFERENCE_OHM) / (impedance_ohm + REFERENCE_OHM), dtype=np.complex128)


def delay(omega: Real, seconds: float) -> Complex:
    """Return the transmission ``(n_freq,)`` of a matched line without loss."""
    return np.asarray(np.exp(-1j * omega * seconds))


def root_loss(omega: Real, loss_db_at_500_mhz: float) -> Real:
    """Return in neper a loss that grows with the root of frequency (skin effect)."""
    frequency = omega / (2.0 * np.pi * _LOSS_AT_HZ)
    return np.asarray(loss_db_at_500_mhz / _NEPER_DB * np.sqrt(frequency))


def line(gamma_l: Complex, impedance_ohm: float) -> Complex:
    """Return a uniform line.

    Parameters
    ----------
    gamma_l
        Propagation constant times length, ``(n_freq,)``.
    """
    rho = (impedance_ohm - REFERENCE_OHM) / (impedance_ohm + REFERENCE_OHM)
    through = np.exp(-gamma_l)
    scale = 1.0 / (1.0 - (rho * through) ** 2)
    s = np.empty((gamma_l.size, 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = rho * (1.0 - through**2) * scale
    s[:, 0, 1] = s[:, 1, 0] = (1.0 - rho**2) * through * scale
    return s


def pad(series_ohm: tuple[float, float], shunt_ohm: float) -> Complex:
    """Return a pad of three resistors (series, shunt, series), ``(1, 2, 2)``."""
    first, second = series_ohm
    z = np.array([[[first + shunt_ohm, shunt_ohm], [shunt_ohm, second + shunt_ohm]]], dtype=np.complex128)
    unit = REFERENCE_OHM * np.eye(2)
    return np.asarray(np.linalg.solve(z + unit, z - unit))


def of_admittance(y_siemens: Complex, ports: Sequence[int]) -> Complex:
    """Return the matrix at some nodes of a network; nothing but the network hangs on the others.

    With v the voltages of the nodes, waves a into the ports P give ``(50 Y + P^T P) v = 2 P^T a`` and come
    back as ``b = P v - a``.

    Parameters
    ----------
    y_siemens
        ``(n_freq, n, n)``, node admittances against ground.
    ports
        Nodes that are ports.
    """
    chosen = np.zeros((len(ports), y_siemens.shape[-1]))
    chosen[np.arange(len(ports)), list(ports)] = 1.0
    right = np.broadcast_to(2.0 * chosen.T, (y_siemens.shape[0], *chosen.T.shape))
    volts = np.linalg.solve(REFERENCE_OHM * y_siemens + chosen.T @ chosen, right)
    return np.asarray(chosen @ volts - np.eye(len(ports)))


def behind(front: Complex, s: Complex) -> Complex:
    """Return what is seen through `front` of a device `s` at its far ports.

    ``F11 + F12 S (I - F22 S)^-1 F21``.

    Parameters
    ----------
    front
        ``(n_freq, m + n, m + n)``, the n far ports last.
    s
        ``(n_freq, n, n)``.
    """
    m = front.shape[-1] - s.shape[-1]
    f11, f12 = front[:, :m, :m], front[:, :m, m:]
    f21, f22 = front[:, m:, :m], front[:, m:, m:]
    waves = np.linalg.solve(np.eye(s.shape[-1]) - f22 @ s, f21)
    return np.asarray(f11 + f12 @ (s @ waves))


def cascade(first: Complex, *others: Complex) -> Complex:
    """Return networks of 2n ports one behind the other; of each, the n near ports come first."""
    total = first
    for other in others:
        n = total.shape[-1] // 2
        a11, a12, a21, a22 = total[:, :n, :n], total[:, :n, n:], total[:, n:, :n], total[:, n:, n:]
        b11, b12, b21, b22 = other[:, :n, :n], other[:, :n, n:], other[:, n:, :n], other[:, n:, n:]
        loop = np.eye(n) - a22 @ b11
        into = np.linalg.solve(loop, a21)
        back = np.linalg.solve(loop, a22 @ b12)
        upper = np.concatenate([a11 + a12 @ b11 @ into, a12 @ (b12 + b11 @ back)], axis=-1)
        lower = np.concatenate([b21 @ into, b22 + b21 @ back], axis=-1)
        total = np.concatenate([upper, lower], axis=-2)
    return total
