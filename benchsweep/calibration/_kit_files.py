"""Standards whose definition is a measured Touchstone file."""

from __future__ import annotations

import hashlib
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import PrivateAttr, computed_field, model_validator

from benchsweep.definitions import Definition
from benchsweep.errors import CalibrationMismatch, DataFileError, DefinitionError

__all__ = ["Measurable", "MeasuredData"]

_SAME_HZ = 1e-9
"""Two points are one when they differ by less than this part of the frequency, which text may lose."""
_LARGEST_POWER = 1.1
"""A standard is passive: what leaves it is at most this much of what went in, with the noise of its data."""
# What scikit-rf's reader raises on mangled text; all become one DataFileError.
_READER_ERRORS = (ArithmeticError, AttributeError, LookupError, MemoryError, TypeError, ValueError)
_HINT = "Give an S-parameter file of the standard at 50 ohm on the grid that is swept."


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredData:
    """Content of a Touchstone file at 50 ohm: ``(n_freq,)`` in Hz and ``(n_freq, n, n)`` complex128."""

    file: str
    frequency_hz: NDArray[np.float64]
    s: NDArray[np.complex128]
    sha256: str

    def at(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return ``(n, p, p)`` at `frequency_hz`; nothing is interpolated.

        Raises
        ------
        CalibrationMismatch
            A frequency is not in the file; both grids are named.
        """
        right = np.clip(np.searchsorted(self.frequency_hz, frequency_hz), 1, self.frequency_hz.size - 1)
        left_is_nearer = frequency_hz - self.frequency_hz[right - 1] < self.frequency_hz[right] - frequency_hz
        nearest = right - left_is_nearer
        missing = np.abs(self.frequency_hz[nearest] - frequency_hz) > _SAME_HZ * frequency_hz
        if np.any(missing):
            first = float(frequency_hz[np.argmax(missing)])
            raise CalibrationMismatch(
                f"frequency grid: {self.file} has {_grid(self.frequency_hz)}, swept were "
                f"{_grid(frequency_hz)}; {int(np.count_nonzero(missing))} of them are not in the file, "
                f"the first at {first / 1e6:.9g} MHz",
                hint="Nothing is interpolated: sweep points of the file, or have the standard measured on "
                "this grid.",
            )
        return self.s[nearest]


class Measurable(Definition):
    """A standard that may be given by a measured file in place of its model."""

    ports: ClassVar[int] = 1

    touchstone: str | None = None
    """A ``.s1p`` or ``.s2p`` file beside the kit file (path relative to it), at 50 ohm."""
    _measured: MeasuredData | None = PrivateAttr(default=None)

    @computed_field  # type: ignore[prop-decorator]
    @property
    def touchstone_sha256(self) -> str:
        """Digest of the file, so that kits with other data are told apart; empty without one."""
        return self._measured.sha256 if self._measured is not None else ""

    @model_validator(mode="after")
    def _model_or_file(self) -> Self:
        model = self.model_fields_set - {"touchstone", "uncertainty", "same_piece"}
        if self.touchstone is not None and model:
            raise ValueError(f"touchstone: the file takes the place of {', '.join(sorted(model))}")
        return self

    def read(self, folder: Path, where: str) -> None:
        """Read the file, if the standard has one.

        Raises
        ------
        DataFileError
            It cannot be read, has other ports or another reference, or is no passive standard.
        """
        if self.touchstone is not None:
            self._measured = _read(folder / self.touchstone, self.ports, where)

    def measured_at(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128] | None:
        """Return ``(n, p, p)`` of the file, None for a standard with a model.

        Raises
        ------
        CalibrationMismatch
            See `MeasuredData.at`.
        """
        if self._measured is not None:
            return self._measured.at(frequency_hz)
        if self.touchstone is not None:
            raise DefinitionError(f"{self.touchstone}: was not read with the kit", hint=_HINT)
        return None


def _read(path: Path, ports: int, where: str) -> MeasuredData:
    import skrf

    try:
        content = path.read_bytes()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            network = skrf.Network(str(path))
    except (OSError, *_READER_ERRORS) as error:
        raise DataFileError(f"{where}: {path} cannot be read: {error}", hint=_HINT) from error
    frequency_hz, s = np.asarray(network.f, dtype=np.float64), np.asarray(network.s, dtype=np.complex128)
    wrong = ""
    if network.nports != ports:
        wrong = f"has {network.nports} ports, the standard {ports}"
    elif frequency_hz.size < 2 or not np.all(np.diff(frequency_hz) > 0.0):
        wrong = "has fewer than two frequencies, or frequencies that do not rise"
    elif not np.all(np.isfinite(s)):
        wrong = "holds values that are no numbers"
    elif not np.allclose(network.z0, 50.0):
        wrong = f"is referred to {np.ravel(network.z0)[0].real:g} ohm, standards are referred to 50 ohm"
    elif float(np.max(np.linalg.norm(s, ord=2, axis=(1, 2)))) ** 2 > _LARGEST_POWER:
        wrong = "gives back more power than goes in"
    if wrong:
        raise DataFileError(f"{where}: {path} {wrong}", hint=_HINT)
    return MeasuredData(str(path), frequency_hz, s, hashlib.sha256(content).hexdigest())


def _grid(frequency_hz: NDArray[np.float64]) -> str:
    return f"{frequency_hz.size} points from {frequency_hz[0] / 1e6:.9g} to {frequency_hz[-1] / 1e6:.9g} MHz"
