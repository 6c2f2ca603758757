from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ENDS, ModeLosses, far_end
from benchsweep.cabling.distance._two_port import TwoPort, input_impedance
from benchsweep.cabling.distance._velocity import LIGHT_M_PER_S
from benchsweep.errors import UsageError
from benchsweep.records import BalancedPort, CableConstants, End, ModePort, SMatrix

__all__ = ["cable_constants", "fit_impedance", "structural_return_loss"]

Row = NDArray[np.float64]
Wave = NDArray[np.complex128]

_FEWEST = 8
_MEAN_FROM_HZ = 100e6
_POWERS = (0.0, -0.5, -1.0, -1.5)
_QUARTER_WAVE = 0.5 * math.pi


def fit_impedance(
    frequency_hz: Row, impedance: Row, weight: Row | None = None
) -> tuple[tuple[float, float, float, float], Row]:
    """Fit K0 + K1 f^-1/2 + K2 f^-1 + K3 f^-3/2 to an impedance by least squares.

    Function fit of the characteristic impedance; form from memory: ASTM D4566, method 3, and IEC TR
    61156-1-2. It takes out the structure of the cable and leaves what a uniform one would have. Every octave
    counts alike, however the frequencies are spaced: otherwise a linear sweep would leave the low
    frequencies, where the impedance changes most, to chance. Fitted to the magnitude, K0 tends to sqrt(L/C);
    the same form serves for the angle, which tends to zero.

    Parameters
    ----------
    frequency_hz, impedance
        ``(n_freq,)``; magnitudes in ohm, or angles in radian.
    weight
        ``(n_freq,)`` factor of each residual before it is squared; 1 for all when not given.

    Returns
    -------
    K0 … K3 in the unit of `impedance` with f in MHz, and the fitted function ``(n_freq,)``.

    Raises
    ------
    UsageError
        Fewer frequencies than coefficients.
    """
    if frequency_hz.size < len(_POWERS):
        raise UsageError("an impedance cannot be fitted to fewer than 4 frequencies")
    # Frequencies relative to their geometric mean keep the four columns of like size.
    middle_mhz = math.exp(float(np.mean(np.log(frequency_hz)))) / 1e6
    relative = frequency_hz / 1e6 / middle_mhz
    shape = np.stack([relative**power for power in _POWERS], axis=1)
    scale = np.sqrt(np.gradient(np.log(frequency_hz)))
    if weight is not None:
        scale *= weight
    found, *_ = np.linalg.lstsq(shape * scale[:, None], impedance * scale, rcond=None)
    k = [float(c) * middle_mhz**-power for c, power in zip(found, _POWERS, strict=True)]
    return (k[0], k[1], k[2], k[3]), np.asarray(shape @ found, dtype=np.float64)


def cable_constants(mixed: SMatrix | ModeLosses, *, length_m: float) -> tuple[CableConstants, ...]:
    """Return the constants of the cable of every pair at every end, as far as the data allow.

    A pair measured at both ends is opened and shorted at the far end by computation: sqrt(Zopen Zshort). A
    pair measured at one end only shows its input impedance with the far end terminated; that is the
    characteristic impedance as far as the cable is long enough for the far end not to show (twice its loss
    above 20 dB or so). Plugs count as cable, so for a cord the constants are those of the assembly. A pair
    measured at both ends whose delay cannot be told (open, crossed) has none.

    Structural return loss is that of the input impedance against the fitted impedance, with the far end on
    the fitted impedance too; magnitude and angle are fitted, so that the resistance of the wires at low
    frequencies is no structure. Attenuation per 100 m is the insertion loss over the length (IEC 61156-1,
    from memory), delay per 100 m the phase delay. Mean impedance is the mean magnitude from 100 MHz on
    (common practice), or over the upper half of a band that ends below 125 MHz. Mutual capacitance is delay
    over mean impedance.

    Parameters
    ----------
    mixed
        Mixed-mode matrix, ports ``A:12/d`` …
    length_m
        Length of the cable.

    Raises
    ------
    UsageError
        A length that is none.
    """
    if not (math.isfinite(length_m) and length_m > 0.0):
        raise UsageError(f"a length of {length_m:g} m makes no sense", hint="Give metres, above 0.")
    losses = ModeLosses.of(mixed)
    if losses.frequency_hz.size < _FEWEST:
        return ()
    delays = {trace.pairs[0]: 1e-9 * trace.value for trace in propagation_delay(losses, length_m=length_m)}
    both = losses.pairs_at_both_ends()
    return tuple(
        _constants(losses, end, pair, length_m, delays)
        for end in ENDS
        for pair in losses.pairs(end)
        if pair in delays or pair not in both
    )


