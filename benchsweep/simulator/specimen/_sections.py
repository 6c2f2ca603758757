"""A piece of cable as a cascade of short sections, each exactly unitary, with the loss at their ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._modes import MODE_TRANSFORM, PAIR_TO_MODE, Propagation
from benchsweep.simulator.specimen._network import (
    Network,
    cascade,
    change_reference,
    congruence,
    from_matrix,
    line,
    unitary,
)
from benchsweep.simulator.specimen._profiles import Profile

__all__ = ["REFERENCE_OHM", "Cable", "section_bounds"]

REFERENCE_OHM = 50.0
_SECTION_M = (1.0, 6.25)  # shortest for cords, longest for reels
_SECTIONS = 16

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


def section_bounds(cells: int, cell_m: float, cuts: Sequence[int] = ()) -> tuple[int, ...]:
    """Return the cell numbers at which sections begin and end, with the cells of `cuts` among them.

    Sections depend on the length of the piece only, so that results do not depend on the frequency grid.
    """
    length_m = cells * cell_m
    section_m = min(max(length_m / _SECTIONS, _SECTION_M[0]), _SECTION_M[1])
    count = max(1, round(length_m / section_m))
    even = {round(k * cells / count) for k in range(count + 1)}
    return tuple(sorted(even | {cut for cut in cuts if 0 < cut < cells}))


@dataclass(frozen=True)
class Cable:
    """A run of cable between two cells of a profile, ready to be evaluated.

    Attributes
    ----------
    propagation
        Constants of the modes.
    profile
        Coupling of the whole piece.
    bounds
        Cell numbers between which the sections of this run lie.
    """

    propagation: Propagation
    profile: Profile
    bounds: tuple[int, ...]

    def network(self, frequency_hz: Real) -> Network:
        """Return the run between its conductors, 50 ohm each."""
        gamma, impedance = self.propagation.line_constants(frequency_hz)
        backward, forward = self._couplings(frequency_hz, gamma.imag)
        sizes = np.diff(self.bounds)
        # Loss and mean phase of a section; the loss is lumped at its two ends.
        ends = {int(n): np.exp(-0.5 * gamma * n * self.profile.cell_m) for n in set(sizes.tolist())}
        total = cascade(
            line(
                unitary(_matrix(backward, section), _matrix(forward, section)),
                ends[int(size)],
                ends[int(size)],
            )
            for section, size in enumerate(sizes)
        )
        both = np.concatenate([impedance, impedance], axis=1)
        at_reference = from_matrix(change_reference(total.matrix(), both, REFERENCE_OHM))
        return congruence(at_reference, MODE_TRANSFORM)

    def _couplings(self, frequency_hz: Real, beta: Real) -> tuple[Complex, Complex]:
        """Return the first-order coupling integrals of every section, each ``(8, 8, n_sections, n_freq)``."""
        rotation = PAIR_TO_MODE
        backward = rotation @ self.profile.backward[self.bounds[0] : self.bounds[-1]] @ rotation.T
        forward = rotation @ self.profile.forward[self.bounds[0] : self.bounds[-1]] @ rotation.T
        starts = np.asarray(self.bounds[:-1]) - self.bounds[0]
        sizes = np.diff(self.bounds)
        shape = (8, 8, len(sizes), len(frequency_hz))
        result = np.zeros(shape, dtype=np.complex128), np.zeros(shape, dtype=np.complex128)
        for size in sorted(set(sizes.tolist())):
            which = np.flatnonzero(sizes == size)
            cells = starts[which][:, None] + np.arange(size)
            self._integrate(backward[cells], forward[cells], frequency_hz, beta, (which, *result))
        return result

    def _integrate(
        self,
        backward: Real,
        forward: Real,
        frequency_hz: Real,
        beta: Real,
        into: tuple[NDArray[np.intp], Complex, Complex],
    ) -> None:
        """Integrate the couplings ``(n_sections, n_cells, 8, 8)`` of sections of equal length.

        The phase factors are the same for all sections, so each mode pair costs one real matrix product.
        """
        which, total_b, total_f = into
        cells = backward.shape[1]
        x = (np.arange(cells) - 0.5 * (cells - 1)) * self.profile.cell_m
        phase = np.exp(-1j * beta.T[:, None, :] * x[:, None])
        delay = self.propagation.delay_s_per_m
        omega_d = 2.0 * math.pi * frequency_hz * self.profile.cell_m
        for i in range(8):
            for j in range(i, 8):
                weight = math.sqrt(delay[i] * delay[j]) * omega_d
                total_b[i, j, which] = weight * _product(backward[:, :, i, j], phase[i] * phase[j])
                total_b[j, i, which] = total_b[i, j, which]
                if i != j:
                    crossing = _product(forward[:, :, i, j], phase[i].conj() * phase[j])
                    total_f[i, j, which] = weight * crossing
                    total_f[j, i, which] = total_f[i, j, which].conj()


def _product(real: Real, factors: Complex) -> Complex:
    """Return ``real @ factors`` through one real matrix product."""
    flat = np.ascontiguousarray(factors).view(np.float64)
    return np.ascontiguousarray(np.ascontiguousarray(real) @ flat).view(np.complex128)


def _matrix(couplings: Complex, section: int) -> Complex:
    return np.ascontiguousarray(couplings[:, :, section].transpose(2, 0, 1))
