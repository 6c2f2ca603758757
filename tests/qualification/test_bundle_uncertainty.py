"""Which hookups of a bundle the uncertainty of what rests on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsweep import fixture
from benchsweep.definitions import find_definition
from benchsweep.qualification import evaluate, uncertainty_model
from benchsweep.records import (
    AnalyzerIdentity,
    Hookup,
    Measurement,
    Parameter,
    RawHookup,
    RawSweep,
    SMatrix,
    Specimen,
    Trace,
    balanced_ports,
)
from tests.archive.conftest import calibration

GRID = np.linspace(1e6, 500e6, 3)
AT = np.arange(3)
BUDGET = """
schema = 1
name = "b"
description = "d"
coverage_factor = 2
source = "s"
standing = "from-memory"
"""
DRIFT = """
[[term]]
name = "temperature"
kind = "drift-temperature"
kelvin = 2.0
time_constant_s = 7200.0
gain_db_per_k = 0.05
source = "s"
standing = "from-memory"
"""
BALANCE = """
[[term]]
name = "baluns"
kind = "balance"
output_signal_balance_db = -60.0
common_mode_rejection_db = -60.0
common_mode_reflection_db = -10.0
assumed_tcl_db = -60.0
assumed_tctl_db = -60.0
assumed_crosstalk_conversion_db = -60.0
source = "s"
standing = "from-memory"
"""


def legs(*cables: int, ends: str = "AB") -> tuple[str, ...]:
    ports = (port for cable in cables for port in balanced_ports(cable=cable) if port.end in ends)
    return tuple(str(leg) for port in ports for leg in port.legs)


def matrix(ports: tuple[str, ...], z0: float = 50.0) -> SMatrix:
    rng = np.random.default_rng(len(ports))
    s = 1e-3 * (
        rng.normal(size=(3, len(ports), len(ports))) + 1j * rng.normal(size=(3, len(ports), len(ports)))
    )
    for i, one in enumerate(ports):
        for j, other in enumerate(ports):
            if one != other and one.replace("B:", "A:") == other.replace("B:", "A:"):
                s[:, i, j] = 0.8
    return SMatrix(GRID, s, ports, (z0,) * len(ports))


def hookup(number: int, ports: tuple[str, ...], hour: int) -> RawHookup:
    n = len(ports)
    sweep = RawSweep(GRID, np.zeros((3, n, n)), tuple(range(1, n + 1)), f"2026-03-01T{hour:02d}:30:05Z", 1.0)
    return RawHookup(Hookup(number, dict(enumerate(ports, 1))), sweep)


def bundle(*, later: int) -> Measurement:
    """The specimen an hour after its calibration of 12:30; two hookups with a disturbing cable `later`."""
    beside = [legs(0, 1, ends="A"), legs(0, 1, ends="B")]
    return Measurement(
        specimen=Specimen("bundle", 2.0),
        created_at="2026-03-01T20:00:00Z",
        origin="bench",
        station="x",
        operator="",
        corrected=matrix(legs(0)),
        hookups=(
            hookup(1, legs(0), 13),
            *(hookup(n, ports, 12 + later) for n, ports in enumerate(beside, 2)),
        ),
        calibration=replace(calibration(np.random.default_rng(1)), standard_terms=()),
        budget_toml=BUDGET + DRIFT,
        couplings=tuple(matrix(ports) for ports in beside),
    )


def u(measurement: Measurement, parameter: Parameter, end: str, pair: str) -> np.ndarray:
    model = uncertainty_model(measurement)
    assert model is not None
    return model.standard_uncertainty(trace_of(measurement, parameter, end, pair), AT)


def trace_of(measurement: Measurement, parameter: Parameter, end: str, pair: str) -> Trace:
    (found,) = [
        t for t in evaluate(measurement).traces if (t.parameter, t.end, t.pairs) == (parameter, end, (pair,))
    ]
    return found


def test_the_specimen_rests_on_its_own_hookups_alone() -> None:
    whole = bundle(later=8)
    alone = replace(whole, hookups=whole.hookups[:1], couplings=())
    for parameter in (Parameter.INSERTION_LOSS, Parameter.PS_NEXT):
        one, other = (u(measurement, parameter, "A", "36") for measurement in (whole, alone))
        assert one == pytest.approx(other, rel=1e-12)
        assert (one > 0.0).all()


def test_a_coupling_rests_on_the_hookups_that_measured_it() -> None:
    early, late = (u(bundle(later=hours), Parameter.PS_ANEXT, "B", "45") for hours in (1, 8))
    # sqrt(2 (1 - exp(-t / tau))), see the term drift-temperature.
    expected = np.sqrt((1.0 - np.exp(-4.0)) / (1.0 - np.exp(-0.5)))
    assert late / early == pytest.approx(np.full(3, expected), rel=1e-9)


def test_baluns_of_disturbing_cables_have_their_balance() -> None:
    text = find_definition("fixtures", "baluns-tapped").read_text(encoding="utf-8")
    slots = fixture.read_fixture(text).slots(16)

    def modes(*cables: int) -> tuple[str, ...]:
        ports = [port for cable in cables for port in balanced_ports(cable=cable) if port.end == "A"]
        return tuple(f"{port}/{mode}" for port in ports for mode in "dc")

    ports = modes(0, 3)
    connections = {
        number: label
        for slot, pair in zip(slots, zip(ports[::2], ports[1::2], strict=True), strict=False)
        for number, label in zip(slot, pair, strict=True)
    }
    assert len(connections) == 16
    plain = bundle(later=1)
    measurement = replace(
        plain,
        analyzer=AnalyzerIdentity("x", "y", 16),
        corrected=matrix(modes(0), 100.0),
        couplings=(matrix(ports, 100.0),),
        hookups=(RawHookup(Hookup(1, connections), plain.hookups[0].sweep),),
        fixture_toml=text,
        budget_toml=BUDGET + BALANCE,
    )
    trace = trace_of(measurement, Parameter.PS_ANEXT, "A", "36")
    stated = []
    # The figures of the fixture go first, at the ports of the disturbing cable, too.
    for level in ("-60.0", "-20.0"):
        budget = measurement.budget_toml.replace("balance_db = -60.0", f"balance_db = {level}")
        model = uncertainty_model(replace(measurement, budget_toml=budget))
        assert model is not None
        found = model.contributions(trace, 1)
        assert [one.term for one in found] == ["baluns"]
        stated.append(found[0].standard_uncertainty)
    assert stated[0] == pytest.approx(stated[1])
    assert stated[0] > 0.0
