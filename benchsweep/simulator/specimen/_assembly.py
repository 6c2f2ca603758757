"""From the description of a specimen to its parts in order, and to its scattering matrix."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.specimen._cable_types import CableType, load_cable_type
from benchsweep.simulator.specimen._conditions import (
    Condition,
    Crush,
    Kink,
    Part,
    PlugOutOfWindow,
    SplitPair,
    WetSection,
)
from benchsweep.simulator.specimen._description import SpecimenDescription
from benchsweep.simulator.specimen._modes import PAIRS, Propagation
from benchsweep.simulator.specimen._network import Network, cascade
from benchsweep.simulator.specimen._parts import Mated, draw_mated
from benchsweep.simulator.specimen._profiles import Profile, draw_profile, draw_propagation
from benchsweep.simulator.specimen._sections import Cable, section_bounds

__all__ = ["Assembly", "assemble", "propagation_of"]

_PIECE, _CONNECTION = 10, 20  # names of the random streams of pieces and connections
_BLOCK = 256  # frequencies at a time: keeps the working set of a long cable in the cache


class _Element(Protocol):
    def network(self, frequency_hz: NDArray[np.float64]) -> Network: ...


@dataclass(frozen=True)
class Assembly:
    """The parts of a specimen from end A to end B."""

    elements: tuple[_Element, ...]

    def scatter(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return ``(n_freq, 16, 16)`` at 50 ohm, conductors 1..8 of end A, then of end B."""
        matrix = np.empty((len(frequency_hz), 16, 16), dtype=np.complex128)
        for start in range(0, len(frequency_hz), _BLOCK):
            block = slice(start, start + _BLOCK)
            matrix[block] = cascade(part.network(frequency_hz[block]) for part in self.elements).matrix()
        return matrix


@dataclass
class _Run:
    """One piece of cable while conditions are worked into it."""

    propagation: Propagation
    profile: Profile
    cuts: set[int] = field(default_factory=set)
    inserts: dict[int, list[Part]] = field(default_factory=dict)
    wet: list[tuple[int, int, WetSection]] = field(default_factory=list)

    @property
    def cells(self) -> int:
        return len(self.profile.backward)

    def cell(self, position_m: float) -> int:
        """Return the cell border nearest to a position in this piece."""
        return min(max(round(position_m / self.profile.cell_m), 0), self.cells)

    def stretch(self, position_m: float, length_m: float) -> tuple[int, int]:
        """Return first and last cell border of a stretch of at least one cell, and cut there."""
        first = min(self.cell(position_m), self.cells - 1)
        last = max(self.cell(position_m + length_m), first + 1)
        self.cuts |= {first, last}
        return first, last

    def crush(self, position_m: float, condition: Crush) -> None:
        first, last = self.stretch(position_m, condition.length_m)
        backward = self.profile.backward.copy()
        backward[first:last, range(4), range(4)] -= condition.impedance_drop
        self.profile = replace(self.profile, backward=backward)

    def kink(self, position_m: float, condition: Kink) -> None:
        first, last = self.stretch(position_m, 0.0)
        p = list(PAIRS).index(condition.pair)
        backward, forward = self.profile.backward.copy(), self.profile.forward.copy()
        backward[first:last, p, p] -= condition.impedance_drop
        for coupling in (backward, forward):
            coupling[first:last, [p, 4 + p], [4 + p, p]] += condition.unbalance
        self.profile = Profile(self.profile.cell_m, backward, forward)

    def insert(self, position_m: float, parts: Sequence[Part]) -> None:
        self.inserts.setdefault(self.cell(position_m), []).extend(parts)

    def elements(self) -> list[_Element]:
        """Return the piece cut where something is put in or the construction changes."""
        borders = {0, self.cells, *self.inserts}
        for first, last, _ in self.wet:
            borders |= {first, last}
        bounds = section_bounds(self.cells, self.profile.cell_m, sorted(self.cuts | borders))
        ordered = sorted(borders)
        result: list[_Element] = []
        for first, last in zip(ordered, [*ordered[1:], self.cells], strict=True):
            result.extend(self.inserts.get(first, []))
            inner = tuple(bound for bound in bounds if first <= bound <= last)
            if len(inner) > 1:
                result.append(Cable(self._propagation(first), self.profile, inner))
        return result

    def _propagation(self, cell: int) -> Propagation:
        propagation = self.propagation
        for first, last, wet in self.wet:
            if first <= cell < last:
                propagation = propagation.wet(wet.permittivity_ratio, wet.loss_tangent)
        return propagation


