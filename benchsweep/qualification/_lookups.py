"""Small questions: is a kit or an archive usable, what is in a calibration, what is installed where."""

from __future__ import annotations

import platform
import sys
from pathlib import Path
from typing import Any

from benchsweep import __version__, archive, calibration
from benchsweep.acquisition import SimulatedSwitch
from benchsweep.definitions import data_folder, search_folders
from benchsweep.errors import UnknownName, UsageError
from benchsweep.instrument import visa_libraries
from benchsweep.qualification._bench import Bench
from benchsweep.qualification._identity import list_family_files
from benchsweep.qualification._reduction import software_versions
from benchsweep.records import Calibration, Measurement

__all__ = [
    "calibration_document",
    "check_archive",
    "check_kit",
    "check_method",
    "info_document",
    "insert_simulated_specimen",
    "read_measurement",
]


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


def check_method(name: str | None) -> calibration.Method | None:
    """Return `name` if it is a method of calibration; None is fine.

    Raises
    ------
    UnknownName
    """
    known = next((method for method in calibration.METHODS if method == name), None)
    if name is not None and known is None:
        raise UnknownName(
            f"no method of calibration named {name!r}; there are: {', '.join(calibration.METHODS)}",
            hint="Give one of these, or leave --method out: the kit has one.",
        )
    return known


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


def read_measurement(path: archive.Source) -> Measurement:
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
    """Return ``benchsweep.info/1``: versions, VISA libraries, command families, search folders."""
    kinds = (
        "stations",
        "fixtures",
        "port-maps",
        "kits",
        "checks",
        "budgets",
        "requirements",
        "families",
        "mappings",
        "accuracies",
        "texts",
    )
    return {
        "schema": "benchsweep.info/1",
        "benchsweep": __version__,
        "python": sys.version.split()[0],
        "platform": platform.platform(),
        "packages": {name: number for name, number in software_versions().items() if name != "benchsweep"},
        "visa": dict(visa_libraries()),
        "families": list_family_files(),
        "data_folder": str(data_folder()),
        "search": {kind: [str(folder) for folder in search_folders(kind)] for kind in kinds},
    }
