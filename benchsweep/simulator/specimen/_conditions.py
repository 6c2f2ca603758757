"""What can be wrong with a specimen: the closed vocabulary of `[[condition]]` in a specimen file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, TypeAlias

from pydantic import BeforeValidator, Field, PositiveFloat, field_validator, model_validator

from benchsweep.definitions import Definition
from benchsweep.simulator.specimen._modes import PAIRS
from benchsweep.simulator.specimen._parts import (
    Lump,
    Permutation,
    Series,
    Shunt,
    untwisted,
)

__all__ = [
    "Condition",
    "CrossedPairs",
    "Crush",
    "End",
    "Kink",
    "Open",
    "Part",
    "PlugOutOfWindow",
    "ReversedPair",
    "Short",
    "SplitPair",
    "SwappedConductors",
    "Untwist",
    "WetSection",
    "WornContact",
]


def _known_place(value: object) -> object:
    """Refuse with one plain sentence what would otherwise fail in two ways at once."""
    metres = isinstance(value, int | float) and not isinstance(value, bool) and value >= 0.0
    if not metres and value not in ("near plug", "far plug"):
        raise ValueError(f"{value!r} is neither 'near plug' nor 'far plug' nor metres from end A")
    return value


End: TypeAlias = Literal["near plug", "far plug"]
Metres: TypeAlias = Annotated[float, Field(ge=0.0)]
Place: TypeAlias = Annotated[End | Metres, BeforeValidator(_known_place)]
Pair: TypeAlias = Literal["12", "36", "45", "78"]
Contact: TypeAlias = Annotated[int, Field(ge=1, le=8)]
Part: TypeAlias = Lump | Permutation | Series | Shunt


def _order(moves: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """Return the permutation that exchanges the contacts of each move."""
    order = list(range(1, 9))
    for one, other in moves:
        order[one - 1], order[other - 1] = order[other - 1], order[one - 1]
    return tuple(order)


def _apart(values: Sequence[object]) -> Sequence[object]:
    if len(set(values)) != len(values):
        raise ValueError("the same one is named twice")
    return values


class _Condition(Definition):
    def parts(self) -> tuple[Part, ...]:
        """Return what the condition puts into the way of the signal, in order away from its end."""
        return ()


class ReversedPair(_Condition):
    """The two legs of a pair exchanged at one end."""

    kind: Literal["reversed-pair"]
    position: End
    pair: Pair

    def parts(self) -> tuple[Part, ...]:
        """Return the exchange."""
        return (Permutation(_order([PAIRS[self.pair]])),)


class CrossedPairs(_Condition):
    """Two pairs exchanged at one end, leg by leg."""

    kind: Literal["crossed-pairs"]
    position: End
    pairs: tuple[Pair, Pair]

    _different = field_validator("pairs")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the exchange."""
        one, other = (PAIRS[pair] for pair in self.pairs)
        return (Permutation(_order([(one[0], other[0]), (one[1], other[1])])),)


class SwappedConductors(_Condition):
    """Two conductors exchanged at one end."""

    kind: Literal["swapped-conductors"]
    position: End
    conductors: tuple[Contact, Contact]

    _different = field_validator("conductors")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the exchange."""
        return (Permutation(_order([self.conductors])),)


class SplitPair(_Condition):
    """Two conductors of different pairs exchanged at both ends: the wire map is right, the twist is not."""

    kind: Literal["split-pair"]
    conductors: tuple[Contact, Contact]

    @field_validator("conductors")
    @classmethod
    def _two_pairs(cls, value: tuple[int, int]) -> tuple[int, int]:
        if value[0] == value[1] or any(set(value) == set(legs) for legs in PAIRS.values()):
            raise ValueError("the two conductors must belong to different pairs")
        return value

    def parts(self) -> tuple[Part, ...]:
        """Return the exchange made at each end."""
        return (Permutation(_order([self.conductors])),)


class Open(_Condition):
    """Interrupted conductors; the gap keeps a little capacitance."""

    kind: Literal["open"]
    position: Place
    conductors: tuple[Contact, ...] = Field(min_length=1)
    gap_pf: PositiveFloat = Field(default=0.15, le=1000.0)

    _different = field_validator("conductors")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the gaps."""
        return (Series(self.conductors, gap_f=self.gap_pf * 1e-12),)


class Short(_Condition):
    """Two conductors that touch."""

    kind: Literal["short"]
    position: Place
    conductors: tuple[Contact, Contact]
    resistance_ohm: PositiveFloat = Field(default=0.5, ge=1e-3, le=1e6)

    _different = field_validator("conductors")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the touch."""
        return (Shunt(self.conductors, self.resistance_ohm),)


class WornContact(_Condition):
    """Contacts with resistance and a little inductance."""

    kind: Literal["worn-contact"]
    position: Place
    conductors: tuple[Contact, ...] = Field(min_length=1)
    resistance_ohm: PositiveFloat = Field(ge=0.01, le=100.0)
    inductance_nh: float = Field(default=0.0, ge=0.0, le=1000.0)

    _different = field_validator("conductors")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the resistances."""
        return (Series(self.conductors, self.resistance_ohm, self.inductance_nh * 1e-9),)


class Crush(_Condition):
    """A squeezed stretch: the impedance of all pairs falls."""

    kind: Literal["crush"]
    position: Metres
    length_m: PositiveFloat = 0.1
    impedance_drop: float = Field(default=0.15, gt=0.0, lt=0.9)


class Kink(_Condition):
    """A sharp bend: the impedance of one pair falls and its balance suffers over one cell."""

    kind: Literal["kink"]
    position: Metres
    pair: Pair
    impedance_drop: float = Field(default=0.08, gt=0.0, lt=0.9)
    unbalance: float = Field(default=0.1, gt=0.0, lt=0.9)


class Untwist(_Condition):
    """Pairs untwisted behind a plug; they couple like the blades of the plug, more weakly."""

    kind: Literal["untwist"]
    position: End
    length_m: float = Field(gt=0.0, le=0.2)
    pairs: tuple[Pair, ...] = Field(default=("12", "36", "45", "78"), min_length=1)

    _different = field_validator("pairs")(_apart)

    def parts(self) -> tuple[Part, ...]:
        """Return the stretch."""
        return untwisted(self.length_m, self.pairs)


class WetSection(_Condition):
    """A stretch with water in it: more capacitance, more dielectric loss."""

    kind: Literal["wet-section"]
    position: Metres
    length_m: PositiveFloat
    permittivity_ratio: float = Field(default=1.2, ge=1.0, le=4.0)
    loss_tangent: float = Field(default=0.012, gt=0.0, lt=0.5)


class PlugOutOfWindow(_Condition):
    """A plug whose coupling is not that of the nominal plug, for which jacks are made."""

    kind: Literal["plug-out-of-window"]
    position: End
    scale: float = Field(gt=0.0, le=3.0)

    @model_validator(mode="after")
    def _not_nominal(self) -> PlugOutOfWindow:
        if self.scale == 1.0:
            raise ValueError("scale 1.0 is the nominal plug")
        return self


Condition: TypeAlias = Annotated[
    ReversedPair
    | CrossedPairs
    | SwappedConductors
    | SplitPair
    | Open
    | Short
    | WornContact
    | Crush
    | Kink
    | Untwist
    | WetSection
    | PlugOutOfWindow,
    Field(discriminator="kind"),
]
