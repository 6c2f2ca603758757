"""Invented cords: traces with the shape of the real ones, graded against invented limit lines."""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import (
    FOUR_PAIRS,
    AnalyzerIdentity,
    Calibration,
    ErrorTerms,
    LimitCurve,
    Measurement,
    Outcome,
    Parameter,
    SMatrix,
    Specimen,
    SweepSettings,
    Trace,
    Verdict,
    VerdictRow,
    WiringFinding,
    WiringReport,
    balanced_ports,
)
from benchsweep.report import ReportItem

P = Parameter
# Parameter -> value at 100 MHz, slope in dB per decade, limit at 100 MHz
SHAPES = {
    P.INSERTION_LOSS: (0.5, 0.3, 1.0),
    P.RETURN_LOSS: (28.0, -10.0, 20.0),
    P.NEXT: (50.0, -18.0, 42.0),
    P.PS_NEXT: (47.0, -18.0, 39.0),
    P.FEXT: (52.0, -20.0, None),
    P.ACR_N: (49.0, -18.0, 41.0),
    P.PS_ACR_N: (46.0, -18.0, 38.0),
    P.ACR_F: (51.0, -20.0, 43.0),
    P.PS_ACR_F: (48.0, -20.0, 40.0),
    P.TCL: (35.0, -10.0, None),
    P.ELTCTL: (30.0, -20.0, None),
    P.DELAY: (10.0, -0.1, 40.0),
    P.SKEW: (0.5, 0.0, 5.0),
}


def pairs_of(parameter: Parameter) -> list[tuple[str, ...]]:
    if parameter in (P.NEXT, P.FEXT, P.ACR_N, P.ACR_F):
        return list(permutations(FOUR_PAIRS, 2))
    if parameter is P.SKEW:
        return [("12", pair) for pair in FOUR_PAIRS[1:]]
    return [(pair,) for pair in FOUR_PAIRS]


def traces(rng: np.random.Generator, points: int, fault_db: float) -> list[Trace]:
    grid = np.linspace(1e6, 500e6, points)
    made = []
    for parameter, (value, slope, _) in SHAPES.items():
        for end in (None,) if parameter.unit == "ns" else ("A", "B"):
            for pairs in pairs_of(parameter):
                ripple = abs(value) * 0.1 * np.abs(np.sin(grid / rng.uniform(20e6, 60e6) + rng.uniform(0, 6)))
                bad = fault_db if end == "B" and set(pairs) == {"36", "45"} else 0.0
                noise = 0.002 * value * rng.normal(size=points)
                curve = value + slope * np.log10(grid / 1e8) + ripple + noise - bad
                made.append(Trace(parameter, end, pairs, grid, curve))
    return made


def limit_curves(points: int) -> dict[Parameter, LimitCurve]:
    grid = np.linspace(1e6, 500e6, points)
    curves = {}
    for parameter, (_, slope, limit) in SHAPES.items():
        if limit is not None:
            rising = parameter is P.INSERTION_LOSS or parameter.unit == "ns"
            value = limit + slope * np.log10(grid / 1e8)
            curves[parameter] = LimitCurve(
                parameter, "max" if rising else "min", grid, value, "from-memory", "invented, clause 7.3"
            )
    return curves


def row_of(trace: Trace, curve: LimitCurve) -> VerdictRow:
    margin = (curve.value - trace.value) * (1 if curve.sense == "max" else -1)
    at = int(np.argmin(margin))
    outcome = Outcome.PASS if margin[at] >= 0 else Outcome.FAIL
    return VerdictRow(
        trace.parameter,
        trace.end,
        trace.pairs,
        float(margin[at]),
        float(trace.frequency_hz[at]),
        float(trace.value[at]),
        float(curve.value[at]),
        None,
        outcome,
        curve.standing,
    )


def measurement(rng: np.random.Generator, identifier: str, points: int) -> Measurement:
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    grid = np.linspace(1e6, 500e6, points)
    ports = tuple(range(1, 17))
    zeros = np.zeros((points, 16))
    settings = SweepSettings(1e6, 500e6, points, 1e3, 1, -5.0)
    terms = ErrorTerms(grid, ports, zeros, zeros, zeros, zeros + 1, np.ones((points, 16, 16)))
    residuals = {f"load port {port}": -80.0 + port for port in ports}
    residuals |= {f"thru 1-{port}": -75.0 - port for port in ports[1:]}
    return Measurement(
        specimen=Specimen(identifier, 2.0, "green, from drum 12"),
        created_at="2026-03-01T12:30:05Z",
        origin="bench",
        station="simulated",
        operator="M. Lindqvist",
        corrected=SMatrix(grid, 0.01 * rng.normal(size=(points, 16, 16)), legs, (50.0,) * 16),
        calibration=Calibration(
            "cal-7", "2026-03-01T08:00:00Z", "Simulated works,x", "simulated-contacts", "SOLT", settings,
            terms, residuals,
        ),
        analyzer=AnalyzerIdentity("Simulated works,bench analyzer 16 ports,1,0", "named-measurement", 16),
        settings=settings,
        fixture_toml='schema = 1\nname = "contacts"\n',
        consistency_db=dict.fromkeys(legs, -60.0),
        ambient={"temperature_degc": 21.5},
        software={"benchsweep": "0.1.0", "numpy": "2.4"},
    )  # fmt: skip


def item(
    identifier: str = "cord 2 m / no. 7", *, points: int = 201, fault_db: float = 0.0, seed: int = 1
) -> ReportItem:
    rng = np.random.default_rng(seed)
    lines, curves = traces(rng, points, fault_db), limit_curves(points)
    rows = tuple(row_of(trace, curves[trace.parameter]) for trace in lines if trace.parameter in curves)
    outcome = Outcome.FAIL if any(row.outcome is Outcome.FAIL for row in rows) else Outcome.PASS
    findings = (
        WiringFinding("split", (3, 6, 4, 5), ("36", "45"), "B", "pairs 3-6 and 4-5 are split at end B"),
    )
    wiring = WiringReport((1, 2, 3, 4, 5, 6, 7, 8), findings if fault_db else ())
    verdict = Verdict(
        "/data/archive/20260301T123005Z-cord.h5", identifier, "tia-6a-cord", "simple", 2.0, outcome, rows,
        wiring, ("every limit used here is from memory",),
    )  # fmt: skip
    return ReportItem(measurement(rng, identifier, points), lines, verdict, curves, "ab" * 32)


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """The builders, by name."""
    makers: dict[str, Callable[..., object]] = {"item": item, "traces": traces, "limit_curves": limit_curves}
    return SimpleNamespace(**makers)
