from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._kit import Kit, OffsetLine

__all__ = ["REFERENCE_OHM", "ideal_reflections", "ideal_thru"]

REFERENCE_OHM = 50.0
"""All solving happens at this reference; a kit states its standards in ohm, farad and henry."""


def ideal_reflections(kit: Kit, frequency_hz: NDArray[np.float64]) -> dict[str, NDArray[np.complex128]]:
    """Return what the one-port standards of `kit` reflect at 50 ohm.

    Parameters
    ----------
    kit
        The standards.
    frequency_hz
        ``(n_freq,)``.

    Returns
    -------
    dict
        ``open``, ``short``, ``load`` -> ``(n_freq,)`` reflection coefficient.
    """
    omega = 2.0 * np.pi * frequency_hz
    admittance = 1j * omega * _polynomial(kit.open.capacitance_farad, frequency_hz) * REFERENCE_OHM
    short = 1j * omega * _polynomial(kit.short.inductance_henry, frequency_hz) / REFERENCE_OHM
    load = (
        kit.load.resistance_ohm + 1j * omega * _polynomial(kit.load.inductance_henry, frequency_hz)
    ) / REFERENCE_OHM
    bare = {
        "open": ((1.0 - admittance) / (1.0 + admittance), kit.open.offset),
        "short": ((short - 1.0) / (short + 1.0), kit.short.offset),
        "load": ((load - 1.0) / (load + 1.0), kit.load.offset),
    }
    return {name: _behind(line, gamma, frequency_hz) for name, (gamma, line) in bare.items()}


def ideal_thru(kit: Kit, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return ``(n_freq, 2, 2)``: the S-matrix of the through connection of `kit` at 50 ohm."""
    reflection, transmission = _line(kit.thru.offset, frequency_hz)
    s = np.empty((frequency_hz.size, 2, 2), dtype=np.complex128)
    s[:, 0, 0] = s[:, 1, 1] = reflection
    s[:, 0, 1] = s[:, 1, 0] = transmission
    return s


def _polynomial(coefficients: tuple[float, ...], frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    value = np.polynomial.polynomial.polyval(frequency_hz, np.asarray(coefficients, dtype=np.float64))
    return np.asarray(value, dtype=np.float64)


def _behind(
    line: OffsetLine, gamma: NDArray[np.complex128], frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    reflection, transmission = _line(line, frequency_hz)
    return reflection + transmission**2 * gamma / (1.0 - reflection * gamma)


def _line(
    line: OffsetLine, frequency_hz: NDArray[np.float64]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return S11 and S21 at 50 ohm of a line with skin-effect loss (the usual offset model of analyzer kits).

    Attenuation ``a = delay loss sqrt(f/GHz) / (2 z0)``, phase ``2 pi f delay + a``, characteristic impedance
    ``z0 + (1 - j) loss sqrt(f/GHz) / (4 pi f)``.
    """
    delay_s = line.delay_ps * 1e-12
    loss = line.loss_gohm_per_s * 1e9 * np.sqrt(frequency_hz / 1e9)
    attenuation = delay_s * loss / (2.0 * line.z0_ohm)
    exponent = attenuation + 1j * (2.0 * np.pi * frequency_hz * delay_s + attenuation)
    impedance = (line.z0_ohm + (1.0 - 1.0j) * loss / (4.0 * np.pi * frequency_hz)) / REFERENCE_OHM
    denominator = 2.0 * impedance * np.cosh(exponent) + (impedance**2 + 1.0) * np.sinh(exponent)
    return (impedance**2 - 1.0) * np.sinh(exponent) / denominator, 2.0 * impedance / denominator
