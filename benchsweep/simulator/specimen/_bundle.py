"""A bundle: one disturbed cable in the middle, others beside it that disturb it.

Every cable of the bundle is one of its own, drawn from the same construction; the disturbed one is the cable
that a specimen of kind ``cable`` with the same seed is. Cables that disturb are coupled to the disturbed one,
not to each other: what they couple among themselves reaches it in second order only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._alien import AlienCoupling, draw_alien
from benchsweep.simulator.specimen._assembly import Assembly, assemble, propagation_of
from benchsweep.simulator.specimen._cable_types import load_cable_type
from benchsweep.simulator.specimen._description import SpecimenDescription
from benchsweep.simulator.specimen._modes import Propagation

__all__ = ["BundledCable", "cable_of", "side_by_side"]

_ALIEN = 30  # name of the random streams of the coupling between cables

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class BundledCable:
    """One cable of a bundle.

    Attributes
    ----------
    assembly
        The cable by itself.
    propagation
        Constants of its modes.
    coupling
        To the disturbed cable; None for that cable.
    """

    assembly: Assembly
    propagation: Propagation
    coupling: AlienCoupling | None


def cable_of(description: SpecimenDescription, seed: int, number: int) -> BundledCable:
    """Return the cable of that number; 0 is the disturbed one."""
    if number == 0:
        return BundledCable(assemble(description, seed), propagation_of(description, seed), None)
    # Conditions are those of the disturbed cable.
    sound = description.model_copy(update={"condition": ()})
    own = int(np.random.SeedSequence((seed, _ALIEN, number)).generate_state(1)[0])
    closer_db = sum(one.closer_db for one in description.neighbour if one.cable == number)
    coupling = draw_alien(
        load_cable_type(description.category).alien,
        description.total_length_m,
        closer_db=closer_db - description.separation_db,
        seed=(seed, _ALIEN, number, 1),
    )
    return BundledCable(assemble(sound, own), propagation_of(sound, own), coupling)


def side_by_side(
    frequency_hz: NDArray[np.float64],
    numbers: Sequence[int],
    cables: Sequence[BundledCable],
    own: Sequence[Complex],
) -> Complex:
    """Return the matrix of some cables of a bundle, ``(n_freq, 16 n, 16 n)``, in the order of `numbers`.

    Parameters
    ----------
    numbers, cables, own
        Number, cable and its matrix ``(n_freq, 16, 16)`` by itself.
    """
    size = 16
    s = np.zeros((len(frequency_hz), size * len(cables), size * len(cables)), dtype=np.complex128)
    places = {number: slice(size * at, size * (at + 1)) for at, number in enumerate(numbers)}
    for number, matrix in zip(numbers, own, strict=True):
        s[:, places[number], places[number]] = matrix
    if 0 not in places:
        return s
    disturbed = cables[list(numbers).index(0)]
    for number, cable in zip(numbers, cables, strict=True):
        if cable.coupling is not None:
            alien = cable.coupling.scatter(frequency_hz, disturbed.propagation, cable.propagation)
            s[:, places[0], places[number]] = alien
            s[:, places[number], places[0]] = alien.swapaxes(1, 2)
    return s
