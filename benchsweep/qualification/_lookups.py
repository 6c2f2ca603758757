"""Small questions: who answers at an address, which plan a station leads to, what is installed where."""

from __future__ import annotations

import platform
import sys
from pathlib import Path
from typing import Any

from benchsweep import __version__, archive, calibration, fixture
from benchsweep.acquisition import SimulatedSwitch
from benchsweep.definitions import data_folder, search_folders
from benchsweep.errors import LinkLost, UsageError
from benchsweep.instrument import identify, open_link, visa_libraries
from benchsweep.qualification._bench import Bench
from benchsweep.qualification._qualify import plan_for
from benchsweep.qualification._reduction import software_versions
from benchsweep.qualification._requirements import load_requirements
from benchsweep.qualification._station import Station
from benchsweep.records import AnalyzerIdentity, Calibration, Measurement, Plan

__all__ = [
    "calibration_document",
    "check_archive",
    "check_kit",
    "identify_address",
    "info_document",
    "insert_simulated_specimen",
    "plan_station",
    "read_measurement",
]

# Common practice, no source: how long a person takes to move one balanced port, the relays of the simulated
# bench nothing.
_SECONDS_PER_MATING = {"person": 20.0, "simulated": 0.0}
_SETTLING_S_PER_POINT = 60e-6
_BANDWIDTHS_PER_POINT = 1.2
_POINTS_WHEN_ANALYZER_DECIDES = 500


def identify_address(address: str, *, family: str | None, backend: str, timeout_s: float) -> AnalyzerIdentity:
    """Ask who answers at `address`.

    Raises
    ------
    LinkLost, InstrumentTimeout, UnknownFamily, UsageError
    """
    with open_link(address, backend=backend, timeout_s=timeout_s) as link:
        return identify(link, family)


def plan_station(station: Station, requirement: str) -> tuple[Plan, float]:
    """Return the plan of a qualification at `station` and the seconds it will take.

    The number of analyzer ports is what the station file says; else what the analyzer answers, when there is
    an address; else what the fixture could use.

    Raises
    ------
    UnknownName, DefinitionError, HookupImpossible, InstrumentError
    """
    load_requirements([requirement])
    calibration.load_kit(station.calibration.kit)
    definition = fixture.load_fixture(station.fixture.name)
    ports = station.analyzer.ports
    if ports is None and station.analyzer.address:
        ports = _ports_of(station)
    plan = plan_for(definition.usable_slots(64 if ports is None else ports))
    points = station.sweep.points or _POINTS_WHEN_ANALYZER_DECIDES
    per_drive = points * (_BANDWIDTHS_PER_POINT / station.sweep.if_bandwidth_hz + _SETTLING_S_PER_POINT)
    drives = sum(len(hookup.connections) for hookup in plan.hookups)
    seconds = per_drive * drives * station.sweep.averages
    return plan, seconds + plan.matings * _SECONDS_PER_MATING[station.switch.kind]


def _ports_of(station: Station) -> int:
    keys = station.analyzer
    try:
        return identify_address(
            keys.address, family=keys.family, backend=keys.backend, timeout_s=keys.timeout_s
        ).ports
    except LinkLost as error:
        error.hint += " To plan without the analyzer, put `ports` under [analyzer] in the station file."
        raise


def check_archive(folder: Path) -> None:
    """Refuse a path that is no folder, before an instrument is touched; makes nothing.

    Raises
    ------
    ArchiveError
    """
    archive.refuse_file(folder)


def check_kit(name: str | None) -> None:
    """Refuse a kit that does not exist or is wrong, before an instrument is touched; None is fine.

    Raises
    ------
    UnknownName, DefinitionError
    """
    if name is not None:
        calibration.load_kit(name)


def insert_simulated_specimen(bench: Bench, specimen: str) -> None:
    """Exchange the specimen of a simulated bench.

    Raises
    ------
    UsageError
        The bench is a real one.
    ScpiError
        The bench knows no such specimen.
    """
    if not isinstance(bench.switch, SimulatedSwitch):
        raise UsageError(f"station {bench.station.name} is no simulated bench", hint="Exchange it by hand.")
    bench.switch.insert(specimen)


def read_measurement(path: Path) -> Measurement:
    """Read a record after checking it.

    Raises
    ------
    ArchiveError
    """
    return archive.read_record(path)


def calibration_document(stored: Calibration, *, path: str) -> dict[str, Any]:
    """Return ``benchsweep.calibration/1``: what a stored calibration is, without its arrays."""
    grid = stored.terms.frequency_hz
    return {
        "schema": "benchsweep.calibration/1",
        "calibration": path,
        "identifier": stored.identifier,
        "created_at": stored.created_at,
        "analyzer": stored.idn,
        "kit": stored.kit,
        "method": stored.method,
        "ports": list(stored.terms.analyzer_ports),
        "points": int(grid.size),
        "start_hz": float(grid[0]),
        "stop_hz": float(grid[-1]),
        "residuals_db": dict(stored.residuals_db),
    }


def info_document() -> dict[str, Any]:
    """Return ``benchsweep.info/1``: versions, VISA libraries, search folders."""
    kinds = ("stations", "fixtures", "port-maps", "kits", "requirements", "families")
    return {
        "schema": "benchsweep.info/1",
        "benchsweep": __version__,
        "python": sys.version.split()[0],
        "platform": platform.platform(),
        "packages": {name: number for name, number in software_versions().items() if name != "benchsweep"},
        "visa": dict(visa_libraries()),
        "data_folder": str(data_folder()),
        "search": {kind: [str(folder) for folder in search_folders(kind)] for kind in kinds},
    }
