"""Specimens of the simulated bench, by name or path: modelled from a description or read from Touchstone."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep.definitions import list_definitions, load_definition
from benchsweep.errors import DataFileError, UsageError
from benchsweep.simulator.specimen._bundle import BundledCable, cable_of, side_by_side
from benchsweep.simulator.specimen._description import SpecimenDescription
from benchsweep.simulator.specimen._interpolation import MeasuredMatrix
from benchsweep.simulator.specimen._production import is_reel, reel_of
from benchsweep.simulator.specimen._touchstone import read_touchstone

__all__ = ["SimulatedSpecimen", "list_specimens", "load_specimen"]

# Contacts at each end that a Touchstone file of so many ports holds.
_CONTACTS = {16: (1, 2, 3, 4, 5, 6, 7, 8), 8: (1, 2, 3, 6), 4: (1, 2)}
_TOUCHSTONE = re.compile(r"\.s(\d+)p", re.IGNORECASE)


@dataclass(frozen=True)
class SimulatedSpecimen:
    """A specimen whose scattering matrix is known.

    Attributes
    ----------
    name
        Name of the specimen for people.
    conductors
        What each row and column of the matrix is: ``A1`` … ``B8``.
    grid
        Start and stop (Hz) and number of points that the analyzer should preset to; None if any will do.
    disturbing
        How many cables lie beside this one and disturb it, numbered from 1; 0: it is alone.
    """

    name: str
    conductors: tuple[str, ...]
    grid: tuple[float, float, int] | None
    _compute: Callable[[NDArray[np.float64]], NDArray[np.complex128]] = field(repr=False, compare=False)
    _lowest_hz: float = field(default=np.nextafter(0.0, 1.0), repr=False, compare=False)
    disturbing: int = 0
    _beside: Callable[[NDArray[np.float64], tuple[int, ...]], NDArray[np.complex128]] | None = field(
        default=None, repr=False, compare=False
    )

    def scatter(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return the scattering matrix, 50 ohm at every conductor.

        Parameters
        ----------
        frequency_hz
            ``(n_freq,)``, each above zero, in any order and spacing. Files may hold zero itself.

        Returns
        -------
        ``(n_freq, n, n)``, row = wave out, column = wave in, in the order of `conductors`; read-only,
        because the last few results are kept.

        Raises
        ------
        UsageError
            A frequency is not a number above zero (from zero on for files).
        DataFileError
            The specimen is a file and a frequency lies outside it.
        """
        matrix = self._compute(self._checked(frequency_hz))
        matrix.flags.writeable = False
        return matrix

    def together(self, frequency_hz: NDArray[np.float64], cables: Sequence[int]) -> NDArray[np.complex128]:
        """Return the matrix of some cables of a bundle; all others have no part in it.

        Parameters
        ----------
        frequency_hz
            ``(n_freq,)``, see `scatter`.
        cables
            Numbers, 0 for the disturbed cable.

        Returns
        -------
        ``(n_freq, 16 n, 16 n)``: the conductors of each cable in turn.

        Raises
        ------
        UsageError
            A frequency is not a number above zero, or there is no such cable.
        """
        frequency = self._checked(frequency_hz)
        if self._beside is None or not all(0 <= number <= self.disturbing for number in cables):
            raise UsageError(
                f"specimen {self.name}: no cables {', '.join(map(str, cables))}; it has {self.disturbing} "
                "beside it",
                hint="Take a specimen of kind bundle with cables enough.",
            )
        return self._beside(frequency, tuple(cables))

    def _checked(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
        if not np.all(np.isfinite(frequency) & (frequency >= self._lowest_hz)):
            raise UsageError(
                f"specimen {self.name}: frequencies must be above 0 Hz", hint="Set a start above 0 Hz."
            )
        return frequency


@lru_cache(maxsize=16)
def _cable(description: SpecimenDescription, seed: int, number: int) -> BundledCable:
    return cable_of(description, seed, number)


@lru_cache(maxsize=4)
def _scatter(
    description: SpecimenDescription, seed: int, grid: bytes, number: int = 0
) -> NDArray[np.complex128]:
    return _cable(description, seed, number).assembly.scatter(np.frombuffer(grid, dtype=np.float64))


def list_specimens() -> tuple[str, ...]:
    """Return the names of the specimens that can be loaded without a path."""
    return tuple(list_definitions("specimens"))


def load_specimen(name_or_path: str, *, seed: int) -> SimulatedSpecimen:
    """Return a specimen.

    Parameters
    ----------
    name_or_path
        A shipped name, the name of a reel of a production (``tollmoor-6-0123``, see `_production`), the path
        of a specimen file (``.toml``), or the path of a Touchstone file of the conductors at both ends
        (``.s16p``: contacts 1..8 at A then at B; ``.s8p``: 1, 2, 3, 6; ``.s4p``: 1, 2).
    seed
        Decides what chance makes of the specimen where its file fixes no seed.

    Raises
    ------
    UnknownName, DefinitionError, DataFileError
    """
    suffix = _TOUCHSTONE.fullmatch(Path(name_or_path).suffix)
    if suffix:
        return _measured(Path(name_or_path), int(suffix[1]))
    if name_or_path not in list_specimens() and is_reel(name_or_path):
        description = reel_of(name_or_path)
    else:
        description = load_definition("specimens", name_or_path, SpecimenDescription)
    used = seed if description.seed is None else description.seed

    def compute(frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        return _scatter(description, used, frequency_hz.tobytes())

    def beside(frequency_hz: NDArray[np.float64], numbers: tuple[int, ...]) -> NDArray[np.complex128]:
        own = [_scatter(description, used, frequency_hz.tobytes(), number) for number in numbers]
        cables = [_cable(description, used, number) for number in numbers]
        return side_by_side(frequency_hz, numbers, cables, own)

    return SimulatedSpecimen(
        description.name,
        _conductors(16),
        None,
        compute,
        disturbing=description.disturbing or 0,
        _beside=beside if description.disturbing else None,
    )


def _conductors(ports: int) -> tuple[str, ...]:
    return tuple(f"{end}{contact}" for end in "AB" for contact in _CONTACTS[ports])


def _measured(path: Path, ports: int) -> SimulatedSpecimen:
    if ports not in _CONTACTS:
        raise DataFileError(
            f"{path}: a specimen file has 4, 8 or 16 ports, not {ports}",
            hint="Give a .s4p (contacts 1, 2), .s8p (1, 2, 3, 6) or .s16p (1..8) file of both ends.",
        )
    measured = MeasuredMatrix(read_touchstone(path, ports), path.name)
    return SimulatedSpecimen(path.stem, _conductors(ports), measured.grid, measured.scatter, 0.0)
