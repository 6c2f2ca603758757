"""Reels as results on lines that scikit-rf makes, or whose coupling is integrated in closed form."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0

from benchsweep import archive
from benchsweep.archive.lots import decode_event, encode_event
from benchsweep.errors import LotRefused
from benchsweep.limits import Conditions, load_requirement
from benchsweep.qualification import add_record, correct, evaluate, grade_evaluation, locate
from benchsweep.qualification.lots._reel import evaluate_reel
from benchsweep.records import (
    FOUR_PAIRS,
    End,
    Measurement,
    Parameter,
    ReelAdded,
    ReelResult,
    SMatrix,
    Specimen,
    balanced_ports,
)
from tests.cabling.distance.lines import medium
from tests.qualification.lots.reels import PRODUCT, loss_limit_db, measured, opened

GRID = 1e6 * np.arange(1.0, 251.0)
UNSCREENED = Conditions(construction="unscreened")
LIGHT = 299_792_458.0
PORTS = [str(port) for port in balanced_ports()]


def of_differential(s: np.ndarray, grid: np.ndarray, length_m: float) -> Measurement:
    """Eight differential ports of 100 ohm as sixteen legs of 50 ohm; no common mode goes anywhere."""
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    split = np.kron(np.eye(8), np.array([[1.0], [-1.0]]) / math.sqrt(2.0))
    return Measurement(
        specimen=Specimen("R001", length_m, "", "26-118", PRODUCT),
        created_at="2026-03-01T08:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(grid, split @ s @ split.T, legs, (50.0,) * 16),
        ambient={"temperature_degc": 20.0},
    )


def alike(two_port: np.ndarray, grid: np.ndarray, length_m: float) -> Measurement:
    """Four such pairs without coupling; ``(n_freq, 2, 2)``, port 1 at end A."""
    s = np.zeros((grid.size, 8, 8), complex)
    for pair in FOUR_PAIRS:
        ends = [PORTS.index(f"A:{pair}"), PORTS.index(f"B:{pair}")]
        s[np.ix_(range(grid.size), ends, ends)] = two_port
    return of_differential(s, grid, length_m)


def coupled(length_m: float, *, loss: float = 0.9, next_at_hz: float | None = None) -> Measurement:
    """Matched pairs whose coupling is random along the line: pairs 12 and 36, from either end.

    What couples per metre arrives back after twice its way, with power e^(-4 alpha x): NEXT has the power
    (1 - e^(-4 alpha L)) of its integral. Forward all of it goes the whole way: power in proportion to L.
    """
    s = np.zeros((GRID.size, 8, 8), complex)
    attenuation = loss * loss_limit_db(GRID) * length_m / 100.0
    delay = 5.3e-9 * length_m
    through = 10 ** (-attenuation / 20.0) * np.exp(-2j * np.pi * GRID * delay)
    for pair in FOUR_PAIRS:
        a, b = PORTS.index(f"A:{pair}"), PORTS.index(f"B:{pair}")
        s[:, a, b] = s[:, b, a] = through
    alpha = attenuation / length_m / (20.0 * math.log10(math.e))
    near = 10 ** (-(45.0 - 15.0 * np.log10(GRID / 100e6)) / 20.0)
    near = near * np.sqrt(1.0 - np.exp(-4.0 * alpha * length_m))
    if next_at_hz is not None:
        near = np.where(next_at_hz == GRID, near, 0.0)
    far = 10 ** (-(28.0 - 20.0 * np.log10(GRID / 100e6)) / 20.0) * math.sqrt(length_m / 100.0) * through
    for end, other in ("AB", "BA"):
        one, two = PORTS.index(f"{end}:12"), PORTS.index(f"{end}:36")
        s[:, one, two] = s[:, two, one] = near
        two = PORTS.index(f"{other}:36")
        s[:, one, two] = s[:, two, one] = far
    return of_differential(s, GRID, length_m)


def result(measurement: Measurement, requirement: str = "tia-6-cable") -> ReelResult:
    against = load_requirement(requirement)
    evaluation = evaluate(measurement)
    verdict, _ = grade_evaluation(evaluation, against, record="", conditions=UNSCREENED)
    return evaluate_reel(evaluation, against, verdict, conditions=UNSCREENED)


def margin(found: ReelResult, parameter: Parameter, end: End | None = None) -> float:
    worst = found.margin_of(parameter, end)
    assert worst is not None
    assert worst.margin is not None
    return worst.margin


@pytest.mark.parametrize("length_m", [50.0, 90.0])
def test_a_shorter_length_of_the_same_line_gives_the_margins_of_100_m(length_m: float) -> None:
    whole, part = result(coupled(100.0)), result(coupled(length_m))
    compared = [(row.parameter, row.end) for row in whole.margins]
    assert {Parameter.INSERTION_LOSS, Parameter.NEXT, Parameter.PS_NEXT, Parameter.ACR_F} <= {
        parameter for parameter, _ in compared
    }
    assert compared == [(row.parameter, row.end) for row in part.margins]
    for long, short in zip(whole.margins, part.margins, strict=True):
        assert short.margin == pytest.approx(long.margin, abs=1e-9), long.parameter
        assert short.outcome is long.outcome
    assert math.isfinite(margin(whole, Parameter.NEXT))
    assert math.isfinite(margin(whole, Parameter.ACR_F))


def test_near_end_crosstalk_of_50_m_where_100_m_lose_19_8_db() -> None:
    # Worked: -0.045 dB at A100 = 19.8 dB, which category 6 cable may lose at 100 MHz (TIA-568-C.2).
    assert loss_limit_db(np.array([100e6]))[0] == pytest.approx(19.8, abs=0.005)
    measurement = coupled(50.0, loss=1.0, next_at_hz=100e6)
    traces = [trace for trace in evaluate(measurement).traces if trace.parameter is Parameter.NEXT]
    place = int(np.argmin(abs(traces[0].frequency_hz - 100e6)))
    before = min(float(trace.value[place]) for trace in traces)
    worst = result(measurement).margin_of(Parameter.NEXT)
    assert worst is not None
    assert worst.value is not None
    assert worst.frequency_hz == 100e6
    assert worst.value - before == pytest.approx(-0.045, abs=5e-4)


@pytest.mark.parametrize("length_m", [50.0, 100.0])
def test_constants_of_a_line_of_r_l_g_c(length_m: float) -> None:
    """scikit-rf makes the line; K0 = sqrt(L/C), capacitance C, velocity and loss as its propagation says."""
    tau, z_ohm = 5.3e-9, 100.0
    line = medium(GRID, z_ohm, tau=tau)
    found = result(measurement := alike(line.line(length_m, "m").s, GRID, length_m))
    true = np.abs(line.z0_characteristic)
    assert len(found.constants) == 8
    for each in found.constants:
        assert each.velocity_fraction == pytest.approx(
            2 * math.pi * GRID[-1] / line.gamma.imag[-1] / LIGHT, rel=1e-5
        )
        assert each.mean_impedance_ohm == pytest.approx(true[GRID >= 100e6].mean(), rel=1e-5)
        assert each.fitted_impedance_ohm == pytest.approx(true[99], abs=5e-3)
        assert each.capacitance_nf_per_100m == pytest.approx(tau / z_ohm * 100.0 * 1e9, rel=2e-3)
        assert each.structural_return_loss_db > 70.0
    k0 = [each.fit_coefficients[0] for each in locate(evaluate(measurement)).constants]
    assert k0 == pytest.approx([z_ohm] * 8, rel=1e-3)
    loss = 20 * math.log10(math.e) * line.gamma.real * 100.0
    closest = float(np.min(loss_limit_db(GRID) - loss))
    # Below 4 MHz the complex impedance does not match 100 ohm, which counts as insertion loss.
    assert margin(found, Parameter.INSERTION_LOSS) == pytest.approx(closest, abs=0.1)


def lossy(z_ohm: float, loss: float) -> DefinedGammaZ0:
    """A line of real impedance, 5 ns/m and `loss` dB per 100 m and root MHz."""
    alpha = loss / 100.0 * np.sqrt(GRID / 1e6) / (20 * math.log10(math.e))
    return DefinedGammaZ0(
        skrf.Frequency.from_f(GRID, unit="hz"),
        gamma=alpha + 2j * math.pi * GRID * 5e-9,
        z0=z_ohm,
        z0_port=100.0,
    )


def test_a_uniform_line_of_110_ohm_has_return_loss_and_no_structure() -> None:
    """(110 - 100)/(110 + 100) = 1/21 against the reference of 100 ohm: 26.444 dB; none against itself."""
    measurement = alike(lossy(110.0, 3.0).line(100.0, "m").s, GRID, 100.0)
    found = result(measurement)
    traces = [trace for trace in evaluate(measurement).traces if trace.parameter is Parameter.RETURN_LOSS]
    assert len(traces) == 8
    for trace in traces:
        assert trace.value[-1] == pytest.approx(26.444, abs=1e-3)  # what comes back has lost 95 dB
    assert len(found.constants) == 8
    for each in found.constants:
        assert each.mean_impedance_ohm == pytest.approx(110.0, abs=1e-3)
        assert each.fitted_impedance_ohm == pytest.approx(110.0, abs=1e-3)
        assert each.structural_return_loss_db > 100.0
        assert each.velocity_fraction == pytest.approx(1 / (5e-9 * LIGHT), rel=2e-3)


def test_structure_at_one_end_shows_at_that_end() -> None:
    """5 m of 110 ohm before 100 ohm: from A the impedance goes from 100 to 121 ohm and back every 20 MHz.

    The fit takes the middle, 110 ohm: (121 - 110)/(121 + 110) = 1/21, 26.444 dB; where it is 3 ohm off, as it
    may be towards the ends of the band, (121 - 107)/(121 + 107), 24.2 dB.
    """
    two_port = (lossy(110.0, 0.0).line(5.0, "m") ** lossy(100.0, 3.0).line(95.0, "m")).s
    found = result(alike(two_port, GRID, 100.0))
    assert len(found.constants) == 8
    worst = {}
    for each in found.constants:
        worst[each.end] = min(each.structural_return_loss_db, worst.get(each.end, math.inf))
        assert each.fitted_impedance_ohm == pytest.approx(110.0 if each.end == "A" else 100.0, abs=0.5)
    assert 24.2 < worst["A"] < 26.5
    assert worst["B"] > worst["A"] + 10.0
    # At the middle of each ripple the impedance is the fitted one; it is farthest at multiples of 10 MHz.
    at = {each.structural_at_hz for each in found.constants if each.end == "A"}
    assert {float(hz % 10e6) for hz in at} == {0.0}
    assert found.margin_of(Parameter.RETURN_LOSS) == found.margin_of(Parameter.RETURN_LOSS, "A")
    assert margin(found, Parameter.RETURN_LOSS, "A") < margin(found, Parameter.RETURN_LOSS, "B")


def test_structure_beyond_the_requirement_is_of_no_concern() -> None:
    """2 m of 110 ohm: ripples of 50 MHz, farthest from the fit above 200 MHz; category 5e ends at 100 MHz."""
    two_port = (lossy(110.0, 0.0).line(2.0, "m") ** lossy(100.0, 3.0).line(98.0, "m")).s
    measurement = alike(two_port, GRID, 100.0)
    found = {
        name: [each for each in result(measurement, name).constants if each.end == "A"]
        for name in ("tia-6-cable", "tia-5e-cable")
    }
    assert [each.structural_at_hz > 200e6 for each in found["tia-6-cable"]] == [True] * 4
    assert [each.structural_at_hz <= 100e6 for each in found["tia-5e-cable"]] == [True] * 4
    for whole, part in zip(found["tia-6-cable"], found["tia-5e-cable"], strict=True):
        assert part.structural_return_loss_db > whole.structural_return_loss_db


def test_velocity_at_the_limit_of_delay_is_0_6205_of_that_of_light_at_100_mhz() -> None:
    """534 + 36/sqrt(f) ns per 100 m (TIA and IEC, from memory): 537.6 ns at 100 MHz."""
    grid = 1e6 * np.arange(1.0, 101.0)
    delay = (534.0 + 36.0 / np.sqrt(grid / 1e6)) * 1e-9
    through = 10 ** (-0.9 * loss_limit_db(grid) / 20.0) * np.exp(-2j * np.pi * grid * delay)
    s = np.zeros((grid.size, 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = through
    found = result(alike(s, grid, 100.0), "tia-5e-cable")
    assert [each.velocity_fraction for each in found.constants] == pytest.approx([0.6205] * 8, abs=5e-5)
    assert margin(found, Parameter.DELAY) == pytest.approx(0.0, abs=1e-6)


def test_infinite_margins_and_structure_survive_the_history_of_a_lot() -> None:
    found = result(alike(lossy(100.0, 1.5).line(100.0, "m").s, GRID, 100.0))
    assert margin(found, Parameter.NEXT) == math.inf
    entry = ReelAdded("2026-03-01T08:00:00+00:00", "R. Lind", "", "R001", "ab" * 32, "r.h5", found)
    text = json.dumps(encode_event(entry), allow_nan=False)
    assert decode_event(json.loads(text)) == entry


def test_a_warm_reel_without_its_temperature_is_refused_until_it_is_told(tmp_path: Path) -> None:
    """1.08 times the loss of 20 degC at 40 degC, unscreened (TIA-568-C.2, 6.4.7, as quoted in public)."""
    first = opened(tmp_path).state.sample[0]
    record = archive.write_record(measured(first, loss=1.05, temperature_degc=None), tmp_path)
    with pytest.raises(LotRefused, match="its temperature") as refused:
        add_record(tmp_path, "26-118", record, by="R. Lind")
    assert "archive correct" in str(refused.value.hint)
    assert "--temperature-degc" in str(refused.value.hint)
    correct(record, {"ambient.temperature_degc": 40.0}, by="R. Lind", reason="read from the log of the room")
    _, entry = add_record(tmp_path, "26-118", record, by="R. Lind")
    # 1.05 / 1.08 of the limit: it conforms though it loses more than that as measured.
    assert entry.result.temperature_degc == 40.0
    worst = entry.result.margin_of(Parameter.INSERTION_LOSS)
    assert worst is not None
    assert worst.frequency_hz is not None
    limit = float(loss_limit_db(np.array([worst.frequency_hz]))[0])
    assert worst.margin == pytest.approx(limit * (1 - 1.05 / 1.08), abs=1e-9)
    assert entry.result.conforms is True
