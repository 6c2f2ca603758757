from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from benchsweep.definitions import Definition, load_definition

__all__ = [
    "Acceptance",
    "Kit",
    "LoadStandard",
    "OffsetLine",
    "OpenStandard",
    "ShortStandard",
    "ThruStandard",
    "load_kit",
]

FiniteFloat = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Polynomial = Annotated[tuple[FiniteFloat, ...], Field(min_length=1, max_length=4)]
"""Coefficients in frequency: constant, per Hz, per Hz squared, per Hz cubed."""


class OffsetLine(Definition):
    """The line between the reference plane and what terminates it, or the whole of a through connection.

    Loss is that of a skin-effect line, in gigaohm per second at 1 GHz, and goes with the square root of
    frequency; it raises the characteristic impedance and the delay a little, too.
    """

    delay_ps: NotNegative = 0.0
    loss_gohm_per_s: NotNegative = 0.0
    z0_ohm: Positive = 50.0


class OpenStandard(Definition):
    """An open end: a fringe capacitance to ground behind an offset line."""

    capacitance_farad: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()


class ShortStandard(Definition):
    """A short: a series inductance to ground behind an offset line."""

    inductance_henry: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()


class LoadStandard(Definition):
    """A load: resistance and inductance in series to ground behind an offset line."""

    resistance_ohm: Positive
    inductance_henry: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()


class ThruStandard(Definition):
    """A through connection between two ports: a line of known delay, loss and impedance."""

    offset: OffsetLine = OffsetLine()


class Acceptance(Definition):
    """When a solved calibration is refused because the standards cannot have been what the plan said.

    The defaults are wide: they catch a standard that was forgotten or exchanged, not a worn one.
    """

    smallest_separation: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.35
    """Two standards of one port must differ by at least this part of what the most distinct two differ by,
    each measured against its definition."""
    largest_thru_residual_db: FiniteFloat = -30.0
    """How far a corrected through connection may be from its definition."""


class Kit(Definition):
    """A set of calibration standards. File: ``calibrations/kits/<name>.toml``."""

    schema_version: Literal[1] = Field(alias="schema")
    name: Annotated[str, Field(min_length=1)]
    description: str = ""
    source: Annotated[str, Field(min_length=1)]
    standing: Literal["published", "common-practice", "from-memory"]
    open: OpenStandard
    short: ShortStandard
    load: LoadStandard
    thru: ThruStandard
    acceptance: Acceptance = Acceptance()


def load_kit(name: str) -> Kit:
    """Return the kit of that name, or of that TOML file.

    Raises
    ------
    UnknownName
        There is no such kit.
    DefinitionError
        The file is wrong; the message names file and key.
    """
    return load_definition("kits", name, Kit)
