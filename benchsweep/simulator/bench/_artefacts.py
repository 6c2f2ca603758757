"""Check standards of a verification as they really are: small networks of resistors, capacitors and lines.

``artefacts.toml`` defines them; their matrices come from the laws of circuits, node by node.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, field_validator, model_validator

from benchsweep.definitions import Definition, load_model
from benchsweep.simulator.bench._connections import ImpossibleConnection, parse_target
from benchsweep.simulator.bench._networks import of_admittance, root_loss

__all__ = ["Artefact", "ArtefactFile", "artefact_file", "true_artefacts"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_GROUND = "ground"
_STREAM = 13


class _Resistor(Definition):
    """A resistor between two legs, or a leg and ``ground``."""

    between: tuple[str, str]
    ohm: float = Field(gt=0)
    # Relative; every value within it is as likely as any other.
    tolerance: float = Field(default=1e-3, ge=0, lt=0.5)


class _Line(Definition):
    """A uniform line between two nodes; one that ends at ``ground`` is shorted there."""

    between: tuple[str, str]
    impedance_ohm: float = Field(gt=0)
    delay_s: float = Field(gt=0)
    loss_db_at_500_mhz: float = Field(default=0.0, ge=0)


class _ArtefactDefinition(Definition):
    """One check standard. Nodes that are no legs are inside."""

    name: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    description: str
    legs: tuple[str, ...] = Field(min_length=1)
    inside: tuple[str, ...] = ()
    resistor: tuple[_Resistor, ...] = ()
    line: tuple[_Line, ...] = ()

    @field_validator("legs")
    @classmethod
    def _are_legs(cls, legs: tuple[str, ...]) -> tuple[str, ...]:
        for leg in legs:
            try:
                good = parse_target(leg).kind == "leg"
            except ImpossibleConnection:
                good = False
            if not good:
                raise ValueError(f"{leg}: not a leg")
        return legs

    @model_validator(mode="after")
    def _known_nodes(self) -> _ArtefactDefinition:
        known = {*self.legs, *self.inside, _GROUND}
        pairs = [one.between for one in self.resistor] + [one.between for one in self.line]
        for between in pairs:
            if not set(between) <= known or between[0] == between[1]:
                raise ValueError(f"between = {list(between)}: two of the legs, `inside` or ground")
        return self


class _ArtefactSpread(Definition):
    """By how much the real ones deviate beside the tolerances of resistors, one standard deviation."""

    # From each leg to ground; only ever more than nothing, so this is its root mean square.
    stray_capacitance_f: float = Field(ge=0)
    line_impedance_ohm: float = Field(ge=0)
    line_delay_s: float = Field(ge=0)


class ArtefactFile(Definition):
    """The file of all check standards."""

    schema_version: Literal[1] = Field(alias="schema")
    source: str
    standing: Literal["published", "common-practice", "from-memory"]
    spread: _ArtefactSpread
    artefact: tuple[_ArtefactDefinition, ...]


@dataclass(frozen=True)
class Artefact:
    """One check standard, as it is.

    Parameters
    ----------
    legs
        ``A1`` … ``B8`` in the order of the matrix.
    definition
        With its true values.
    stray_f
        Capacitance from each leg to ground.
    """

    legs: tuple[str, ...]
    definition: _ArtefactDefinition
    stray_f: tuple[float, ...]

    def scatter(self, omega: Real) -> Complex:
        """Return ``(n_freq, legs, legs)``, 50 ohm at each leg."""
        names = (*self.definition.legs, *self.definition.inside)
        lines = self.definition.line
        # Unknowns: the voltages of the nodes, then the currents into both ends of each line. A line that has
        # no admittance, being half a wave long without loss, so needs none.
        size = len(names) + 2 * len(lines)
        y = np.zeros((omega.size, size, size), dtype=np.complex128)

        def places(between: Sequence[str]) -> list[tuple[int, int]]:
            return [(side, names.index(node)) for side, node in enumerate(between) if node != _GROUND]

        for resistor in self.definition.resistor:
            for side, row in places(resistor.between):
                for other, column in places(resistor.between):
                    y[:, row, column] += (1.0 if side == other else -1.0) / resistor.ohm
        for number, line in enumerate(lines):
            current = len(names) + 2 * number
            gamma_l = root_loss(omega, line.loss_db_at_500_mhz) + 1j * omega * line.delay_s
            # v1 = cosh v2 - Z sinh i2, and the same from the other side.
            for side in (0, 1):
                y[:, current + side, current + 1 - side] += line.impedance_ohm * np.sinh(gamma_l)
            for side, place in places(line.between):
                y[:, place, current + side] += 1.0
                y[:, current + side, place] += 1.0
                y[:, current + 1 - side, place] -= np.cosh(gamma_l)
        for place, farad in enumerate(self.stray_f):
            y[:, place, place] += 1j * omega * farad
        return of_admittance(y, range(len(self.legs)))


@lru_cache(maxsize=1)
def artefact_file() -> ArtefactFile:
    """Return the definitions that the simulator has."""
    return load_model(Path(__file__).with_name("artefacts.toml"), ArtefactFile)


def true_artefacts(file: ArtefactFile, seed: int | None) -> Mapping[str, Artefact]:
    """Return the check standards by name.

    Parameters
    ----------
    seed
        Draws the deviations, each part its own; None: all are as defined.
    """
    found = {}
    for number, nominal in enumerate(file.artefact):
        rng = np.random.default_rng((0 if seed is None else seed, _STREAM, number))
        size = 0.0 if seed is None else 1.0

        def drawn(deviation: float, rng: np.random.Generator = rng, size: float = size) -> float:
            return size * deviation * float(rng.standard_normal())

        resistors = tuple(
            one.model_copy(update={"ohm": one.ohm * (1.0 + size * one.tolerance * rng.uniform(-1.0, 1.0))})
            for one in nominal.resistor
        )
        lines = tuple(
            one.model_copy(
                update={
                    "impedance_ohm": one.impedance_ohm + drawn(file.spread.line_impedance_ohm),
                    "delay_s": one.delay_s + drawn(file.spread.line_delay_s),
                }
            )
            for one in nominal.line
        )
        true = nominal.model_copy(update={"resistor": resistors, "line": lines})
        strays = tuple(abs(drawn(file.spread.stray_capacitance_f)) for _ in nominal.legs)
        legs = tuple(parse_target(leg).conductor for leg in nominal.legs)
        found[nominal.name] = Artefact(legs, true, strays)
    return found
