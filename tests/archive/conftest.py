"""Small random measurements, and text that people really type."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import write_record
from benchsweep.records import (
    AnalyzerIdentity,
    Calibration,
    ErrorTerms,
    Hookup,
    Measurement,
    Probe,
    RawHookup,
    RawSweep,
    SafetyConfirmation,
    SMatrix,
    Specimen,
    StandardTerm,
    SweepSegment,
    SweepSettings,
    balanced_ports,
)

LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
CREATED = "2026-03-01T12:30:05Z"


def noise(rng: np.random.Generator, *shape: int) -> np.ndarray:
    return 0.1 * (rng.normal(size=shape) + 1j * rng.normal(size=shape))


def standard_term(rng: np.random.Generator, points: int, *, same_piece: bool = True) -> StandardTerm:
    residuals = ("directivity", "source_match", "load_match", "reflection_tracking", "transmission_tracking")
    return StandardTerm(
        standard="load" if same_piece else "thru",
        quantity="reflection" if same_piece else "transmission",
        real=np.abs(noise(rng, points)),
        imaginary=np.abs(noise(rng, points)),
        same_piece=same_piece,
        nominal=noise(rng, points),
        **{name: noise(rng, points) for name in residuals},
    )


def calibration(rng: np.random.Generator, points: int = 3, ports: int = 4, **changes: object) -> Calibration:
    grid = np.linspace(1e6, 500e6, points)
    terms = ErrorTerms(
        frequency_hz=grid,
        analyzer_ports=tuple(range(1, ports + 1)),
        directivity=noise(rng, points, ports),
        source_match=noise(rng, points, ports),
        load_match=noise(rng, points, ports),
        reflection_tracking=noise(rng, points, ports),
        transmission_tracking=noise(rng, points, ports, ports),
    )
    content = {
        "identifier": "cal-1",
        "created_at": CREATED,
        "idn": "Simulated works,bench analyzer 16 ports,1,0",
        "kit": "simulated-contacts",
        "method": "short-open-load at every port, thrus from port 1",
        "settings": SweepSettings(1e6, 500e6, points, 1e3, 4, -5.0),
        "terms": terms,
        "residuals_db": {"load port 3": -78.25, "thru 1-2": -80.1, "thru 1-3": -np.inf},
        "standard_terms": (standard_term(rng, points), standard_term(rng, points, same_piece=False)),
    }
    return Calibration(**(content | changes))


def switch_terms(points: int, ports: int) -> np.ndarray:
    return noise(np.random.default_rng(7), points, ports, ports) * (1.0 - np.eye(ports))


def raw_hookup(rng: np.random.Generator, number: int = 1, points: int = 3, ports: int = 4) -> RawHookup:
    legs = LEGS[4 * (number - 1) % 16 :]
    connections = {port: legs[(port - 1) % len(legs)] for port in range(1, ports + 1)}
    sweep = RawSweep(
        np.linspace(1e6, 500e6, points),
        noise(rng, points, ports, ports),
        tuple(connections),
        CREATED,
        0.125,
        {"SENS1:BWID?": "+1.0E3", "FORM?": "REAL,64"},
        # Every other hookup has switch terms, as most have none.
        switch_terms(points, ports) if number % 2 else None,
    )
    return RawHookup(Hookup(number, connections, {"B:36": "T1", "B:78": "T2 spare"}), sweep)


def couplings(rng: np.random.Generator, grid: np.ndarray, legs: tuple[str, ...]) -> tuple[SMatrix, ...]:
    """Matrices of cable 0 and of two disturbing cables, of the same legs."""
    n = 2 * len(legs)
    return tuple(
        SMatrix(grid, noise(rng, grid.size, n, n), (*legs, *(f"{k}.{leg}" for leg in legs)), (50.0,) * n)
        for k in (1, 3)
    )


def measurement(
    seed: int = 1, *, points: int = 3, ports: int = 4, hookups: int = 2, **changes: object
) -> Measurement:
    rng = np.random.default_rng(seed)
    legs = LEGS[:ports]
    n, grid = len(legs), np.linspace(1e6, 500e6, points)
    content = {
        "specimen": Specimen("cord 2 m / no. 7", 2.0, "green, from drum 12"),
        "created_at": CREATED,
        "origin": "bench",
        "station": "simulated",
        "operator": "M. Lindqvist",
        "corrected": SMatrix(grid, noise(rng, points, n, n), legs, (50.0,) * n),
        "hookups": tuple(raw_hookup(rng, n + 1, points, ports) for n in range(hookups)),
        "calibration": calibration(rng, points, ports),
        "analyzer": AnalyzerIdentity(
            "Simulated works,x,1,0",
            "named-measurement",
            ports,
            (Probe("*OPT?", "0"),),
            {"min_frequency_hz": 9e3, "max_points": 20001.0},
            ("receiver ratios",),
        ),
        "settings": SweepSettings(
            1e6,
            500e6,
            points,
            1e3,
            4,
            -5.0,
            "segments",
            (SweepSegment(1e6, 1e8, points - 1), SweepSegment(2e8, 5e8, 1, 300.0)),
        ),
        "fixture_toml": 'schema = 1\nname = "contacts"\n# naïve\n',
        "consistency_db": {"A:12.1": -61.5, "A:12.2": -np.inf},
        "ambient": {"temperature_degc": 21.5},
        "safety": SafetyConfirmation(
            "M. Lindqvist", CREATED, ("No voltage is present.", "Wrist strap worn.")
        ),
        "incidents": ("hookup 2: connection lost; opened again",),
        "budget_toml": 'schema = 1\nname = "bench 2"\n',
        "verification": "used: largest ratio 0.4",
        "assembly_notes": ("the termination of B:36 in hookup 2",),
        "couplings": couplings(np.random.default_rng(seed + 1000), grid, legs),
        "software": {"benchsweep": "0.1.0", "numpy": np.__version__},
    }
    return Measurement(**(content | changes))


def imported(seed: int = 1) -> Measurement:
    """A measurement as an import leaves it: nothing but a matrix and a file name."""
    rng = np.random.default_rng(seed)
    matrix = SMatrix([1e6, 2e6], noise(rng, 2, 4, 4), LEGS[:4], (50.0,) * 4)
    return Measurement(Specimen("x"), CREATED, "touchstone", "", "", matrix, source_file="x.s4p")


def same(one: object, other: object) -> bool:
    """Equal to the last bit, types included, whatever the records hold."""
    if is_dataclass(one) and not isinstance(one, type):
        return type(one) is type(other) and all(
            same(getattr(one, part.name), getattr(other, part.name)) for part in fields(one)
        )
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return (one.shape, one.dtype, one.tobytes()) == (other.shape, other.dtype, other.tobytes())
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return list(one) == list(other) and all(same(one[key], other[key]) for key in one)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return struct.pack("<d", one) == struct.pack("<d", other)
    return type(one) is type(other) and one == other


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """The builders, by name."""
    return SimpleNamespace(
        measurement=measurement, imported=imported, calibration=calibration, raw_hookup=raw_hookup, same=same
    )


@pytest.fixture(scope="session")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One record on the disc, never to be changed."""
    return write_record(measurement(), tmp_path_factory.mktemp("stored"))
