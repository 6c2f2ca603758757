"""What a bench file states: the analyzer's hardware, its error terms, standards, noise and drift."""

from __future__ import annotations

import hashlib
from typing import Literal

from pydantic import Field, model_validator

from benchsweep.definitions import Definition, load_definition
from benchsweep.simulator.bench._pieces_definition import (
    Baluns,
    FixtureHalf,
    Standards,
    Terminations,
    Terminator,
)
from benchsweep.simulator.bench._wiring import Wiring

__all__ = [
    "AnalyzerLimits",
    "BenchDefinition",
    "Drift",
    "ErrorTermSpread",
    "Noise",
    "Preset",
    "Relays",
    "load_bench",
]

Standing = Literal["published", "common-practice", "from-memory"]


class AnalyzerLimits(Definition):
    """What the analyzer's hardware can do."""

    min_frequency_hz: float = Field(gt=0)
    max_frequency_hz: float = Field(gt=0)
    max_points: int = Field(ge=2)
    min_power_dbm: float
    max_power_dbm: float
    if_bandwidths_hz: tuple[float, ...] = Field(min_length=1)


class Preset(Definition):
    """Settings after a preset; a specimen with a grid of its own overrules the first three."""

    start_hz: float = Field(gt=0)
    stop_hz: float = Field(gt=0)
    points: int = Field(ge=2)
    if_bandwidth_hz: float = Field(gt=0)
    power_dbm: float


class ErrorTermSpread(Definition):
    """How large the raw error terms are; the seed draws each port's own.

    Losses are positive dB; ``*_db`` of reflections and ripple are negative levels.
    """

    directivity_db: float = Field(lt=0)
    directivity_echo_s: float = Field(ge=0)
    source_match_db: float = Field(lt=0)
    switch_match_db: float = Field(lt=0)
    cable_delay_s: float = Field(ge=0)
    cable_delay_spread: float = Field(ge=0, lt=0.5)
    loss_constant_db: float = Field(ge=0)
    loss_at_500_mhz_db: float = Field(ge=0)
    ripple_db: float = Field(lt=0)
    receiver_spread_db: float = Field(ge=0)
    leakage_db: float | None = Field(default=None, lt=0)


class Noise(Definition):
    """Receiver noise (additive) and trace noise (multiplicative)."""

    floor_dbm_in_10_hz: float
    trace_noise_db_rms_at_1_khz: float = Field(ge=0)
    trace_noise_db_rms_least: float = Field(ge=0)


class Drift(Definition):
    """Room temperature, warm-up, slow change of the terms, and what a re-connection changes."""

    ambient_sigma_k: float = Field(ge=0)
    ambient_time_s: float = Field(gt=0)
    warm_up_k: float
    warm_up_time_s: float = Field(gt=0)
    on_since_s: float = Field(ge=0)
    gain_db_per_k: float
    delay_per_k: float
    reflection_walk_db_after_1_h: float = Field(lt=0)
    flex_delay_s: float = Field(ge=0)
    flex_gain_db: float = Field(ge=0)
    contact_resistance_ohm: float = Field(ge=0)
    contact_inductance_h: float = Field(ge=0)
    seconds_per_connection: float = Field(ge=0)


class Relays(Definition):
    """The relay matrix."""

    relay_time_s: float = Field(ge=0, le=1)


class BenchDefinition(Definition):
    """A whole bench file."""

    schema_version: Literal[1] = Field(alias="schema")
    # Part of the answer to *IDN?, so no commas and no blanks.
    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=40)
    description: str
    source: str
    standing: Standing
    real_time: bool = False
    overhead_per_point_s: float = Field(default=60e-6, ge=0)
    analyzer: AnalyzerLimits
    preset: Preset
    error_terms: ErrorTermSpread
    standards: Standards
    terminations: Terminations
    terminator: tuple[Terminator, ...] = ()
    # What stands between the test cables and the legs: baluns, or fixture halves, or nothing.
    baluns: Baluns | None = None
    fixture_half: FixtureHalf | None = None
    noise: Noise
    drift: Drift
    relays: Relays = Relays(relay_time_s=0.005)

    @model_validator(mode="after")
    def _consistent(self) -> BenchDefinition:
        limits, preset = self.analyzer, self.preset
        if not limits.min_frequency_hz <= preset.start_hz < preset.stop_hz <= limits.max_frequency_hz:
            raise ValueError("preset: start and stop must rise and lie within the analyzer's range")
        if preset.points > limits.max_points:
            raise ValueError("preset: more points than the analyzer has")
        if preset.if_bandwidth_hz not in limits.if_bandwidths_hz:
            raise ValueError("preset: if_bandwidth_hz is not one of the analyzer's")
        if not limits.min_power_dbm <= preset.power_dbm <= limits.max_power_dbm:
            raise ValueError("preset: power_dbm out of the analyzer's range")
        if self.baluns is not None and self.fixture_half is not None:
            raise ValueError("baluns: not together with fixture_half")
        if len({one.name for one in self.terminator}) < len(self.terminator):
            raise ValueError("terminator: two of one name")
        return self

    @property
    def wiring(self) -> Wiring:
        """How the ports lead to the legs."""
        if self.baluns is not None:
            return Wiring("tapped-baluns" if self.baluns.tapped else "baluns")
        return Wiring("contacts" if self.fixture_half is None else "fixture-halves")

    def fingerprint(self, ports: int, seed: int) -> str:
        """Return eight hexadecimal digits that differ when the error terms do."""
        text = f"{self.error_terms.model_dump_json()}|{ports}|{seed}"
        if self.baluns is not None:
            text += self.baluns.model_dump_json()
        return hashlib.sha256(text.encode()).hexdigest()[:8]


def load_bench(name: str) -> BenchDefinition:
    """Return the bench of that name or path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return load_definition("benches", name, BenchDefinition)