def _constants(
    losses: ModeLosses, end: End, pair: str, length_m: float, delays: Mapping[str, Row]
) -> CableConstants:
    f = losses.frequency_hz
    port = ModePort(BalancedPort(end, pair), "d")
    reference = losses.mixed.z0_ohm[losses.mixed.ports.index(str(port))]
    two_port = TwoPort.of(losses, end, pair) if pair in delays else None
    route: Literal["open-short", "terminated"]
    if two_port is None:
        route = "terminated"
        reflection = losses.mixed.at(out=port, into=port)
        impedance = input_impedance(reflection, reference)
        weight = np.abs(1.0 - reflection**2)
    else:
        route = "open-short"
        impedance, weight = two_port.open_short_impedance(), two_port.certainty()
    # A point that is not determined at all (an exact half wave) has no weight, whatever its value.
    impedance, weight = _finite(f, impedance, weight)
    magnitude = np.abs(impedance)
    coefficients, fitted = fit_impedance(f, magnitude, weight)
    _, angle = fit_impedance(f, np.angle(impedance), weight)
    smooth = np.asarray(fitted * np.exp(1j * angle), dtype=np.complex128)
    if two_port is not None:
        reflection = two_port.terminated((smooth - reference) / (smooth + reference))
    low_hz = _MEAN_FROM_HZ if f[-1] >= 1.25 * _MEAN_FROM_HZ else 0.5 * float(f[-1])
    band = f >= low_hz
    mean = float(np.average(magnitude[band], weights=weight[band] ** 2))
    delay = delays.get(pair)
    return CableConstants(
        end=end,
        pair=pair,
        length_m=length_m,
        frequency_hz=f,
        route=route,
        impedance_ohm=magnitude,
        fitted_impedance_ohm=fitted,
        fitted_angle_rad=angle,
        fit_coefficients=coefficients,
        structural_return_loss_db=structural_return_loss(reflection, reference, smooth),
        mean_impedance_ohm=mean,
        mean_band_hz=(float(f[band][0]), float(f[-1])),
        velocity_fraction=None if delay is None else length_m / float(delay[-1]) / LIGHT_M_PER_S,
        delay_ns_per_100m=None if delay is None else delay * 1e9 * 100.0 / length_m,
        attenuation_db_per_100m=(
            None if delay is None else losses.through(far_end(end), pair) * 100.0 / length_m
        ),
        capacitance_nf_per_100m=(
            None if delay is None else float(np.mean(delay[band])) / mean * 1e9 * 100.0 / length_m
        ),
        low_frequency_capacitance_nf_per_100m=(
            None if two_port is None or delay is None else _low_capacitance(two_port, f, delay, length_m)
        ),
    )


def _finite(frequency_hz: Row, impedance: Wave, weight: Row) -> tuple[Wave, Row]:
    known = np.isfinite(impedance) & np.isfinite(weight)
    if known.all() or not known.any():
        return impedance, weight
    filled = np.interp(frequency_hz, frequency_hz[known], impedance[known])
    return filled, np.where(known, weight, 0.0)


def structural_return_loss(reflection: Wave, reference_ohm: float, fitted_ohm: Wave) -> Row:
    """Return -20 log10 |(Zin - Zfit)/(Zin + Zfit)| in dB, ``(n_freq,)``; no structure gives ``+inf``.

    Structural return loss (textbook; named in the contents of IEC TR 61156-1-5).

    Parameters
    ----------
    reflection
        ``(n_freq,)`` reflection of the input impedance Zin against `reference_ohm`.
    reference_ohm
        Its reference.
    fitted_ohm
        ``(n_freq,)`` Zfit, complex.
    """
    # Both numerator and denominator times (1 - reflection): an open end makes no infinity.
    plus, minus = reference_ohm * (1.0 + reflection), fitted_ohm * (1.0 - reflection)
    with np.errstate(divide="ignore"):
        return np.asarray(-20.0 * np.log10(np.abs((plus - minus) / (plus + minus))), dtype=np.float64)


def _low_capacitance(two_port: TwoPort, frequency_hz: Row, delay_s: Row, length_m: float) -> float | None:
    """Return the mutual capacitance from the admittance y = gamma/Zc = G + j w C below a quarter wave."""
    low = 2.0 * math.pi * frequency_hz * delay_s < _QUARTER_WAVE
    if not low.any():
        return None
    admittance = two_port.transfer(delay_s, frequency_hz)[low] / two_port.chain_impedance()[low]
    capacitance = admittance.imag / (2.0 * math.pi * frequency_hz[low])
    # An error e of S makes one of about e/(phase) of the admittance.
    weight = (frequency_hz[low] * delay_s[low]) ** 2
    return float(np.average(capacitance, weights=weight)) * 1e9 * 100.0 / length_m
