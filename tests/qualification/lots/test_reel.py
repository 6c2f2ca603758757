"""A graded record as the result of a reel, checked on lines whose values are known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchsweep.limits import Conditions, load_requirement
from benchsweep.qualification import evaluate, grade_evaluation
from benchsweep.qualification.lots._reel import evaluate_reel
from benchsweep.records import (
    FOUR_PAIRS,
    End,
    Measurement,
    Outcome,
    Parameter,
    ReelResult,
    SMatrix,
    Specimen,
    balanced_ports,
)

GRID = np.linspace(1e6, 250e6, 250)
AT_100 = int(np.argmin(abs(GRID - 100e6)))
LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
UNSCREENED = Conditions(construction="unscreened")
C_M_PER_S = 299792458.0


def loss_db(frequency_hz: np.ndarray) -> np.ndarray:
    """0.9 of the insertion loss of category 6 cable, 100 m at 20 degC (ANSI/TIA-568-C.2, 6.4.7)."""
    f = frequency_hz / 1e6
    return 0.9 * (1.808 * f**0.5 + 0.017 * f + 0.2 / f**0.5)


def cable(
    length_m: float = 100.0,
    *,
    degc: float | None = 20.0,
    warm: float = 1.0,
    delay_ns: dict[str, float] | None = None,
    next_db: dict[End, float] | None = None,
    fext_db: float | None = None,
) -> Measurement:
    """Four matched pairs; a flat NEXT and FEXT of pairs 12 and 36 where wanted.

    Parameters
    ----------
    warm
        Loss is so many times that at 20 degC.
    delay_ns
        Of 100 m, pair by pair; 530 + 36/sqrt(f) where it is not told.
    """
    d = {str(port): place for place, port in enumerate(balanced_ports())}
    s = np.zeros((GRID.size, 8, 8), complex)
    attenuation = loss_db(GRID) * warm * length_m / 100.0
    for pair in FOUR_PAIRS:
        delay = (delay_ns or {}).get(pair, 530.0 + 36.0 / np.sqrt(GRID / 1e6)) * 1e-9 * length_m / 100.0
        through = 10 ** (-attenuation / 20.0) * np.exp(-2j * np.pi * GRID * delay)
        a, b = d[f"A:{pair}"], d[f"B:{pair}"]
        s[:, a, b] = s[:, b, a] = through
    for end, level in (next_db or {}).items():
        one, other = d[f"{end}:12"], d[f"{end}:36"]
        s[:, one, other] = s[:, other, one] = 10 ** (-level / 20.0)
    if fext_db is not None:
        for one, other in ((d["A:12"], d["B:36"]), (d["B:12"], d["A:36"])):
            s[:, one, other] = s[:, other, one] = 10 ** (-fext_db / 20.0)
    # Legs of a pair carry half of the differential wave each, in opposition; no common mode goes anywhere.
    legs = np.kron(np.eye(8), np.array([[1.0], [-1.0]]) / math.sqrt(2.0))
    return Measurement(
        specimen=Specimen("R001", length_m, "", "26-118", "C6-23"),
        created_at="2026-03-01T08:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(GRID, legs @ s @ legs.T, LEGS, (50.0,) * 16),
        ambient={} if degc is None else {"temperature_degc": degc},
    )


def result(measurement: Measurement, conditions: Conditions = UNSCREENED, **how: Any) -> ReelResult:
    requirement = load_requirement("tia-6-cable")
    evaluation = evaluate(measurement)
    verdict, _ = grade_evaluation(evaluation, requirement, record="", conditions=conditions, **how)
    return evaluate_reel(evaluation, requirement, verdict, conditions=conditions)


def margin(found: ReelResult, parameter: Parameter, end: End | None = None) -> float:
    worst = found.margin_of(parameter, end)
    assert worst is not None
    assert worst.margin is not None
    return worst.margin


@pytest.mark.parametrize("length_m", [100.0, 90.0, 50.0, 120.0])
def test_loss_delay_and_velocity_are_those_of_100_m_whatever_was_measured(length_m: float) -> None:
    found = result(cable(length_m))
    f = GRID / 1e6
    limit = 1.808 * f**0.5 + 0.017 * f + 0.2 / f**0.5
    assert margin(found, Parameter.INSERTION_LOSS) == pytest.approx(float(np.min(0.1 * limit)), abs=1e-9)
    # The limit is 534 + 36/sqrt(f) ns for 100 m (TIA, from memory).
    assert margin(found, Parameter.DELAY) == pytest.approx(4.0, abs=1e-6)
    # Worked: .6205 of the velocity of light at 100 MHz at that limit; here at the highest frequency.
    expected = 100.0 / ((530.0 + 36.0 / math.sqrt(250.0)) * 1e-9) / C_M_PER_S
    assert [each.velocity_fraction for each in found.constants] == pytest.approx([expected] * 8, rel=1e-9)
    assert 100.0 / (537.6e-9) / C_M_PER_S == pytest.approx(0.6205, abs=5e-5)
    assert found.length_m == length_m
    assert len(found.constants) == 8


def test_skew_is_brought_to_100_m() -> None:
    found = result(cable(50.0, delay_ns={"12": 520.0, "36": 530.0, "45": 525.0, "78": 525.0}))
    assert found.skew_ns_per_100m == pytest.approx(10.0, abs=1e-9)
    assert margin(found, Parameter.SKEW) == pytest.approx(45.0 - 10.0, abs=1e-9)


@pytest.mark.parametrize(
    ("degc", "construction", "factor"),
    # TIA-568-C.2, 6.4.7, as quoted in public: 1.08 and 1.20 unscreened at 40 and 60 degC, 1.08 screened
    # at 60.
    [
        (40.0, "unscreened", 1.08),
        (60.0, "unscreened", 1.20),
        (60.0, "screened", 1.08),
        (22.0, "unscreened", 1.0),
    ],
)
def test_a_warm_reel_is_that_at_20_degc(degc: float, construction: Any, factor: float) -> None:
    cold = margin(result(cable()), Parameter.INSERTION_LOSS)
    warm = result(cable(degc=degc, warm=factor), Conditions(construction=construction))
    assert margin(warm, Parameter.INSERTION_LOSS) == pytest.approx(cold, abs=1e-9)
    assert warm.temperature_degc == degc


@pytest.mark.parametrize(("length_m", "change_db"), [(50.0, -3.010), (90.0, -0.458), (100.0, 0.0)])
def test_far_end_crosstalk_follows_the_length(length_m: float, change_db: float) -> None:
    # Worked: F100 = F_L - 10 lg(100/L).
    found = result(cable(length_m, fext_db=70.0))
    worst = found.margin_of(Parameter.ACR_F)
    assert worst is not None
    assert worst.frequency_hz is not None
    at = np.array([worst.frequency_hz])
    measured = 70.0 - float(loss_db(at)[0]) * length_m / 100.0
    assert worst.value == pytest.approx(measured + change_db, abs=5e-4)


def test_near_end_crosstalk_of_a_short_length_saturates() -> None:
    # N100 = N_L - 10 lg((1 - 10^(-A100/5)) / (1 - 10^(-A_L/5))), worked: -0.045 dB at A100 19.8 dB, L 50 m.
    at = np.argmin(abs(loss_db(GRID) - 19.8))
    a100 = float(loss_db(GRID)[at])
    found = result(cable(50.0, next_db={"A": 44.0}))
    worst = found.margin_of(Parameter.NEXT, "A")
    assert worst is not None
    assert worst.frequency_hz is not None
    loss = float(loss_db(np.array([worst.frequency_hz]))[0])
    fall = 10.0 * math.log10((1.0 - 10 ** (-loss / 5.0)) / (1.0 - 10 ** (-loss / 10.0)))
    assert worst.value == pytest.approx(44.0 - fall, abs=1e-9)
    assert -10.0 * math.log10((1 - 10 ** (-a100 / 5)) / (1 - 10 ** (-a100 / 10))) == pytest.approx(
        -0.045, abs=2e-3
    )
    whole = result(cable(100.0, next_db={"A": 44.0})).margin_of(Parameter.NEXT, "A")
    assert whole is not None
    assert whole.value == pytest.approx(44.0, abs=1e-9)


def test_the_worse_end_is_that_of_the_reel() -> None:
    found = result(cable(next_db={"A": 70.0, "B": 40.0}))
    assert margin(found, Parameter.NEXT, "A") > margin(found, Parameter.NEXT, "B")
    assert found.margin_of(Parameter.NEXT) == found.margin_of(Parameter.NEXT, "B")
    assert found.outcome is Outcome.FAIL
    assert found.conforms is False
    failing = [words for words in found.failing if words.startswith("NEXT, end B, pairs 12-36")]
    assert len(failing) == 1
    assert "outside the limit at 1.00 MHz" in failing[0]
    ends = {(each.parameter, each.end) for each in found.margins}
    assert {(Parameter.NEXT, "A"), (Parameter.NEXT, "B"), (Parameter.SKEW, None)} <= ends
    bad = {each.parameter for each in found.margins if each.outcome is Outcome.FAIL}
    assert bad == {Parameter.NEXT, Parameter.PS_NEXT}


def test_an_uncoupled_uniform_line_has_no_structure_and_infinite_margins() -> None:
    found = result(cable())
    assert margin(found, Parameter.NEXT) == math.inf
    assert margin(found, Parameter.RETURN_LOSS) == math.inf
    for each in found.constants:
        assert each.mean_impedance_ohm == pytest.approx(100.0, abs=1e-6)
        assert each.fitted_impedance_ohm == pytest.approx(100.0, abs=1e-6)
        assert each.structural_return_loss_db > 100.0


def test_a_trace_that_was_not_measured_leaves_the_worst_unknown() -> None:
    whole = cable()
    legs = [place for place, leg in enumerate(LEGS) if not leg.startswith("B:78")]
    part = SMatrix(GRID, whole.corrected.s[:, legs][:, :, legs], tuple(LEGS[n] for n in legs), (50.0,) * 14)
    found = result(replace(whole, corrected=part))
    assert found.conforms is None
    assert found.margin_of(Parameter.INSERTION_LOSS) is None
    assert found.margin_of(Parameter.NEXT, "A") is not None


def test_a_reel_without_a_length_is_none() -> None:
    whole = cable()
    with pytest.raises(ValueError, match="without a length"):
        result(replace(whole, specimen=replace(whole.specimen, length_m=None)))
