"""Reel after reel of a product: how they differ by chance, how the process drifts, what goes wrong.

A production file (``productions/*.toml``) says it all; reel 123 of the production ``tollmoor-6`` is the
specimen ``tollmoor-6-0123``, the same whenever it is asked for.
"""

from __future__ import annotations

import re
from typing import Literal

import numpy as np
from pydantic import Field, PositiveFloat, model_validator

from benchsweep.definitions import Definition, list_definitions, load_definition
from benchsweep.simulator.specimen._conditions import Condition
from benchsweep.simulator.specimen._description import SpecimenDescription

__all__ = ["is_reel", "reel_of"]

_REEL = re.compile(r"(?P<production>.+)-(?P<number>[0-9]{1,9})")


class Quantities(Definition):
    """What reels differ in: level of all coupling, loss of the conductors, impedance and skew."""

    quality_db: float = 0.0
    loss_percent: float = 0.0
    impedance_ohm: float = 0.0
    skew_percent: float = 0.0


class Step(Quantities):
    """A change that came with a reel and stays."""

    from_reel: int = Field(ge=1)


class Defect(Definition):
    """Something that is wrong with a share of the reels, each by chance, at a place by chance."""

    share: float = Field(ge=0.0, le=1.0)
    condition: Condition

    @model_validator(mode="after")
    def _has_a_place(self) -> Defect:
        if not isinstance(getattr(self.condition, "position", None), float):
            raise ValueError("condition: it needs a position in metres; the reel gets one by chance instead")
        return self


class Production(Definition):
    """A production file.

    `mean` and `spread` (one standard deviation, normal) are those of the reels, `drift` is added over each
    thousand of them, `step` from a reel on.
    """

    schema_: Literal[1] = Field(alias="schema")
    name: str = Field(min_length=1)
    description: str = ""
    source: str = ""
    standing: Literal["published", "common-practice", "from-memory"] = "common-practice"
    category: Literal["5e", "6", "6a"]
    length_m: PositiveFloat
    seed: int = Field(ge=0)
    mean: Quantities = Quantities()
    spread: Quantities = Quantities()
    drift: Quantities = Quantities()
    step: tuple[Step, ...] = ()
    defect: tuple[Defect, ...] = ()


def is_reel(name: str) -> bool:
    """Tell whether a name is that of a reel of a production: its name, a hyphen, and digits."""
    found = _REEL.fullmatch(name)
    return found is not None and found["production"] in list_definitions("productions")


def reel_of(name: str) -> SpecimenDescription:
    """Return the reel of that name; the number alone tells it, ``-7`` is ``-0007``.

    Raises
    ------
    UnknownName
        There is no such production.
    DefinitionError
        Its file is wrong.
    """
    found = _REEL.fullmatch(name)
    production = load_definition("productions", found["production"] if found else name, Production)
    number = int(found["number"]) if found else 0
    rng = np.random.default_rng([production.seed, number])
    # Always the same draws, whatever the file says: another mean, spread or share changes nothing else of a
    # reel (another number of defects does).
    chance = [*rng.standard_normal(3)]
    conditions = []
    for defect in production.defect:
        struck, place = rng.uniform(size=2)
        if struck < defect.share:
            # Not within the metre at the ends, which is cut off when a reel is prepared.
            position = round(1.0 + float(place) * (production.length_m - 2.0), 2)
            conditions.append(defect.condition.model_copy(update={"position": position}))
    seed = int(rng.integers(2**31))
    chance.append(rng.standard_normal())
    quality_db, loss_percent, impedance_ohm, skew_percent = (
        expected + scale * float(draw)
        for expected, scale, draw in zip(
            _expected(production, number), _values(production.spread), chance, strict=True
        )
    )
    return SpecimenDescription(
        schema=1,
        name=name,
        description=f"Reel {number} of the simulated production {production.name}",
        source=production.source,
        standing=production.standing,
        kind="cable",
        category=production.category,
        length_m=production.length_m,
        seed=seed,
        quality_db=quality_db,
        loss_percent=loss_percent,
        impedance_shift_ohm=impedance_ohm,
        skew_percent=skew_percent,
        condition=tuple(conditions),
    )


def _values(quantities: Quantities) -> tuple[float, ...]:
    return (
        quantities.quality_db,
        quantities.loss_percent,
        quantities.impedance_ohm,
        quantities.skew_percent,
    )


def _expected(production: Production, number: int) -> tuple[float, ...]:
    """Return what reel `number` would be without chance, in the order of `_values`."""
    total = np.array(_values(production.mean)) + np.array(_values(production.drift)) * number / 1000.0
    for step in production.step:
        if number >= step.from_reel:
            total += _values(step)
    return tuple(map(float, total))
