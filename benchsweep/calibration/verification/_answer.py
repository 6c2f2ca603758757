from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration.verification._artefact import GROUND, Artefact
from benchsweep.calibration.verification._network import (
    REFERENCE_OHM,
    Branch,
    line_reflection,
    nodal_scattering,
)
from benchsweep.calibration.verification._touchstone import measured_scattering
from benchsweep.records import SMatrix

__all__ = ["Answer", "answer"]

_REALISATIONS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What an artefact should measure as, and how far that is known.

    Parameters
    ----------
    nominal
        At its legs, 50 ohm.
    shifted
        Component in words -> the same matrix with that component larger by its standard uncertainty.
        Components are independent; whatever is linear in S (modes, sums) can be made of both matrices alike.
    """

    nominal: SMatrix
    shifted: Mapping[str, SMatrix]

    def mapped(self, convert: Callable[[SMatrix], SMatrix]) -> Answer:
        """Return the same after a linear conversion of every matrix, for example to modes."""
        return Answer(
            convert(self.nominal),
            MappingProxyType({name: convert(matrix) for name, matrix in self.shifted.items()}),
        )

    def expanded(self) -> NDArray[np.float64]:
        """Return ``(n_freq, n, n)``: expanded uncertainty (k = 2) of every S-parameter, a vector length."""
        variance = np.zeros(self.nominal.s.shape)
        for matrix in self.shifted.values():
            variance += np.abs(matrix.s - self.nominal.s) ** 2
        return np.asarray(2.0 * np.sqrt(variance))


def answer(artefact: Artefact, frequency_hz: NDArray[np.float64], *, where: Path | None = None) -> Answer:
    """Compute the S-matrix of `artefact` and what each of its components does to it.

    Parameters
    ----------
    artefact
        The definition.
    frequency_hz
        ``(n_freq,)``.
    where
        File of the definition; beside it a measured artefact's Touchstone file is looked for.

    Raises
    ------
    DataFileError
        The Touchstone file of a measured artefact cannot be used on that grid.
    """
    nominal, shifted = _KINDS[artefact.kind](artefact, frequency_hz, where)
    return Answer(
        _matrix(artefact, frequency_hz, nominal),
        MappingProxyType({name: _matrix(artefact, frequency_hz, s) for name, s in shifted.items()}),
    )


_Computed = tuple[NDArray[np.complex128], dict[str, NDArray[np.complex128]]]


def _matrix(artefact: Artefact, frequency_hz: NDArray[np.float64], s: NDArray[np.complex128]) -> SMatrix:
    return SMatrix(frequency_hz, s, artefact.legs, (REFERENCE_OHM,) * len(artefact.legs))


def _resistors(artefact: Artefact, frequency_hz: NDArray[np.float64], _: Path | None) -> _Computed:
    ohms = [part.ohm for part in artefact.resistor]
    strays = [artefact.stray.capacitance_pf] * len(artefact.legs)

    def solve(ohms: Sequence[float], strays_pf: Sequence[float]) -> NDArray[np.complex128]:
        return nodal_scattering(
            frequency_hz, artefact.legs, _branches(artefact, frequency_hz, ohms, strays_pf)
        )

    shifted = {}
    for index, part in enumerate(artefact.resistor):
        if part.uncertainty_percent:
            larger = [*ohms]
            larger[index] *= 1.0 + part.uncertainty_percent / 100.0
            shifted[f"resistor {index + 1} ({part.between[0]} to {part.between[1]})"] = solve(larger, strays)
    if artefact.stray.uncertainty_pf:
        for index, leg in enumerate(artefact.legs):
            more = [*strays]
            more[index] += artefact.stray.uncertainty_pf
            shifted[f"stray capacitance at {leg}"] = solve(ohms, more)
    return solve(ohms, strays), shifted


def _branches(
    artefact: Artefact,
    frequency_hz: NDArray[np.float64],
    ohms: Sequence[float],
    strays_pf: Sequence[float],
) -> list[Branch]:
    branches: list[Branch] = [
        (part.between[0], part.between[1], np.full(frequency_hz.size, 1.0 / ohm, dtype=np.complex128))
        for part, ohm in zip(artefact.resistor, ohms, strict=True)
    ]
    omega = 2.0 * np.pi * frequency_hz
    branches += [
        (leg, GROUND, np.asarray(1j * omega * stray * 1e-12, dtype=np.complex128))
        for leg, stray in zip(artefact.legs, strays_pf, strict=True)
        if stray
    ]
    return branches


def _lines(artefact: Artefact, frequency_hz: NDArray[np.float64], _: Path | None) -> _Computed:
    keys = {line.leg: line for line in artefact.line}
    diagonal = np.arange(len(artefact.legs))

    omega = 2.0 * np.pi * frequency_hz

    def solve(leg: str = "", stray_pf: float = 0.0, **change: float) -> NDArray[np.complex128]:
        s = np.zeros((frequency_hz.size, diagonal.size, diagonal.size), dtype=np.complex128)
        for index, label in enumerate(artefact.legs):
            line = keys[label]
            given = {
                "z0_ohm": line.z0_ohm,
                "delay_s": line.delay_ns * 1e-9,
                "end_ohm": line.end_ohm,
            }
            if label == leg:
                given = {name: value + change.get(name, 0.0) for name, value in given.items()}
            gamma = line_reflection(frequency_hz, loss_db_at_100_mhz=line.loss_db_at_100_mhz, **given)
            farad = (artefact.stray.capacitance_pf + (stray_pf if label == leg else 0.0)) * 1e-12
            beside = 1j * omega * farad * REFERENCE_OHM * (1.0 + gamma)
            s[:, index, index] = (2.0 * gamma - beside) / (2.0 + beside)
        return s

    shifted = {}
    for leg, line in keys.items():
        for name, words, size in (
            ("z0_ohm", "impedance", line.z0_uncertainty_ohm),
            ("delay_s", "delay", line.delay_uncertainty_ps * 1e-12),
            ("end_ohm", "end", line.end_uncertainty_ohm),
        ):
            if size:
                shifted[f"{words} of the line at {leg}"] = solve(leg, **{name: size})
        if artefact.stray.uncertainty_pf:
            shifted[f"stray capacitance at {leg}"] = solve(leg, artefact.stray.uncertainty_pf)
    return solve(), shifted


def _touchstone(artefact: Artefact, frequency_hz: NDArray[np.float64], where: Path | None) -> _Computed:
    keys = artefact.measured
    if keys is None:  # the model refuses that
        raise ValueError(f"{artefact.name}: no measured file")
    folder = Path() if where is None else where.parent
    s = measured_scattering(folder / keys.file, frequency_hz, ports=len(artefact.legs))
    shifted = {}
    for row, out in enumerate(artefact.legs):
        for column, into in enumerate(artefact.legs):
            level = keys.reflection_uncertainty_db if row == column else keys.transmission_uncertainty_db
            for part in range(_REALISATIONS):  # real and imaginary part are known equally well
                moved = s.copy()
                moved[:, row, column] += 10.0 ** (level / 20.0) / np.sqrt(_REALISATIONS) * 1j**part
                shifted[f"measured S from {into} to {out}, part {part + 1}"] = moved
    return s, shifted


_KINDS: Mapping[str, Callable[[Artefact, NDArray[np.float64], Path | None], _Computed]] = {
    "resistors": _resistors,
    "line": _lines,
    "touchstone": _touchstone,
}
