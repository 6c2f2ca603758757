"""What a bench file states of the pieces that are put on: standards, terminations, terminators.

What stands in the tables is how a piece is defined. How far the real pieces are from that stands under
``spread``: one standard deviation each, drawn by the seed; without noise all pieces are as defined.
"""

from __future__ import annotations

from pydantic import Field, model_validator

from benchsweep.definitions import Definition

__all__ = [
    "Baluns",
    "FixtureHalf",
    "LineSection",
    "Reciprocal",
    "ReflectStandard",
    "Standards",
    "StandardsSpread",
    "Terminations",
    "TerminationsSpread",
    "Terminator",
]


class StandardsSpread(Definition):
    """By how much the real standards deviate, one standard deviation."""

    open_capacitance_f: float = Field(default=0.0, ge=0)
    short_inductance_h: float = Field(default=0.0, ge=0)
    load_resistance_ohm: float = Field(default=0.0, ge=0)
    load_inductance_h: float = Field(default=0.0, ge=0)
    thru_delay_s: float = Field(default=0.0, ge=0)
    line_impedance_ohm: float = Field(default=0.0, ge=0)
    line_delay_s: float = Field(default=0.0, ge=0)


class ReflectStandard(Definition):
    """A short at the end of a piece of 50 ohm line with loss. Losses grow with the root of frequency."""

    delay_s: float = Field(ge=0)
    loss_db_at_500_mhz: float = Field(ge=0)


class LineSection(Definition):
    """A line standard: the thru, and so much line more in its middle."""

    longer_than_thru_s: float = Field(gt=0)
    impedance_ohm: float = Field(default=50.0, gt=0)
    loss_db_per_ns_at_500_mhz: float = Field(default=0.0, ge=0)


class Reciprocal(Definition):
    """A pad of three resistors (series, shunt, series) between two pieces of 50 ohm line."""

    series_ohm: tuple[float, float]
    shunt_ohm: float = Field(gt=0)
    delay_s: tuple[float, float]

    @model_validator(mode="after")
    def _physical(self) -> Reciprocal:
        if min(self.series_ohm) < 0 or min(self.delay_s) < 0:
            raise ValueError("series_ohm and delay_s are not negative")
        return self


class Standards(Definition):
    """The standards, at the end of each test cable (behind baluns: on every leg)."""

    open_capacitance_f: float = Field(ge=0)
    short_inductance_h: float = Field(ge=0)
    load_resistance_ohm: float = Field(gt=0)
    load_inductance_h: float = Field(ge=0)
    thru_delay_s: float = Field(ge=0)
    reflect: ReflectStandard = ReflectStandard(delay_s=0.0, loss_db_at_500_mhz=0.0)
    line: tuple[LineSection, ...] = ()
    reciprocal: tuple[Reciprocal, ...] = ()
    spread: StandardsSpread = StandardsSpread()

    @property
    def two_ports(self) -> tuple[str, ...]:
        """Names of the standards with two ends."""
        lines = tuple(f"line-{number}" for number, _ in enumerate(self.line, 1))
        return ("thru", *lines, *(f"reciprocal-{number}" for number, _ in enumerate(self.reciprocal, 1)))


class TerminationsSpread(Definition):
    """By how much every leg of a termination deviates on its own, one standard deviation."""

    resistance_ohm: float = Field(default=0.0, ge=0)
    capacitance_f: float = Field(default=0.0, ge=0)


class Terminations(Definition):
    """What ends each leg of the specimen that is attached to no port: a resistor beside a capacitor."""

    resistance_ohm: float = Field(gt=0)
    capacitance_f: float = Field(ge=0)
    spread: TerminationsSpread = TerminationsSpread()


class Terminator(Definition):
    """A kind of terminator for a balanced port, positive leg first.

    Parameters
    ----------
    resistance_ohm, capacitance_f
        From each leg to ground.
    coupling_ohm
        Between the legs; None: nothing.
    """

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=20)
    resistance_ohm: tuple[float, float]
    capacitance_f: tuple[float, float] = (0.0, 0.0)
    coupling_ohm: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _physical(self) -> Terminator:
        if min(self.resistance_ohm) <= 0 or min(self.capacitance_f) < 0:
            raise ValueError("resistances are above zero and capacitances not negative")
        if self.name == "none":
            raise ValueError("name: none is what an open end is called")
        return self


class Baluns(Definition):
    """Baluns between the test cables (50 ohm) and the legs (differential 100 ohm, common mode 25 ohm).

    Losses, return losses and balance are positive dB. Balance is that of the waves, each over the reference
    impedance of its mode: output signal balance (ITU-T O.9) is the transmission from the unbalanced port to
    the differential mode over that to the common mode, common-mode rejection the one from the differential
    mode over that from the common mode.

    Parameters
    ----------
    tapped
        The common-mode tap is an analyzer port; else it ends inside.
    insertion_loss_db
        At 500 MHz; half of it is constant, half grows with the root of frequency.
    common_mode_return_loss_db
        Of the termination inside; absent: the tap is open. With `tapped`: of the way to the tap, absent: like
        `return_loss_db`.
    spread
        By how much loss, delay and mismatch differ from balun to balun, one standard deviation, relative.
    """

    tapped: bool = False
    insertion_loss_db: float = Field(default=0.8, ge=0)
    return_loss_db: float = Field(default=20.0, gt=6)
    output_signal_balance_db: float = Field(default=50.0, gt=20)
    common_mode_rejection_db: float = Field(default=50.0, gt=20)
    common_mode_return_loss_db: float | None = Field(default=None, gt=0)
    delay_s: float = Field(default=0.5e-9, ge=0)
    spread: float = Field(default=0.0, ge=0, lt=0.3)

    @model_validator(mode="after")
    def _reciprocal(self) -> Baluns:
        if self.output_signal_balance_db != self.common_mode_rejection_db:
            raise ValueError(
                "common_mode_rejection_db: a reciprocal balun has the same as output_signal_balance_db"
            )
        if self.tapped and (self.common_mode_return_loss_db or 7.0) <= 6.0:
            raise ValueError("common_mode_return_loss_db: above 6 dB for the way to a tap")
        return self


class FixtureHalf(Definition):
    """A fixture half: two coupled lines alike from two coaxial ports to the two legs of a specimen.

    Both modes of the pair of lines are uniform lines; what makes them differ is the crosstalk. The loss grows
    with the root of frequency.

    Parameters
    ----------
    impedance_even_ohm, impedance_odd_ohm
        Of one line against ground, both driven alike or oppositely.
    impedance_spread
        Of each half, one standard deviation, relative; zero without noise.
    """

    impedance_even_ohm: float = Field(gt=0)
    impedance_odd_ohm: float = Field(gt=0)
    delay_even_s: float = Field(gt=0)
    delay_odd_s: float = Field(gt=0)
    loss_db_at_500_mhz: float = Field(ge=0)
    impedance_spread: float = Field(default=0.0, ge=0, lt=0.1)
