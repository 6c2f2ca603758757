from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._kit import (
    Kit,
    LoadStandard,
    OffsetLine,
    OpenStandard,
    ReciprocalStandard,
    ReflectStandard,
    ShortStandard,
    Standard,
    ThruStandard,
)
from benchsweep.errors import DefinitionError

__all__ = [
    "REFERENCE_OHM",
    "ideal_reflections",
    "ideal_thru",
    "line_impedance",
    "propagation",
    "reflection_of",
    "two_port_of",
]

REFERENCE_OHM = 50.0
"""All solving happens at this reference; a kit states its standards in ohm, farad and henry."""

Bare = Callable[[NDArray[np.float64]], NDArray[np.complex128]]


def ideal_reflections(
    kit: Kit, frequency_hz: NDArray[np.float64], names: Iterable[str] = ("open", "short", "load")
) -> dict[str, NDArray[np.complex128]]:
    """Return what the one-port standards of `kit` reflect at 50 ohm.

    Parameters
    ----------
    kit
        The standards.
    frequency_hz
        ``(n_freq,)``.
    names
        Which of them.

    Returns
    -------
    dict
        Name -> ``(n_freq,)`` reflection coefficient; of a ``reflect`` its estimate.

    Raises
    ------
    CalibrationMismatch
        The data of a standard do not have these frequencies.
    """
    return {name: reflection_of(_standard(kit, name), frequency_hz) for name in names}


def ideal_thru(kit: Kit, frequency_hz: NDArray[np.float64], name: str = "thru") -> NDArray[np.complex128]:
    """Return ``(n_freq, 2, 2)``: the S-matrix of a two-port standard of `kit` at 50 ohm.

    Of a ``reciprocal-N`` it is the estimate.

    Raises
    ------
    CalibrationMismatch
        The data of the standard do not have these frequencies.
    """
    standard = _standard(kit, name)
    if name != "exchange":
        return two_port_of(standard, frequency_hz)
    measured = standard.measured_at(frequency_hz) if isinstance(standard, Standard) else None
    if measured is not None:
        return measured
    gamma = ideal_reflections(kit, frequency_hz, ("short", "open"))
    return _symmetric((gamma["short"] + gamma["open"]) / 2.0, (gamma["short"] - gamma["open"]) / 2.0)


def reflection_of(
    standard: Standard | ReflectStandard | ReciprocalStandard, frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Return ``(n_freq,)``: the reflection of one standard at 50 ohm; see `ideal_reflections`."""
    omega = 2.0 * np.pi * frequency_hz
    if isinstance(standard, ReflectStandard):
        sign = 1.0 if standard.near == "open" else -1.0
        return np.asarray(sign * np.exp(-2j * omega * standard.delay_ps * 1e-12), dtype=np.complex128)
    if isinstance(standard, ReciprocalStandard):
        raise DefinitionError("a reciprocal standard is a two-port", hint="Measure it between two ports.")
    measured = standard.measured_at(frequency_hz)
    if measured is not None:
        return measured[:, 0, 0]
    if isinstance(standard, OpenStandard):
        admittance = 1j * omega * _polynomial(standard.capacitance_farad, frequency_hz) * REFERENCE_OHM
        return _behind(standard.offset, (1.0 - admittance) / (1.0 + admittance), frequency_hz)
    if isinstance(standard, ShortStandard | LoadStandard):
        reactance = 1j * omega * _polynomial(standard.inductance_henry, frequency_hz)
        resistance = (standard.resistance_ohm or 0.0) if isinstance(standard, LoadStandard) else 0.0
        impedance = (resistance + reactance) / REFERENCE_OHM
        return _behind(standard.offset, (impedance - 1.0) / (impedance + 1.0), frequency_hz)
    raise DefinitionError(
        "a two-port standard has no single reflection", hint="Measure it between two ports."
    )


def two_port_of(
    standard: Standard | ReflectStandard | ReciprocalStandard, frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Return ``(n_freq, 2, 2)``: the S-matrix of one standard at 50 ohm; see `ideal_thru`."""
    if isinstance(standard, ReciprocalStandard):
        return _symmetric(*_line(OffsetLine(delay_ps=standard.delay_ps), frequency_hz))
    if isinstance(standard, ThruStandard):
        measured = standard.measured_at(frequency_hz)
        return measured if measured is not None else _symmetric(*_line(standard.offset, frequency_hz))
    raise DefinitionError("a one-port standard has no transmission", hint="Measure it at single ports.")


def line_impedance(line: OffsetLine, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return ``(n_freq,)``: characteristic impedance in ohm of a line with skin-effect loss, see `_line`."""
    loss = line.loss_gohm_per_s * 1e9 * np.sqrt(frequency_hz / 1e9)
    impedance = line.z0_ohm + (1.0 - 1.0j) * loss / (4.0 * np.pi * frequency_hz)
    return np.asarray(impedance, dtype=np.complex128)


def propagation(line: OffsetLine, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return ``(n_freq,)``: transmission of a line between ports of its own impedance."""
    return np.asarray(np.exp(-_exponent(line, frequency_hz)), dtype=np.complex128)


def _exponent(line: OffsetLine, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    delay_s = line.delay_ps * 1e-12
    loss = line.loss_gohm_per_s * 1e9 * np.sqrt(frequency_hz / 1e9)
    attenuation = delay_s * loss / (2.0 * line.z0_ohm)
    return np.asarray(attenuation + 1j * (2.0 * np.pi * frequency_hz * delay_s + attenuation))


def _standard(kit: Kit, name: str) -> Standard | ReflectStandard | ReciprocalStandard:
    standard = kit.standards.get(name)
    if standard is None:
        raise DefinitionError(
            f"kit {kit.name} has no {name}; it has {', '.join(kit.standards)}",
            hint="Add the standard to the kit, or choose another kit.",
        )
    return standard


def _symmetric(
    reflection: NDArray[np.complex128], transmission: NDArray[np.complex128]
) -> NDArray[np.complex128]:
    s = np.empty((reflection.size, 2, 2), dtype=np.complex128)
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
    exponent = _exponent(line, frequency_hz)
    impedance = line_impedance(line, frequency_hz) / REFERENCE_OHM
    denominator = 2.0 * impedance * np.cosh(exponent) + (impedance**2 + 1.0) * np.sinh(exponent)
    return (impedance**2 - 1.0) * np.sinh(exponent) / denominator, 2.0 * impedance / denominator
