"""What a budget file says: the terms of an uncertainty budget and their figures."""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from benchsweep.definitions import Definition, load_definition, validate_model
from benchsweep.records import Parameter

__all__ = ["Budget", "Level", "load_budget", "read_budget"]

Standing = Literal["published", "common-practice", "from-memory"]


class Level(Definition):
    """A figure over frequency, or just a number.

    ``constant + per_root_ghz sqrt(f/GHz) + per_ghz f/GHz + per_decade log10(f/GHz)``; the last is for levels
    in dB that rise with a power of frequency: 20 dB per decade are in proportion to it.
    """

    constant: float
    per_root_ghz: float = 0.0
    per_ghz: float = 0.0
    per_decade: float = 0.0

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, value: Any) -> Any:
        if isinstance(value, int | float) and not isinstance(value, bool):
            return {"constant": value}
        return value

    def at(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the figure itself, ``(n_freq,)``."""
        ghz = frequency_hz / 1e9
        rising = self.per_decade * np.log10(ghz) if self.per_decade else 0.0
        return np.asarray(self.constant + self.per_root_ghz * np.sqrt(ghz) + self.per_ghz * ghz + rising)

    def amplitude(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what a figure in dB is as an amplitude, ``(n_freq,)``."""
        return np.asarray(10.0 ** (self.at(frequency_hz) / 20.0))


class _Term(Definition):
    """What every term says.

    A ``level_db`` is the root mean square magnitude of a residual wave whose phase is unknown, in dB: the
    standard uncertainty of its real and of its imaginary part is that amplitude over the root of two.
    """

    name: str = Field(min_length=1)
    source: str = Field(min_length=1)
    standing: Standing


class Directivity(_Term):
    """Residual directivity of every analyzer port."""

    kind: Literal["directivity"]
    level_db: Level


class SourceMatch(_Term):
    """Residual source match of every analyzer port."""

    kind: Literal["source-match"]
    level_db: Level


class LoadMatch(_Term):
    """Residual load match of every analyzer port."""

    kind: Literal["load-match"]
    level_db: Level


class Tracking(_Term):
    """Residual tracking: what every port contributes to a path; a reflection passes its port twice."""

    kind: Literal["tracking"]
    level_db: Level


class NoiseTerm(_Term):
    """Receiver noise. The floor is referred to the receivers, `path_loss_db` leads to the reference plane.

    Trace noise is a relative rms deviation of a reading at 1 kHz; it grows with the root of the bandwidth and
    never falls below its least value. The assumed settings serve records that do not know theirs.
    """

    kind: Literal["noise"]
    floor_dbm_in_10_hz: float
    path_loss_db: Level = Level(constant=0.0)
    trace_noise_db_rms_at_1_khz: float = Field(default=0.0, ge=0)
    trace_noise_db_rms_least: float = Field(default=0.0, ge=0)
    assumed_if_bandwidth_hz: float = Field(default=1000.0, gt=0)
    assumed_power_dbm: float = -5.0


class Crosstalk(_Term):
    """Residual crosstalk between any two ports."""

    kind: Literal["crosstalk"]
    level_db: Level


class Contact(_Term):
    """Change of the series impedance of a contact from one mating to the next, one standard deviation."""

    kind: Literal["contact"]
    resistance_ohm: float = Field(default=0.0, ge=0)
    inductance_ph: float = Field(default=0.0, ge=0)
    at_calibration: bool = True


class Flexing(_Term):
    """Change of a test cable from one mating to the next: delay of one way, gain of the way out and back.

    Where something that reflects stands between the end of the cable and the reference plane (a balun, a
    half of a fixture), the calibration took that for directivity and match, and the cable changes it too:
    `mismatch_db` is what it reflects over what it passes both ways.
    """

    kind: Literal["flexing"]
    delay_ps: float = Field(default=0.0, ge=0)
    gain_db: float = Field(default=0.0, ge=0)
    mismatch_db: Level | None = None
    at_calibration: bool = True


class Termination(_Term):
    """How well the terminations on legs without an analyzer port are known, one standard deviation each."""

    kind: Literal["termination"]
    resistance_ohm: float = Field(default=0.0, ge=0)
    capacitance_pf: float = Field(default=0.0, ge=0)
    level_db: Level | None = None


class DriftTemperature(_Term):
    """Temperature since calibration, common to all ports.

    An ambient temperature of standard deviation `kelvin` that forgets itself with `time_constant_s` has
    changed by ``kelvin sqrt(2 (1 - exp(-t / time_constant)))`` after t. Gain of the way out and back, delay
    of one way.
    """

    kind: Literal["drift-temperature"]
    kelvin: float = Field(ge=0)
    time_constant_s: float = Field(gt=0)
    gain_db_per_k: float = 0.0
    delay_ps_per_k: float = 0.0
    least_h: float = Field(default=0.0, ge=0)


class DriftWalk(_Term):
    """Directivity and match of every port wander: levels after one hour, growing with the root of time."""

    kind: Literal["drift-walk"]
    directivity_db: Level
    match_db: Level
    least_h: float = Field(default=0.0, ge=0)


class Standards(_Term):
    """How well the standards of the calibration kit are known: figures come with the calibration."""

    kind: Literal["standards"]


class BalanceTerm(_Term):
    """Baluns: output signal balance, common-mode rejection, reflection of the common mode, all negative dB.

    Figures of the fixture go before those given here. Where the common mode was not measured, the specimen's
    conversion is assumed: in reflection, along the pair, and between pairs at the same and at different ends
    (absent: the same). What a balun reflects at its balanced side from one mode into the other, what its tap
    takes of the differential mode, and what leaks from its unbalanced port to the tap are taken to be as
    small as its output signal balance: so they are in a lossless network.
    """

    kind: Literal["balance"]
    output_signal_balance_db: Level
    common_mode_rejection_db: Level
    common_mode_reflection_db: Level
    assumed_tcl_db: Level
    assumed_tctl_db: Level
    assumed_crosstalk_conversion_db: Level
    assumed_far_crosstalk_conversion_db: Level | None = None

    @property
    def assumed_conversion_db(self) -> tuple[Level, Level, Level, Level]:
        """In reflection, along the pair, between pairs at the same end and at different ends."""
        near = self.assumed_crosstalk_conversion_db
        far = self.assumed_far_crosstalk_conversion_db
        return self.assumed_tcl_db, self.assumed_tctl_db, near, near if far is None else far


class Floor(_Term):
    """A residual wave of any origin on every S-parameter, or on those of some parameters only."""

    kind: Literal["floor"]
    level_db: Level
    parameters: tuple[Parameter, ...] = ()


Term = Annotated[
    Directivity
    | SourceMatch
    | LoadMatch
    | Tracking
    | NoiseTerm
    | Crosstalk
    | Contact
    | Flexing
    | Termination
    | DriftTemperature
    | DriftWalk
    | Standards
    | BalanceTerm
    | Floor,
    Field(discriminator="kind"),
]


class Budget(Definition):
    """A budget file: the terms that make up the uncertainty of a bench, each with its source and standing."""

    schema_version: Literal[1] = Field(alias="schema")
    name: str = Field(min_length=1)
    description: str
    source: str
    standing: Standing
    coverage_factor: Literal[2]
    term: tuple[Term, ...] = Field(min_length=1)

    @model_validator(mode="before")
    @classmethod
    def _whole_factor(cls, value: Any) -> Any:
        # TOML tells 2 from 2.0; a person does not.
        if isinstance(value, dict) and value.get("coverage_factor") == 2.0:
            return {**value, "coverage_factor": 2}
        return value

    @model_validator(mode="after")
    def _told_apart(self) -> Budget:
        names = [term.name for term in self.term]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two terms are named {twice[0]!r}")
        if sum(term.kind == "balance" for term in self.term) > 1:
            raise ValueError("more than one term of kind balance: the baluns have one balance each")
        return self


def load_budget(name: str) -> Budget:
    """Return the budget of that name or path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return load_definition("budgets", name, Budget)


@lru_cache(maxsize=8)
def read_budget(text: str) -> Budget:
    """Return the budget that stands in TOML `text`, as a record keeps it.

    Raises
    ------
    DefinitionError
    """
    return validate_model(text, Budget, where="budget")
