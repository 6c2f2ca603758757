from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field, PrivateAttr, model_validator

from benchsweep.definitions import Definition, data_folder, load_definition
from benchsweep.records import SweepSettings

__all__ = ["Station", "load_station"]


class AnalyzerKeys(Definition):
    """``[analyzer]``: where it is and how to reach it."""

    address: str = ""
    family: str | None = None
    backend: str = "@py"
    timeout_s: float = Field(default=10.0, gt=0, le=600)
    ports: int | None = Field(default=None, ge=1, le=64)


class SweepKeys(Definition):
    """``[sweep]``: grid (all three keys or none) and receiver settings."""

    start_mhz: float | None = Field(default=None, gt=0)
    stop_mhz: float | None = Field(default=None, gt=0)
    points: int | None = Field(default=None, ge=2, le=100_001)
    if_bandwidth_hz: float = Field(gt=0)
    averages: int = Field(default=1, ge=1, le=1000)
    power_dbm: float = Field(default=-5.0, ge=-90, le=20)

    @model_validator(mode="after")
    def _whole_grid(self) -> Self:
        given = [key is not None for key in (self.start_mhz, self.stop_mhz, self.points)]
        if any(given) and not all(given):
            raise ValueError("start_mhz, stop_mhz and points belong together: give all three or none")
        if self.start_mhz is not None and self.stop_mhz is not None and self.start_mhz >= self.stop_mhz:
            raise ValueError("start_mhz must be below stop_mhz")
        return self


class SwitchKeys(Definition):
    """``[switch]``: who makes the connections."""

    kind: Literal["person", "simulated"]


class FixtureKeys(Definition):
    """``[fixture]``: name or path of the fixture definition."""

    name: str


class CalibrationKeys(Definition):
    """``[calibration]``: kit, age rule, and what to do when there is none."""

    kit: str
    max_age_hours: float = Field(gt=0)
    when_missing: Literal["refuse", "calibrate"] = "refuse"
    folder: str | None = None


class Station(Definition):
    """A bench: analyzer, sweep, switch, fixture and calibration rules. ``station.toml``."""

    schema_: Literal[1] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]*$")
    description: str = ""
    analyzer: AnalyzerKeys = AnalyzerKeys()
    sweep: SweepKeys
    switch: SwitchKeys
    fixture: FixtureKeys
    calibration: CalibrationKeys
    _called: str = PrivateAttr(default="")

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
        """Return the same station with another analyzer address; None changes nothing."""
        if not address:
            return self
        return self.model_copy(update={"analyzer": self.analyzer.model_copy(update={"address": address})})

    def settings(self) -> SweepSettings:
        """Return the sweep settings to ask for."""
        sweep = self.sweep
        return SweepSettings(
            start_hz=None if sweep.start_mhz is None else sweep.start_mhz * 1e6,
            stop_hz=None if sweep.stop_mhz is None else sweep.stop_mhz * 1e6,
            points=sweep.points,
            if_bandwidth_hz=sweep.if_bandwidth_hz,
            averages=sweep.averages,
            power_dbm=sweep.power_dbm,
        )

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


def load_station(name: str) -> Station:
    """Find, read and check a station definition, by name or path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    station = load_definition("stations", name, Station)
    return station.called_by(name)
