"""Alien crosstalk: weak coupling, along their common run, between the pairs of one cable and of another.

The coupled-wave equations of the pairs inside a cable (`_sections`) hold between pairs of different cables
as well, with waves a (running on) and b (running back) normalised to the pairs' own impedances and real
coupling coefficients κB (into waves that run back) and κF (into waves that run on), without dimension::

    da_i/dx = -γ_i a_i + jω √(τ_i τ_j) (κB b_j - κF a_j)
    db_i/dx = +γ_i b_i - jω √(τ_i τ_j) (κB a_j - κF b_j)

with i a pair of one cable, j one of the other. To first order in κ the waves of j on the right are those of
an undisturbed, matched line, which leaves integrals over the length L::

    near end, A to A:  +jω √(τ_i τ_j) ∫ κB(x) exp(-(γ_i + γ_j) x) dx          (B to B: x -> L - x)
    far end,  A to B:  -jω √(τ_i τ_j) ∫ κF(x) exp(-γ_j x - γ_i (L - x)) dx    (B to A: x -> L - x)

(first index where the wave comes out, second where it goes in). κ between cables is smaller by some 20 dB
than inside one, so what is neglected is smaller still: coupling by way of a third pair or cable, and the
reflections at the ends, which change a coupled wave by one part in a hundred. Each cable by itself is not
changed. The result is reciprocal exactly, and passive up to the square of the coupling.

With κ white along the cable, of two-sided spectral density S (in m), the mean powers are

    |ANEXT|² = (ωτ)² S_B (1 - exp(-4αL)) / 4α     about 15 dB a decade where the cable is long
    |AFEXT|² over the insertion loss = (ωτ)² S_F L    20 dB a decade, and 10 lg of the length

(same laws as inside a cable: Cravis and Crater, Bell Syst. Tech. J. 42, 1963, from memory.) Common modes
are left out: what they couple from cable to cable is not modelled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._cable_types import Alien
from benchsweep.simulator.specimen._modes import MODE_TRANSFORM, Propagation
from benchsweep.simulator.specimen._profiles import CELL_M

__all__ = ["AlienCoupling", "draw_alien"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_PAIRS = 4


@dataclass(frozen=True)
class AlienCoupling:
    """Coupling between two cables side by side.

    Attributes
    ----------
    cell_m
        Length of a cell.
    backward, forward
        ``(n_cells, 4, 4)`` dimensionless: pair of the one cable, pair of the other.
    """

    cell_m: float
    backward: Real
    forward: Real

    def scatter(self, frequency_hz: Real, one: Propagation, other: Propagation) -> Complex:
        """Return the waves out of the conductors of the one cable over those into the other's.

        Parameters
        ----------
        frequency_hz
            ``(n_freq,)``.
        one, other
            Constants of the two cables.

        Returns
        -------
        ``(n_freq, 16, 16)``, rows and columns: conductors 1..8 at A, then at B. The transpose is what comes
        out of the other cable.
        """
        differential = MODE_TRANSFORM[:_PAIRS]
        ends = np.kron(np.eye(2), differential)
        return np.asarray(ends.T @ self._between_pairs(frequency_hz, one, other) @ ends)

    def _between_pairs(self, frequency_hz: Real, one: Propagation, other: Propagation) -> Complex:
        """Return ``(n_freq, 8, 8)`` between the pairs at A, then at B."""
        out = np.empty((len(frequency_hz), 2, _PAIRS, 2, _PAIRS), dtype=np.complex128)
        omega_d = 2j * math.pi * frequency_hz * self.cell_m
        gammas = [cable.line_constants(frequency_hz)[0][:, :_PAIRS].T for cable in (one, other)]
        for i, here in enumerate(gammas[0]):
            for j, there in enumerate(gammas[1]):
                weight = omega_d * math.sqrt(one.delay_s_per_m[i] * other.delay_s_per_m[j])
                near = weight * self._integrals(self.backward[:, i, j], here + there)
                # On the way from A: in the other cable to the place of coupling, in the one cable from there.
                on_the_way = np.exp(-here * self.cell_m * len(self.forward))
                far = -weight * on_the_way * self._integrals(self.forward[:, i, j], there - here)
                out[:, 0, i, 0, j], out[:, 1, i, 1, j] = near
                out[:, 1, i, 0, j], out[:, 0, i, 1, j] = far
        return out.reshape(len(frequency_hz), 2 * _PAIRS, 2 * _PAIRS)

    def _integrals(self, coupling: Real, gamma: Complex) -> Complex:
        """Return the sums of ``coupling exp(-gamma x)`` with x from A and with x from B, ``(2, n_freq)``.

        Cells are taken in stretches: within one the factors are the same for all, so that a real matrix
        product does most of the work.
        """
        size = math.isqrt(len(coupling))
        stretches = -(-len(coupling) // size)
        cells = np.zeros((2, stretches * size))
        # Seen from end B the cells come in reverse order.
        cells[0, : len(coupling)], cells[1, : len(coupling)] = coupling, coupling[::-1]
        inside = np.exp(-gamma * (np.arange(size)[:, None] + 0.5) * self.cell_m)
        starts = np.exp(-gamma * np.arange(stretches)[:, None] * (size * self.cell_m))
        sums = (cells.reshape(-1, size) @ inside.view(np.float64)).view(np.complex128)
        return np.asarray(np.sum(sums.reshape(2, stretches, -1) * starts, axis=1))


def draw_alien(alien: Alien, length_m: float, *, closer_db: float, seed: tuple[int, ...]) -> AlienCoupling:
    """Return the coupling that chance makes between two cables along `length_m`.

    Parameters
    ----------
    alien
        Densities of the construction.
    closer_db
        By how many decibels the coupling is stronger than usual; negative: weaker.
    seed
        Of the draws; the frequency grid has no part in them.
    """
    rng = np.random.default_rng(seed)
    cells = max(1, round(length_m / CELL_M))
    cell_m = length_m / cells

    def drawn(density_m: float) -> Real:
        spread_db = rng.normal(0.0, alien.combination_spread_db, (_PAIRS, _PAIRS))
        deviation = np.sqrt(density_m / cell_m * 10.0 ** ((spread_db + closer_db) / 10.0))
        return np.asarray(rng.standard_normal((cells, _PAIRS, _PAIRS)) * deviation)

    return AlienCoupling(cell_m, drawn(alien.near_density_m), drawn(alien.far_density_m))
