"""Small random measurements, and text that people really type."""

from __future__ import annotations

import numpy as np

from benchsweep.records import (
    AnalyzerIdentity,
    Calibration,
    ErrorTerms,
    Hookup,
    Measurement,
    Probe,
    RawHookup,
    RawSweep,
    SMatrix,
    Specimen,
    SweepSettings,
    balanced_ports,
)

LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
CREATED = "2026-03-01T12:30:05Z"


def noise(rng: np.random.Generator, *shape: int) -> np.ndarray:
    return 0.1 * (rng.normal(size=shape) + 1j * rng.normal(size=shape))


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
    fields = {
        "identifier": "cal-1",
        "created_at": CREATED,
        "idn": "Simulated works,bench analyzer 16 ports,1,0",
        "kit": "simulated-contacts",
        "method": "short-open-load at every port, thrus from port 1",
        "settings": SweepSettings(1e6, 500e6, points, 1e3, 4, -5.0),
        "terms": terms,
        "residuals_db": {"load port 3": -78.25, "thru 1-2": -80.1, "thru 1-3": -np.inf},
    }
    return Calibration(**(fields | changes))


def raw_hookup(rng: np.random.Generator, number: int = 1, points: int = 3, ports: int = 4) -> RawHookup:
    legs = LEGS[4 * (number - 1) % 16 :]
    connections = {port: legs[(port - 1) % len(legs)] for port in range(1, ports + 1)}
    sweep = RawSweep(
        np.linspace(1e6, 500e6, points), noise(rng, points, ports, ports), tuple(connections), CREATED, 0.125
    )
    return RawHookup(Hookup(number, connections), sweep)


def measurement(
    seed: int = 1, *, points: int = 3, ports: int = 4, hookups: int = 2, **changes: object
) -> Measurement:
    rng = np.random.default_rng(seed)
    legs = LEGS[:ports]
    n, grid = len(legs), np.linspace(1e6, 500e6, points)
    fields = {
        "specimen": Specimen("cord 2 m / no. 7", 2.0, "green, from drum 12"),
        "created_at": CREATED,
        "origin": "bench",
        "station": "simulated",
        "operator": "M. Lindqvist",
        "corrected": SMatrix(grid, noise(rng, points, n, n), legs, (50.0,) * n),
        "hookups": tuple(raw_hookup(rng, n + 1, points, ports) for n in range(hookups)),
        "calibration": calibration(rng, points, ports),
        "analyzer": AnalyzerIdentity(
            "Simulated works,x,1,0", "named-measurement", ports, (Probe("*OPT?", "0"),)
        ),
        "settings": SweepSettings(1e6, 500e6, points, 1e3, 4, -5.0),
        "fixture_toml": 'schema = 1\nname = "contacts"\n# naïve\n',
        "consistency_db": {"A:12.1": -61.5, "A:12.2": -np.inf},
        "ambient": {"temperature_degc": 21.5},
        "software": {"benchsweep": "0.1.0", "numpy": np.__version__},
    }
    return Measurement(**(fields | changes))


def imported(seed: int = 1) -> Measurement:
    """A measurement as an import leaves it: nothing but a matrix and a file name."""
    rng = np.random.default_rng(seed)
    matrix = SMatrix([1e6, 2e6], noise(rng, 2, 4, 4), LEGS[:4], (50.0,) * 4)
    return Measurement(Specimen("x"), CREATED, "touchstone", "", "", matrix, source_file="x.s4p")
