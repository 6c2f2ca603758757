"""What chance makes of a piece of cable: its constants and its coupling along the length, from a seed.

Coupling is described on cells of 50 mm, which is an eighth of a wavelength at 500 MHz. The twist itself is
not resolved: its harmonics couple far above the band; what counts is the random residue it leaves. The
cells depend on the length and the seed and never on the frequency grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._cable_types import CableType
from benchsweep.simulator.specimen._modes import Propagation

__all__ = ["CELL_M", "Profile", "draw_profile", "draw_propagation"]

CELL_M = 0.05
_CONSTANTS, _COUPLING = 1, 2  # names of the random streams of a piece


@dataclass(frozen=True)
class Profile:
    """Coupling along a piece, in the basis (d12 d36 d45 d78 c12 c36 c45 c78).

    Attributes
    ----------
    cell_m
        Length of a cell.
    backward, forward
        ``(n_cells, 8, 8)`` symmetric, dimensionless: coupling into waves that run back (near-end crosstalk,
        return loss) and into waves that run on (far-end crosstalk). The diagonal of `backward` is the
        relative deviation of impedance.
    """

    cell_m: float
    backward: NDArray[np.float64]
    forward: NDArray[np.float64]


def draw_propagation(cable: CableType, *, stranded: bool, seed: tuple[int, ...]) -> Propagation:
    """Return the propagation constants of a piece of `cable`."""
    rng = np.random.default_rng([*seed, _CONSTANTS])
    kind = cable.stranded
    spread = kind.impedance_spread_ohm if stranded else cable.impedance_spread_ohm
    factor = kind.conductor_loss_factor if stranded else 1.0
    resistance = kind.resistance_ohm_per_m if stranded else cable.resistance_ohm_per_m
    lay = np.asarray(cable.lay_mm)
    helix = np.sqrt(1.0 + (math.pi * cable.conductor_spacing_mm / lay) ** 2)
    common = (cable.together, *[cable.pair_against_pair] * 3)
    impedance = np.concatenate(
        [
            0.5 * (cable.impedance_ohm + spread * rng.standard_normal(4)),
            [mode.impedance_ohm for mode in common],
        ]
    )
    loss = np.array([cable.conductor_loss_db] * 4 + [mode.conductor_loss_db for mode in common]) * factor
    neper_per_m = loss * math.log(10.0) / 20.0 / 100.0
    delay = np.concatenate([cable.delay_ns_per_m * helix, [mode.delay_ns_per_m for mode in common]])
    return Propagation(
        impedance_ohm=impedance,
        delay_s_per_m=delay * 1e-9,
        resistance_dc_ohm_per_m=np.full(8, resistance),
        resistance_skin_ohm_per_m=2.0 * impedance * neper_per_m,
        loss_tangent=np.array([cable.loss_tangent] * 4 + [cable.common_loss_tangent] * 4),
    )


def _densities(cable: CableType, differential: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return the spectral density of each coupling off the diagonal, ``(8, 8)``, upper triangle filled."""
    density = np.zeros((8, 8))
    density[:4, :4] = differential
    density[:4, 4:] = cable.other_pair_unbalance_density_m
    density[range(4), range(4, 8)] = cable.own_pair_unbalance_density_m
    density[4:, 4:] = cable.common_mode_density_m
    spread = rng.normal(0.0, cable.combination_spread_db, (8, 8))
    return np.triu(density * 10.0 ** (spread / 10.0), k=1)


def _roughness(
    cable: CableType, density_m: float, cells: int, cell_m: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return the relative impedance deviation of the four pairs, ``(n_cells, 4)``.

    Slow variation (Ornstein-Uhlenbeck), white variation and a periodic part that wanders in phase and makes
    the structural return loss peak at ``v / (2 period)``.
    """
    correlation = cable.roughness_correlation_m
    memory = math.exp(-cell_m / correlation)
    deviation = math.sqrt(density_m / (2.0 * correlation))
    kicks = rng.standard_normal((cells, 4)) * deviation
    slow = np.empty((cells, 4))
    slow[0] = kicks[0]
    for n in range(1, cells):
        slow[n] = memory * slow[n - 1] + math.sqrt(1.0 - memory**2) * kicks[n]
    white = rng.standard_normal((cells, 4)) * math.sqrt(cable.roughness_white_density_m / cell_m)
    period = rng.uniform(*cable.periodic_length_m, 4)
    steps = rng.standard_normal((cells, 4)) * math.sqrt(cell_m / cable.periodic_walk_m)
    phase = rng.uniform(0.0, 2.0 * math.pi, 4) + np.cumsum(steps, axis=0)
    x = (np.arange(cells) + 0.5)[:, None] * cell_m
    return slow + white + cable.periodic_amplitude * np.cos(2.0 * math.pi * x / period + phase)


def _symmetric(
    density: NDArray[np.float64], cells: int, cell_m: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    drawn = rng.standard_normal((cells, 8, 8)) * np.sqrt(density / cell_m)
    return drawn + drawn.swapaxes(1, 2)


def draw_profile(
    cable: CableType, length_m: float, *, stranded: bool, quality_db: float, seed: tuple[int, ...]
) -> Profile:
    """Return the coupling along `length_m` of `cable`; `quality_db` lowers all of it by so many decibels."""
    rng = np.random.default_rng([*seed, _COUPLING])
    cells = max(1, round(length_m / CELL_M))
    cell_m = length_m / cells
    density_b = _densities(cable, cable.next_density_m, rng)
    density_f = _densities(cable, cable.fext_density_m, rng)
    backward = _symmetric(density_b, cells, cell_m, rng)
    forward = _symmetric(density_f, cells, cell_m, rng)
    roughness = cable.stranded.roughness_density_m if stranded else cable.roughness_density_m
    backward[:, range(4), range(4)] = _roughness(cable, roughness, cells, cell_m, rng)
    scale = 10.0 ** (-quality_db / 20.0)
    return Profile(cell_m, backward * scale, forward * scale)