def assemble(description: SpecimenDescription, seed: int) -> Assembly:
    """Build the specimen. The same seed gives the same cable and plugs with and without conditions."""
    cable = _construction(description)
    runs = _draw_runs(description, cable, seed)
    at_a: list[Part] = []
    at_b: list[Part] = []
    for condition in description.condition:
        _work_in(condition, description, runs, (at_a, at_b))
    joints = _connections(description, seed)
    elements: list[_Element] = []
    if description.ends_connected:
        elements.append(joints.pop(0))
    elements.extend(at_a)
    for number, run in enumerate(runs):
        elements.extend(run.elements())
        if number < len(runs) - 1:
            elements.append(joints.pop(0))
    # Conditions are listed from the plug inwards at either end, and every part but a permutation is
    # symmetric.
    elements.extend(reversed(at_b))
    elements.extend(joints)
    return Assembly(tuple(elements))


def propagation_of(description: SpecimenDescription, seed: int) -> Propagation:
    """Return the constants of the first piece of a specimen, as `assemble` draws them."""
    cable = _construction(description)
    return draw_propagation(cable, stranded=description.pieces[0].stranded, seed=(seed, _PIECE, 0))


def _construction(description: SpecimenDescription) -> CableType:
    """Return the construction of the category with what the description shifts of it."""
    cable = load_cable_type(description.category)
    if description.loss_percent == description.impedance_shift_ohm == description.skew_percent == 0.0:
        return cable
    return cable.model_copy(
        update={
            "conductor_loss_db": cable.conductor_loss_db * (1.0 + description.loss_percent / 100.0),
            "impedance_ohm": cable.impedance_ohm + description.impedance_shift_ohm,
            # What a lay lengthens a pair by grows with the square of the spacing, as nearly as matters.
            "conductor_spacing_mm": cable.conductor_spacing_mm
            * math.sqrt(1.0 + description.skew_percent / 100.0),
        }
    )


def _draw_runs(description: SpecimenDescription, cable: CableType, seed: int) -> list[_Run]:
    runs = []
    for number, piece in enumerate(description.pieces):
        stream = (seed, _PIECE, number)
        profile = draw_profile(
            cable,
            piece.length_m,
            stranded=piece.stranded,
            quality_db=description.quality_db,
            seed=stream,
        )
        runs.append(_Run(draw_propagation(cable, stranded=piece.stranded, seed=stream), profile))
    return runs


def _connections(description: SpecimenDescription, seed: int) -> list[Mated]:
    """Return the mated connections from end A to end B, plugs on the side where the cord is."""
    pieces = description.pieces
    # A cord brings its own plugs; a link ends in jacks, and the plugs are those of the test cords.
    plug_at_right = [right.stranded and not left.stranded for left, right in pairwise(pieces)]
    if description.ends_connected:
        cord = description.kind == "cord"
        plug_at_right = [cord, *plug_at_right, not cord]
    scale = [1.0] * len(plug_at_right)
    for condition in description.condition:
        if isinstance(condition, PlugOutOfWindow):
            scale[0 if condition.position == "near plug" else -1] *= condition.scale
    return [
        draw_mated((seed, _CONNECTION, number), plug_scale=one, plug_at_right=at_right)
        for number, (one, at_right) in enumerate(zip(scale, plug_at_right, strict=True))
    ]


def _work_in(
    condition: Condition,
    description: SpecimenDescription,
    runs: Sequence[_Run],
    ends: tuple[list[Part], list[Part]],
) -> None:
    """Put a condition where it belongs: into the cells, at a place along the cable, or at an end."""
    if isinstance(condition, PlugOutOfWindow):
        return
    if isinstance(condition, SplitPair):
        for end in ends:
            end.extend(condition.parts())
        return
    if condition.position == "near plug":
        ends[0].extend(condition.parts())
        return
    if condition.position == "far plug":
        ends[1].extend(condition.parts())
        return
    if isinstance(condition, WetSection):
        _wet(condition, description, runs)
        return
    run, local_m = _locate(condition.position, description, runs)
    if isinstance(condition, Crush):
        run.crush(local_m, condition)
    elif isinstance(condition, Kink):
        run.kink(local_m, condition)
    else:
        run.insert(local_m, condition.parts())


def _locate(position_m: float, description: SpecimenDescription, runs: Sequence[_Run]) -> tuple[_Run, float]:
    """Return the piece that holds a position counted from end A, and the position in it."""
    start = 0.0
    for run, piece in zip(runs[:-1], description.pieces[:-1], strict=True):
        if position_m < start + piece.length_m:
            return run, position_m - start
        start += piece.length_m
    return runs[-1], position_m - start


def _wet(condition: WetSection, description: SpecimenDescription, runs: Sequence[_Run]) -> None:
    """Wet every piece that the stretch touches."""
    start = 0.0
    for run, piece in zip(runs, description.pieces, strict=True):
        first = max(condition.position, start)
        last = min(condition.position + condition.length_m, start + piece.length_m)
        if last > first:
            run.wet.append((*run.stretch(first - start, last - first), condition))
        start += piece.length_m
