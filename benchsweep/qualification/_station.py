from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from pydantic import Field, PrivateAttr

from benchsweep.calibration import Method
from benchsweep.definitions import Definition, data_folder, find_definition, load_definition
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.qualification._sweep_keys import SweepKeys
from benchsweep.qualification._switch_keys import SwitchKeys
from benchsweep.qualification._verification_keys import VerificationKeys, WearKeys
from benchsweep.records import SweepSettings

__all__ = ["Station", "load_station"]


class AnalyzerKeys(Definition):
    """``[analyzer]``: where it is and how to reach it."""

    address: str = ""
    family: str | None = None
    backend: str = "@py"
    timeout_s: float = Field(default=10.0, gt=0, le=600)
    ports: int | None = Field(default=None, ge=1, le=64)
    retries: int = Field(default=2, ge=0, le=20)
    wait_for_link_s: float = Field(default=60.0, ge=0, le=86_400)
    # A sweep may take three times what the analyzer states, plus this.
    sweep_margin_s: float = Field(default=10.0, ge=0.1, le=3600)


class FixtureKeys(Definition):
    """``[fixture]``: name or path of the fixture definition."""

    name: str


class CalibrationKeys(Definition):
    """``[calibration]``: kit, method (the kit's own by default), age rule, what to do when there is none."""

    kit: str
    method: Method | None = None
    max_age_hours: float = Field(gt=0)
    when_missing: Literal["refuse", "calibrate"] = "refuse"
    folder: str | None = None


class UncertaintyKeys(Definition):
    """``[uncertainty]``: name or path of the budget; without one no uncertainty is stated."""

    budget: str = ""


class DecisionKeys(Definition):
    """``[decision]``: how a verdict is made where the command does not say."""

    rule: Literal["simple", "guard-band", "four-way"] = "simple"
    factor: float = Field(default=1.0, gt=0, le=10)

    @property
    def words(self) -> str:
        """The rule as a command would spell it."""
        return self.rule if self.rule == "simple" or self.factor == 1.0 else f"{self.rule} {self.factor:g}"


class SimulatedKeys(Definition):
    """``[simulated]``: the embedded bench that is started where no address is given."""

    bench: str = "default"
    ports: Literal[2, 4, 8, 16] = 16
    family: str = "named-measurement"


class Station(Definition):
    """A bench: analyzer, sweep, switch, fixture, rules of calibration and decision. ``station.toml``."""

    schema_: Literal[1] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]*$")
    description: str = ""
    analyzer: AnalyzerKeys = AnalyzerKeys()
    sweep: SweepKeys
    switch: SwitchKeys
    fixture: FixtureKeys
    calibration: CalibrationKeys
    uncertainty: UncertaintyKeys = UncertaintyKeys()
    decision: DecisionKeys = DecisionKeys()
    simulated: SimulatedKeys = SimulatedKeys()
    verification: VerificationKeys = VerificationKeys()
    wear: WearKeys = WearKeys()
    _called: str = PrivateAttr(default="")
    _embedded: bool = PrivateAttr(default=False)

    @property
    def called(self) -> str:
        """What the person typed to name it: a name or a path."""
        return self._called or self.name

    def called_by(self, typed: str) -> Station:
        """Return the same station, remembering what the person typed to name it."""
        copy = self.model_copy()
        copy._called = typed  # noqa: SLF001 - a copy of this very class
        return copy

    @property
    def starts_own_bench(self) -> bool:
        """True when the station is the embedded bench and no address was given."""
        return self.switch.kind == "simulated" and not self.analyzer.address

    def at_address(self, address: str | None) -> Station:
        """Return the same station with another analyzer address; None changes nothing.

        Raises
        ------
        UsageError
            An empty address.
        """
        if address is None:
            return self
        _refuse_empty(address, "--address")
        return self.model_copy(update={"analyzer": self.analyzer.model_copy(update={"address": address})})

    def at_own_bench(self, address: str) -> Station:
        """Return the same station at the address of the bench that this run has started for itself."""
        copy = self.at_address(address)
        copy._embedded = True  # noqa: SLF001 - a copy of this very class
        return copy

    @property
    def shared(self) -> bool:
        """True when other runs could reach the instruments too: not those of a bench of one's own."""
        return not self._embedded

    def at_switch_address(self, address: str | None) -> Station:
        """Return the same station with another address of its relay matrix; None changes nothing.

        Raises
        ------
        UsageError
            The station has no relay matrix, or the address is empty.
        """
        if address is None:
            return self
        _refuse_empty(address, "--switch-address")
        if self.switch.kind != "relays":
            raise UsageError(
                f"station {self.name} has no relay matrix",
                hint='--switch-address is for a station with kind = "relays" under [switch].',
            )
        return self.model_copy(update={"switch": self.switch.model_copy(update={"address": address})})

    def settings(
        self, limits: Mapping[str, float] | None = None, *, can_segments: bool = True
    ) -> SweepSettings:
        """Return the sweep settings to ask for.

        Parameters
        ----------
        limits
            What the analyzer says of its own range (`AnalyzerIdentity.limits`); a grid that is chosen from
            requirements keeps within it.
        can_segments
            False: its command family has no segment sweep, so that such a grid has none.

        Raises
        ------
        UsageError
            The analyzer does not reach what the requirements ask for.
        """
        return self.sweep.settings(limits, can_segments=can_segments)

    def calibration_folder(self) -> Path:
        """Return where calibrations of this station are stored.

        The folder that the station file names; else ``./calibrations/stored/<station>`` when the working
        folder has ``calibrations/``; else the person's data folder.
        """
        if self.calibration.folder is not None:
            return Path(self.calibration.folder).expanduser()
        here = Path.cwd() / "calibrations"
        base = here if here.is_dir() else data_folder() / "calibrations"
        return base / "stored" / self.name


def _refuse_empty(address: str, option: str) -> None:
    if not address.strip():
        raise UsageError(
            f"{option} is empty",
            hint="Give a VISA address such as TCPIP::192.0.2.10::5025::SOCKET, or leave the option out.",
        )


def load_station(name: str) -> Station:
    """Find, read and check a station definition, by name or path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    station = load_definition("stations", name, Station)
    try:
        station.settings()
    except UsageError as error:  # a requirement that does not exist, or a range that makes no sense
        raise DefinitionError(
            f"{find_definition('stations', name)}: sweep.requirements: {error.message}", hint=error.hint
        ) from error
    return station.called_by(name)
