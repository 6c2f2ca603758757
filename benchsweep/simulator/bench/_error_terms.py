"""The analyzer between its receivers and the ends of its test cables, and the raw data it therefore reads.

Each port k is a reciprocal-or-not two-port: directivity ``e00``, source match ``e11``, source path ``alpha``,
receiver path ``rho``, and a termination ``switch`` behind it while another port is driven. After R. Marks,
"Formulations of the basic vector network analyzer error model including switch terms", 50th ARFTG, 1997,
as cited in scikit-rf. Arrays: ``(n_freq, n)`` complex128, one column a port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._definition import ErrorTermSpread

__all__ = ["ErrorBoxes", "draw_error_boxes", "raw_matrix", "reference_waves", "with_series_contacts"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_TEXTURE_HZ = 500e6


@dataclass(frozen=True, slots=True, eq=False)
class ErrorBoxes:
    """The error boxes of all ports on one grid.

    Parameters
    ----------
    directivity, source_match, switch, source_path, receiver_path
        ``(n_freq, n)``.
    leakage
        ``(n_freq, n, n)``, receiver first, zero diagonal; None: there is none.
    """

    directivity: Complex
    source_match: Complex
    switch: Complex
    source_path: Complex
    receiver_path: Complex
    leakage: Complex | None = None

    @property
    def load_match(self) -> Complex:
        """What the device sees at a port not driven: ``e11 + alpha rho switch / (1 - e00 switch)``."""
        path = self.source_path * self.receiver_path * self.switch
        return self.source_match + path / (1.0 - self.directivity * self.switch)

    @property
    def transmission_tracking(self) -> Complex:
        """``(n_freq, n, n)``, receiver j first: ``alpha_s rho_j / (1 - e00_j switch_j)``.

        On the diagonal ``alpha_s rho_s``: the receiver of the driven port has the source behind it.
        """
        out = self.receiver_path / (1.0 - self.directivity * self.switch)
        tracking = out[:, :, None] * self.source_path[:, None, :]
        ports = np.arange(tracking.shape[1])
        tracking[:, ports, ports] = self.source_path * self.receiver_path
        return tracking


def draw_error_boxes(spread: ErrorTermSpread, ports: int, seed: int, frequency_hz: Real) -> ErrorBoxes:
    """Return the error boxes that `seed` draws, on any grid: the draws do not depend on the frequencies.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    """
    boxes = [_draw_port(spread, np.random.default_rng((seed, 1, k)), frequency_hz) for k in range(ports)]
    directivity, source_match, switch, source_path, receiver_path = (
        np.stack(column, axis=1) for column in zip(*boxes, strict=True)
    )
    leakage = None
    if spread.leakage_db is not None:
        leakage = _draw_leakage(spread.leakage_db, np.random.default_rng((seed, 2)), ports, frequency_hz)
    return ErrorBoxes(directivity, source_match, switch, source_path, receiver_path, leakage)


def _echo(amplitude: float, delay_s: float, frequency_hz: Real) -> Complex:
    return np.asarray(amplitude * np.exp(-2j * np.pi * frequency_hz * delay_s), dtype=np.complex128)


def _draw_port(
    spread: ErrorTermSpread, rng: np.random.Generator, frequency_hz: Real
) -> tuple[Complex, Complex, Complex, Complex, Complex]:
    """Draw one port. All coefficients are real, so that the response in time is real too."""

    def level(level_db: float) -> float:
        return float(10.0 ** (level_db / 20.0) * rng.uniform(0.5, 0.7) * rng.choice((-1.0, 1.0)))

    delays = spread.cable_delay_s * (1.0 + spread.cable_delay_spread * rng.standard_normal(2))
    texture = 1j * frequency_hz / _TEXTURE_HZ
    directivity = (
        _echo(level(spread.directivity_db), 0.0, frequency_hz)
        + _echo(level(spread.directivity_db), spread.directivity_echo_s * rng.uniform(0.9, 1.1), frequency_hz)
        + _echo(level(spread.directivity_db), 2.0 * spread.cable_delay_s, frequency_hz) * texture
    )
    source_match = (
        _echo(level(spread.source_match_db), 0.05e-9, frequency_hz)
        + _echo(level(spread.source_match_db), float(delays.sum()), frequency_hz)
        + _echo(level(spread.source_match_db), 0.2e-9, frequency_hz) * texture
    )
    switch = _echo(level(spread.switch_match_db), 0.3e-9, frequency_hz) * (1.0 + 0.5 * texture)
    paths = [_draw_path(spread, rng, float(delay), frequency_hz) for delay in delays]
    gain = 10.0 ** (spread.receiver_spread_db * rng.standard_normal() / 20.0)
    return directivity, source_match, switch, paths[0], paths[1] * gain


def _draw_path(
    spread: ErrorTermSpread, rng: np.random.Generator, delay_s: float, frequency_hz: Real
) -> Complex:
    loss_db = spread.loss_constant_db + spread.loss_at_500_mhz_db * np.sqrt(frequency_hz / _TEXTURE_HZ)
    ripple = _echo(10.0 ** (spread.ripple_db / 20.0) * rng.uniform(-1.0, 1.0), 2.0 * delay_s, frequency_hz)
    return np.asarray(10.0 ** (-loss_db / 20.0) * _echo(1.0, delay_s, frequency_hz) * (1.0 + ripple))


def _draw_leakage(level_db: float, rng: np.random.Generator, ports: int, frequency_hz: Real) -> Complex:
    phase = rng.uniform(0.0, 2.0 * np.pi, (ports, ports))
    delay_s = rng.uniform(1e-9, 10e-9, (ports, ports))
    turn = phase - 2.0 * np.pi * frequency_hz[:, None, None] * delay_s
    leakage = 10.0 ** (level_db / 20.0) * np.exp(1j * turn)
    leakage[:, np.arange(ports), np.arange(ports)] = 0.0
    return np.asarray(leakage, dtype=np.complex128)


def with_series_contacts(boxes: ErrorBoxes, impedance_ohm: Complex, reference_ohm: float) -> ErrorBoxes:
    """Return `boxes` with a series impedance joined to the device side of every port.

    Parameters
    ----------
    impedance_ohm
        ``(n_freq, n)``. A series element has ``s11 = s22 = d``, ``s21 = s12 = 1 - d`` with
        ``d = z / (2 reference + z)``; the cascade is that of two two-ports.
    """
    d = impedance_ohm / (2.0 * reference_ohm + impedance_ohm)
    loop = 1.0 / (1.0 - boxes.source_match * d)
    return replace(
        boxes,
        directivity=boxes.directivity + boxes.source_path * boxes.receiver_path * d * loop,
        source_match=d + (1.0 - d) ** 2 * boxes.source_match * loop,
        source_path=boxes.source_path * (1.0 - d) * loop,
        receiver_path=boxes.receiver_path * (1.0 - d) * loop,
    )


def raw_matrix(s: Complex, boxes: ErrorBoxes, driven: NDArray[np.intp]) -> Complex:
    """Return what the receivers read with the device `s` at the ends of the test cables.

    With the source at s, the waves b into the test cables satisfy ``b = S (e_s + G(s) b)``, where G(s) holds
    the load matches and, at s, the source match. One solution of ``(I - S diag(load match)) X = S`` serves
    all sources: G(s) differs from the load matches in one place only, so column s is
    ``X[:, s] / (1 - (e11_s - e22_s) X[s, s])`` (Sherman and Morrison).

    Parameters
    ----------
    s
        ``(n_freq, n, n)``.
    driven
        Indices of the driven ports.

    Returns
    -------
    Complex
        ``(n_freq, n, n_driven)``, row = receiving port.
    """
    n = s.shape[1]
    load_match = boxes.load_match
    x = np.linalg.solve(np.eye(n) - s * load_match[:, None, :], s[:, :, driven])
    columns = np.arange(driven.size)
    step = (boxes.source_match - load_match)[:, driven]
    waves = x / (1.0 - step * x[:, driven, columns])[:, None, :]
    raw = boxes.transmission_tracking[:, :, driven] * waves
    raw[:, driven, columns] += boxes.directivity[:, driven]
    if boxes.leakage is not None:
        raw += boxes.leakage[:, :, driven]
    return np.asarray(raw, dtype=np.complex128)


def reference_waves(raw: Complex, boxes: ErrorBoxes, driven: NDArray[np.intp]) -> Complex:
    """Return what the reference receivers read, over the one of the driven port.

    At a port that is not driven the test receiver reads the wave ``b`` that goes into the termination behind
    it, and the reference receiver ``a = switch b``: the same ratio whatever is connected and whichever port
    is driven (Marks 1997, the switch terms). Leakage reaches the test receiver only.

    Parameters
    ----------
    raw
        ``(n_freq, n, n_driven)`` as `raw_matrix` returns it.
    driven
        Indices of the driven ports.

    Returns
    -------
    Complex
        ``(n_freq, n, n_driven)``; one at the driven port.
    """
    received = raw if boxes.leakage is None else raw - boxes.leakage[:, :, driven]
    waves = boxes.switch[:, :, None] * received
    waves[:, driven, np.arange(driven.size)] = 1.0
    return np.asarray(waves)
