"""The specimen file: `schema = 1`, what the specimen is, how long, and what is wrong with it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from benchsweep.definitions import Definition
from benchsweep.simulator.specimen._conditions import (
    Condition,
    Crush,
    Kink,
    PlugOutOfWindow,
    Untwist,
    WetSection,
)

__all__ = ["Neighbour", "Piece", "SpecimenDescription"]

_LONGEST_M = 500.0
_SHORTEST_M = 0.1
_MOST_DISTURBING = 48


class Piece(Definition):
    """One piece of cable."""

    length_m: float = Field(ge=_SHORTEST_M, le=_LONGEST_M)
    stranded: bool = False


class Neighbour(Definition):
    """A disturbing cable that couples more or less than the others."""

    cable: int = Field(ge=1, le=_MOST_DISTURBING)
    closer_db: float = Field(ge=-60.0, le=40.0)


class SpecimenDescription(Definition):
    """A specimen file.

    A cord is measured in test heads, so it is modelled with a mated connection at either end; so is a
    permanent link, which ends in the jacks that the test cords mate with. A channel has a connection
    between every two of its pieces and none at its ends, which belong to the equipment. A cable is bare. A
    bundle is one bare cable, the disturbed one, with so many alike `disturbing` it all along; `separation_db`
    is by how many decibels they couple less than cables in touch, and conditions are those of the disturbed
    one. `quality_db` lowers all coupling and roughness; `loss_percent` raises the loss of the conductors,
    `impedance_shift_ohm` the impedance of all pairs above those of the category's construction, and
    `skew_percent` by how much their lays lengthen the pairs, so that their delays differ so much more.
    """

    schema_: Literal[1] = Field(alias="schema")
    name: str = Field(min_length=1)
    description: str = ""
    source: str = ""
    standing: Literal["published", "common-practice", "from-memory"] = "common-practice"
    kind: Literal["cord", "cable", "channel", "permanent-link", "bundle"]
    category: Literal["5e", "6", "6a"]
    length_m: float | None = Field(default=None, ge=_SHORTEST_M, le=_LONGEST_M)
    stranded: bool | None = None
    piece: tuple[Piece, ...] = ()
    seed: int | None = Field(default=None, ge=0)
    quality_db: float = Field(default=0.0, ge=-40.0, le=40.0)
    loss_percent: float = Field(default=0.0, ge=-50.0, le=200.0)
    impedance_shift_ohm: float = Field(default=0.0, ge=-40.0, le=40.0)
    skew_percent: float = Field(default=0.0, ge=-90.0, le=200.0)
    condition: tuple[Condition, ...] = ()
    disturbing: int | None = Field(default=None, ge=1, le=_MOST_DISTURBING)
    separation_db: float = Field(default=0.0, ge=-40.0, le=60.0)
    neighbour: tuple[Neighbour, ...] = ()

    @model_validator(mode="after")
    def _one_length(self) -> SpecimenDescription:
        if (self.length_m is None) == (not self.piece):
            raise ValueError("give either length_m or [[piece]] tables")
        if self.piece and self.stranded is not None:
            raise ValueError("stranded: with [[piece]] tables each piece says it")
        if self.kind in ("cord", "cable", "bundle") and len(self.piece) > 1:
            raise ValueError(f"piece: a {self.kind} is one piece")
        if self.total_length_m > _LONGEST_M:
            raise ValueError(f"piece: {self.total_length_m:g} m together, at most {_LONGEST_M:g} m")
        return self

    @model_validator(mode="after")
    def _disturbed(self) -> SpecimenDescription:
        if self.kind == "bundle" and self.disturbing is None:
            raise ValueError("disturbing: say how many cables lie beside the disturbed one")
        if self.kind != "bundle" and (self.disturbing is not None or self.separation_db or self.neighbour):
            raise ValueError(f"disturbing, separation_db, neighbour: a {self.kind} is alone")
        numbers = [one.cable for one in self.neighbour]
        if len(set(numbers)) != len(numbers):
            raise ValueError("neighbour: the same cable is named twice")
        if self.disturbing is not None and max(numbers, default=0) > self.disturbing:
            raise ValueError(f"neighbour: there are {self.disturbing} disturbing cables")
        return self

    @model_validator(mode="after")
    def _conditions_fit(self) -> SpecimenDescription:
        for number, condition in enumerate(self.condition):
            where = f"condition[{number}]"
            place = getattr(condition, "position", None)
            if isinstance(condition, PlugOutOfWindow | Untwist) and not self.connected:
                raise ValueError(f"{where}.kind: {condition.kind}: this specimen has no plug")
            if isinstance(place, float):
                self._inside(where, place, condition)
        return self

    def _inside(self, where: str, position_m: float, condition: Condition) -> None:
        stretch = condition.length_m if isinstance(condition, Crush | WetSection) else 0.0
        if position_m + stretch > self.total_length_m + 1e-9:
            raise ValueError(
                f"{where}.position: {position_m:g} m"
                + (f" and {stretch:g} m more" if stretch else "")
                + f" is beyond the {self.total_length_m:g} m of the specimen"
            )
        if isinstance(condition, Crush | Kink) and position_m >= self.total_length_m:
            raise ValueError(f"{where}.position: {position_m:g} m is the end of the specimen")

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces from end A to end B; a cord is stranded unless the file says otherwise."""
        if self.piece:
            return self.piece
        stranded = self.kind == "cord" if self.stranded is None else self.stranded
        return (Piece(length_m=_length(self.length_m), stranded=stranded),)

    @property
    def total_length_m(self) -> float:
        """Length of all pieces together."""
        return sum(piece.length_m for piece in self.piece) if self.piece else _length(self.length_m)

    @property
    def ends_connected(self) -> bool:
        """Whether there is a mated connection at either end."""
        return self.kind in ("cord", "permanent-link")

    @property
    def connected(self) -> bool:
        """Whether there is any mated connection."""
        return self.ends_connected or len(self.piece) > 1


def _length(length_m: float | None) -> float:
    return 0.0 if length_m is None else length_m
