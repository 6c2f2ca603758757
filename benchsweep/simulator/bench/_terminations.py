"""What ends the legs of the specimen that are attached to no port."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._connections import (
    ImpossibleConnection,
    cable_of,
    is_balanced_port,
    legs_of,
    split_entries,
)
from benchsweep.simulator.bench._networks import REFERENCE_OHM, of_admittance
from benchsweep.simulator.bench._pieces_definition import Terminations, Terminator

__all__ = ["MISSING", "Loads", "format_terminators", "parse_terminators", "terminated"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

MISSING = "none"
_STREAM = 12
_CONDUCTORS = tuple(f"{end}{contact}" for end in "AB" for contact in range(1, 9))


def parse_terminators(text: str, names: Sequence[str]) -> dict[str, str]:
    """Return which terminator sits on which balanced port (``A:36=T1,B:12=none``).

    Raises
    ------
    ImpossibleConnection
        Bad words, no such port or terminator, or a port named twice.
    """
    found: dict[str, str] = {}
    for balanced, name in split_entries(text):
        if not is_balanced_port(balanced):
            raise ImpossibleConnection(f"{balanced[:40]}: no such balanced port")
        if name not in (*names, MISSING):
            raise ImpossibleConnection(f"{name[:40]}: no such terminator")
        if balanced in found:
            raise ImpossibleConnection(f"{balanced} named twice")
        found[balanced] = name
    return dict(sorted(found.items()))


def format_terminators(found: Mapping[str, str]) -> str:
    """Return `found` in the form that `parse_terminators` reads."""
    return ",".join(f"{balanced}={name}" for balanced, name in sorted(found.items()))


class Loads:
    """All terminations as they really are.

    Parameters
    ----------
    default
        What a leg sits on when nothing else is said.
    terminators
        What else there is.
    seed
        Draws the deviation of each leg; None: all are as defined. It belongs to the place, whatever is
        put there. Every leg of every cable of a bundle has a termination of its own.
    """

    def __init__(self, default: Terminations, terminators: Sequence[Terminator], seed: int | None) -> None:
        self._default = default
        self._named = {one.name: one for one in terminators}
        self._seed = seed
        self._off: dict[str, tuple[float, float]] = {}

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the terminators."""
        return tuple(self._named)

    def reflection(self, conductors: Sequence[str], placed: Mapping[str, str], omega: Real) -> Complex:
        """Return what the `conductors` end in.

        Parameters
        ----------
        placed
            Terminators by balanced port. One of whose legs is not among `conductors` is not there.

        Returns
        -------
        ``(n_freq, n)`` when no two legs are coupled, else ``(n_freq, n, n)``.
        """
        self_admittance = np.empty((omega.size, len(conductors)), dtype=np.complex128)
        for place, name in enumerate(conductors):
            self_admittance[:, place] = self._leg(name, omega)
        coupled: list[tuple[int, int, float]] = []
        open_ends: list[int] = []
        for balanced, name in placed.items():
            legs = legs_of(balanced)
            if not set(legs) <= set(conductors):
                continue
            places = [conductors.index(leg) for leg in legs]
            if name == MISSING:
                open_ends += places
                continue
            terminator = self._named[name]
            for side, place in enumerate(places):
                self_admittance[:, place] = self._admittance(
                    terminator.resistance_ohm[side], terminator.capacitance_f[side], legs[side], omega
                )
            if terminator.coupling_ohm is not None:
                coupled.append((places[0], places[1], 1.0 / terminator.coupling_ohm))
        self_admittance[:, open_ends] = 0.0
        y = REFERENCE_OHM * self_admittance
        alone = np.asarray((1.0 - y) / (1.0 + y))
        if not coupled:
            return alone
        gamma = np.zeros((omega.size, len(conductors), len(conductors)), dtype=np.complex128)
        gamma[:, range(len(conductors)), range(len(conductors))] = alone
        for first, second, siemens in coupled:
            both = np.array([first, second])
            block = siemens * np.array([[1.0, -1.0], [-1.0, 1.0]]) + np.einsum(
                "fi,ij->fij", self_admittance[:, both], np.eye(2)
            )
            gamma[:, both[:, None], both] = of_admittance(block, (0, 1))
        return gamma

    def _deviation(self, conductor: str) -> tuple[float, float]:
        """Return by how many ohm and farad the termination of a leg deviates."""
        if conductor not in self._off:
            cable = cable_of(conductor)
            draws = np.zeros((len(_CONDUCTORS), 2))
            if self._seed is not None:
                # A cable alone and the disturbed cable of a bundle have the same terminations.
                stream = (self._seed, _STREAM, cable) if cable else (self._seed, _STREAM)
                draws = np.random.default_rng(stream).standard_normal(draws.shape)
            spread = self._default.spread
            for name, (ohm, farad) in zip(_CONDUCTORS, draws.tolist(), strict=True):
                own = f"{cable}.{name}" if cable else name
                self._off[own] = ohm * spread.resistance_ohm, farad * spread.capacitance_f
        return self._off[conductor]

    def _leg(self, conductor: str, omega: Real) -> Complex:
        return self._admittance(self._default.resistance_ohm, self._default.capacitance_f, conductor, omega)

    def _admittance(self, ohm: float, farad: float, conductor: str, omega: Real) -> Complex:
        off_ohm, off_farad = self._deviation(conductor)
        return np.asarray(1.0 / (ohm + off_ohm) + 1j * omega * max(farad + off_farad, 0.0))


def terminated(s: Complex, names: Sequence[str], kept: Sequence[str], reflection: Complex) -> Complex:
    """Return `s` of the `kept` conductors, all others ending in `reflection` (in their order in `names`).

    ``S_aa + S_ab R (I - S_bb R)^-1 S_ba``.

    Parameters
    ----------
    reflection
        ``(n_freq, n_others)`` or ``(n_freq, n_others, n_others)``.
    """
    a = np.array([names.index(name) for name in kept])
    b = np.array([i for i, name in enumerate(names) if name not in kept], dtype=np.intp)
    inner = s[:, a[:, None], a]
    if b.size == 0:
        return inner
    if reflection.ndim == 2:
        loop, out = s[:, b[:, None], b] * reflection[:, None, :], s[:, a[:, None], b] * reflection[:, None, :]
    else:
        loop, out = s[:, b[:, None], b] @ reflection, s[:, a[:, None], b] @ reflection
    into = np.linalg.solve(np.eye(b.size) - loop, s[:, b[:, None], a])
    return np.asarray(inner + out @ into)
