"""Cable constructions as data: what `cables/*.toml` says of a category."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Literal

from pydantic import Field, PositiveFloat

from benchsweep.definitions import Definition, load_model

__all__ = ["Alien", "CableType", "CommonMode", "Stranded", "load_cable_type"]


class CommonMode(Definition):
    """A common mode: modal impedance, delay and conductor loss."""

    impedance_ohm: PositiveFloat
    delay_ns_per_m: PositiveFloat
    conductor_loss_db: PositiveFloat


class Stranded(Definition):
    """What stranded conductors change."""

    conductor_loss_factor: PositiveFloat
    resistance_ohm_per_m: PositiveFloat
    roughness_density_m: PositiveFloat
    impedance_spread_ohm: PositiveFloat


class Alien(Definition):
    """Coupling between a pair of one cable and a pair of another one beside it, in touch all along.

    Two-sided spectral densities, in metres, of dimensionless coupling along the cables.
    """

    near_density_m: PositiveFloat
    far_density_m: PositiveFloat
    combination_spread_db: float = Field(ge=0)
    source: str
    standing: Literal["published", "common-practice", "from-memory"]


class CableType(Definition):
    """A cable construction.

    Densities are two-sided spectral densities, in metres, of dimensionless coupling along the cable.
    Conductor losses are dB per 100 m at 1 MHz and grow with the square root of frequency.
    """

    schema_: Literal[1] = Field(alias="schema")
    name: str
    description: str
    source: str
    standing: Literal["published", "common-practice", "from-memory"]
    conductor_loss_db: PositiveFloat
    resistance_ohm_per_m: PositiveFloat
    loss_tangent: PositiveFloat
    common_loss_tangent: PositiveFloat
    delay_ns_per_m: PositiveFloat
    lay_mm: tuple[PositiveFloat, PositiveFloat, PositiveFloat, PositiveFloat]
    conductor_spacing_mm: PositiveFloat
    impedance_ohm: PositiveFloat
    impedance_spread_ohm: PositiveFloat
    next_density_m: PositiveFloat
    fext_density_m: PositiveFloat
    combination_spread_db: float = Field(ge=0)
    roughness_density_m: PositiveFloat
    roughness_correlation_m: PositiveFloat
    roughness_white_density_m: PositiveFloat
    periodic_amplitude: float = Field(ge=0)
    periodic_length_m: tuple[PositiveFloat, PositiveFloat]
    periodic_walk_m: PositiveFloat
    own_pair_unbalance_density_m: PositiveFloat
    other_pair_unbalance_density_m: PositiveFloat
    common_mode_density_m: PositiveFloat
    together: CommonMode
    pair_against_pair: CommonMode
    stranded: Stranded
    alien: Alien


def load_cable_type(category: str) -> CableType:
    """Return the shipped construction of a category ("5e", "6" or "6a")."""
    folder = Path(str(resources.files("benchsweep"))) / "simulator" / "specimen" / "cables"
    return load_model(folder / f"category-{category}.toml", CableType)
