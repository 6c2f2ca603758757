from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from benchsweep.definitions import Definition, find_definition, load_model
from benchsweep.records import BalancedPort, parse_leg

__all__ = ["GROUND", "Artefact", "LineKeys", "ResistorKeys", "StrayKeys", "load_artefact"]

GROUND = "ground"
"""The node that every artefact and every port share."""

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
Name = Annotated[str, Field(min_length=1)]


class ResistorKeys(Definition):
    """``[[resistor]]``: one resistor between two nodes: legs, ``ground``, or nodes of one's own naming.

    `uncertainty_percent` is its standard uncertainty; a tolerance of +-t that is taken as rectangular has t
    over the root of three (JCGM 100:2008, 4.3.7).
    """

    between: tuple[Name, Name]
    ohm: Positive
    uncertainty_percent: NotNegative = 0.0

    @field_validator("between")
    @classmethod
    def _two_nodes(cls, between: tuple[str, str]) -> tuple[str, str]:
        if between[0] == between[1]:
            raise ValueError(f"both ends are on {between[0]}")
        return between


class StrayKeys(Definition):
    """``[stray]``: capacitance from each leg to ground that the parts and their board add."""

    capacitance_pf: NotNegative = 0.0
    uncertainty_pf: NotNegative = 0.0


class LineKeys(Definition):
    """``[[line]]``: a line behind one leg, with a resistor or a short at its far end.

    Loss goes with the square root of frequency; ``end_ohm = 0`` is a short. All uncertainties are standard
    uncertainties.
    """

    leg: Name
    z0_ohm: Positive
    z0_uncertainty_ohm: NotNegative = 0.0
    delay_ns: Positive
    delay_uncertainty_ps: NotNegative = 0.0
    loss_db_at_100_mhz: NotNegative = 0.0
    end_ohm: NotNegative
    end_uncertainty_ohm: NotNegative = 0.0


class TouchstoneKeys(Definition):
    """``[measured]``: an artefact that somebody measured, as single-ended Touchstone file at 50 ohm.

    Its ports are the legs in the order of `legs`; `file` is looked for beside the definition. The standard
    uncertainty of every S-parameter is a vector, in dB: of the reflections, and of what goes through.
    """

    file: Name
    reflection_uncertainty_db: Annotated[float, Field(lt=0.0)]
    transmission_uncertainty_db: Annotated[float, Field(lt=0.0)]


class Artefact(Definition):
    """A check standard whose S-matrix can be computed. File: ``calibrations/checks/<name>.toml``.

    Parameters
    ----------
    kind
        ``resistors``: a network of resistors, solved by nodal analysis; ``line``: lines with known ends, from
        which residual error terms are fitted; ``touchstone``: measured elsewhere.
    legs
        Named like those of a specimen: ``A:12.1``. Both legs of every balanced port must be there.
    follow
        Receiving and driven mode, such as ``["B:12/d", "A:12/d"]``, whose deviations go into the history.
    """

    schema_version: Literal[1] = Field(alias="schema")
    name: Annotated[str, Field(min_length=1, pattern=r"^[a-z0-9][a-z0-9-]*$")]
    kind: Literal["resistors", "line", "touchstone"]
    description: str = ""
    source: Name
    standing: Literal["published", "common-practice", "from-memory"]
    legs: Annotated[tuple[str, ...], Field(min_length=2)]
    follow: tuple[tuple[Name, Name], ...] = ()
    resistor: tuple[ResistorKeys, ...] = ()
    stray: StrayKeys = StrayKeys()
    line: tuple[LineKeys, ...] = ()
    measured: TouchstoneKeys | None = None

    @field_validator("legs")
    @classmethod
    def _whole_pairs(cls, legs: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(legs)) != len(legs):
            raise ValueError("a leg is named twice")
        for port in {parse_leg(label).port for label in legs}:
            missing = [str(leg) for leg in port.legs if str(leg) not in legs]
            if missing:
                raise ValueError(f"leg {missing[0]} is missing: both legs of {port} belong to it")
        return legs

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        has = {"resistors": self.resistor, "line": self.line, "touchstone": self.measured}
        if not has[self.kind]:
            raise ValueError(f'kind = "{self.kind}" needs {_TABLE[self.kind]}')
        extra = [_TABLE[kind] for kind, given in has.items() if given and kind != self.kind]
        if extra:
            raise ValueError(f'kind = "{self.kind}" has no {extra[0]}')
        self._check_nodes()
        modes = {f"{port}/{mode}" for port in self.ports for mode in "dc"}
        for name in chain.from_iterable(self.follow):
            if name not in modes:
                raise ValueError(f"follow: {name} is no mode of it; there are {', '.join(sorted(modes))}")
        return self

    def _check_nodes(self) -> None:
        if self.kind == "resistors":
            ends: Sequence[str] = [node for part in self.resistor for node in part.between]
            for node in sorted({node for node in ends if node != GROUND and node not in self.legs}):
                if ":" in node:
                    raise ValueError(f"resistor: {node} is not among its legs")
                if ends.count(node) < 2:
                    raise ValueError(f"resistor: node {node} leads nowhere")
        if self.kind == "line" and sorted(part.leg for part in self.line) != sorted(self.legs):
            raise ValueError("line: every leg needs one line")

    @property
    def ports(self) -> tuple[BalancedPort, ...]:
        """Its balanced ports, in the order of its legs."""
        return tuple(dict.fromkeys(parse_leg(label).port for label in self.legs))


_TABLE: Mapping[str, str] = {
    "resistors": "[[resistor]]",
    "line": "[[line]]",
    "touchstone": "[measured]",
}


def load_artefact(name: str) -> tuple[Artefact, Path]:
    """Return the artefact of that name, or of that TOML file, and its file.

    Raises
    ------
    UnknownName
        There is no such artefact.
    DefinitionError
        The file is wrong; the message names file and key.
    """
    path = find_definition("checks", name)
    return load_model(path, Artefact), path
