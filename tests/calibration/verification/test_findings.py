"""Drift, comparison and what is made of them, on numbers whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.calibration.verification import (
    Answer,
    ErrorLimits,
    LoadChange,
    PortReading,
    Rules,
    ThruChange,
    balance_uncertainty,
    compare,
    find,
    follow_values,
    joint_drift,
    load_change,
    mode_uncertainty,
    thru_change,
)
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import SMatrix

F = np.linspace(1e6, 500e6, 51)
RULES = Rules(1.0, 0.03, 2.0, ErrorLimits(0.005, 0.008, 0.01, 1e-4))
LEGS = ("A:12.1", "A:12.2")


def thru(s21: np.ndarray, s11: complex = 0.0) -> np.ndarray:
    s = np.zeros((F.size, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = s21
    s[:, 0, 0] = s[:, 1, 1] = s11
    return s


def test_gain_and_delay_of_a_thru_come_back() -> None:
    defined = thru(np.exp(-2j * np.pi * F * 30e-12), 0.001)
    late = thru(10 ** (0.05 / 20) * np.exp(-2j * np.pi * F * 32.5e-12), 0.004)
    found = thru_change((1, 2), F, late, defined)
    assert found.gain_db == pytest.approx(0.05)
    assert found.delay_ps == pytest.approx(2.5)
    assert found.phase_deg == pytest.approx(360.0 * 500e6 * 2.5e-12)
    assert found.reflection == pytest.approx((0.003, 0.003))
    assert found.reciprocity < 1e-15
    assert joint_drift([found], 2.0).per_hour(found.delay_ps) == pytest.approx(1.25)
    assert joint_drift([found], 0.1).per_hour(found.delay_ps) is None


def test_a_resistor_in_series_with_a_load_is_told_in_ohm() -> None:
    z = 51.0 + 2j * np.pi * F * 30e-12
    defined, now = ((v - 50.0) / (v + 50.0) for v in (z, z + 0.5))
    assert load_change(3, now, defined).series_ohm == pytest.approx(0.5, rel=0.01)
    assert load_change(3, defined, now).series_ohm == pytest.approx(-0.5, rel=0.01)


def good_thrus() -> list[ThruChange]:
    return [ThruChange((p, p + 1), 0.001 * p, 0.2 - 0.1 * p, 0.1, 1e-3, (1e-3, 1e-3), 1e-4) for p in (1, 3)]


def good_loads() -> list[LoadChange]:
    return [LoadChange(port, 0.001, 0.05) for port in (1, 2, 3, 4)]


def readings(change) -> list[PortReading]:
    found = []
    for artefact, gamma in (("mismatch-75", -1 / 7), ("mismatch-133", 1 / 7)):
        for port in (1, 2, 3, 4):
            expected = np.full(F.size, gamma, dtype=complex)
            uncertainty = np.full(F.size, 0.005)
            found.append(PortReading(port, artefact, expected, change(port, expected), uncertainty))
    return found


def found(*, change=lambda _, g: g + 0.001, loads=None, thrus=None):
    thrus = good_thrus() if thrus is None else thrus
    return find(
        RULES,
        readings=readings(change),
        comparisons=(),
        values=400,
        loads=good_loads() if loads is None else loads,
        thrus=thrus,
        drift=joint_drift(thrus, 1.0),
    )


def test_a_good_bench_has_no_findings() -> None:
    assert found() == ()


def test_a_connector_that_loosened_since_and_one_that_was_loose_before_are_told_apart() -> None:
    for ohm, words in ((2.0, "has loosened since"), (-2.0, "loose when a standard was measured")):
        loads = [*good_loads()[:2], LoadChange(3, 0.02, ohm), good_loads()[3]]
        (finding,) = found(loads=loads, change=lambda p, g: g + (0.02 if p == 3 else 0.0))
        assert finding.kind == "connector"
        assert finding.ports == (3,)
        assert "port 3" in finding.words
        assert words in finding.words


def test_another_load_at_all_ports_is_no_matter_of_connectors() -> None:
    finding = found(loads=[LoadChange(port, 0.05, 3.0) for port in (1, 2, 3, 4)])[0]
    assert finding.kind == "standard"
    assert "all ports" in finding.words


def test_open_and_short_exchanged_are_told_by_the_sign() -> None:
    (everywhere,) = found(change=lambda _, g: -g)
    assert everywhere.kind == "standard"
    assert "all ports: open and short" in everywhere.words
    (alone,) = found(change=lambda p, g: -g if p == 2 else g)
    assert alone.ports == (2,)
    assert "open and short were exchanged" in alone.words


def test_a_wrong_kit_is_off_at_all_ports_alike() -> None:
    (finding,) = found(change=lambda _, g: g + 0.02 - 0.03j * g)
    assert finding.kind == "kit"
    assert "by the same amount" in finding.words
    assert "wrong kit" in finding.words


def test_one_port_alone_is_a_standard_there() -> None:
    (finding,) = found(change=lambda p, g: g + (0.03 if p == 4 else 0.0))
    assert (finding.kind, finding.ports) == ("standard", (4,))


def test_drift_is_what_all_thrus_share() -> None:
    thrus = [ThruChange((p, p + 1), 0.05, 2.4, 0.5, 1e-2, (1e-3, 1e-3), 1e-4) for p in (1, 3)]
    (finding,) = found(thrus=thrus)
    assert finding.kind == "drift"
    assert "+0.050 dB (+0.05 dB/h)" in finding.words
    assert "+2.40 ps" in finding.words
    scattered = [ThruChange((1, 2), 0.05, 4.0, 0.5, 1e-2, (1e-3, 1e-3), 1e-4), good_thrus()[1]]
    assert found(thrus=[scattered[0], ThruChange((3, 4), -0.05, -4.0, 0.5, 1e-2, (0, 0), 1e-4)]) == ()


def test_a_thru_that_differs_both_ways_is_told() -> None:
    (finding,) = found(thrus=[*good_thrus()[:1], ThruChange((3, 4), 0.0, 0.0, 0.1, 1e-3, (1e-3, 1e-3), 0.05)])
    assert (finding.kind, finding.ports) == ("reciprocity", (3, 4))


def legs(s: np.ndarray) -> SMatrix:
    return SMatrix(F, np.broadcast_to(s, (F.size, 2, 2)), LEGS, (50.0, 50.0))


def test_the_ratio_is_the_difference_over_both_uncertainties() -> None:
    truth = np.array([[0.1, 0.02], [0.02, -0.1]], dtype=complex)
    shifted = truth + np.array([[0.003, 0.0], [0.0, 0.0]])
    answer = Answer(legs(truth), {"r": legs(shifted)})
    measured = legs(truth + np.array([[0.02, 0.0], [0.0, 0.001]]))
    bench = np.full((F.size, 2, 2), 0.008)
    rows = compare(measured, answer, bench, artefact="x", places=(1,))
    first = next(row for row in rows if row.out == row.into == "A:12.1")
    assert first.ratio == pytest.approx(0.02 / np.hypot(0.006, 0.008))
    assert first.fraction_above == 1.0
    last = next(row for row in rows if row.out == row.into == "A:12.2")
    assert last.ratio == pytest.approx(0.001 / 0.008)
    assert (first.kind, rows[1].kind) == ("reflection", "transmission")


def test_the_uncertainty_of_modes_is_that_of_drawn_legs() -> None:
    rng = np.random.default_rng(4)
    u = rng.uniform(0.5, 2.0, (1, 2, 2))
    one = SMatrix(F[:1], np.zeros((1, 2, 2)), LEGS, (50.0, 50.0))
    draws = u / np.sqrt(2.0) * (rng.standard_normal((20000, 2, 2)) + 1j * rng.standard_normal((20000, 2, 2)))
    modes = np.stack([to_mixed_mode(SMatrix(F[:1], d[None], LEGS, (50.0, 50.0))).s[0] for d in draws[:4000]])
    stated = mode_uncertainty(u, LEGS, to_mixed_mode(one))
    np.testing.assert_allclose(np.sqrt(np.mean(np.abs(modes) ** 2, axis=0)), stated[0], rtol=0.05)


def test_what_baluns_mix_stays_within_what_is_stated() -> None:
    """Modes mixed on the way in and out and leaked inside, with imbalances of any phase, to first order."""
    rng = np.random.default_rng(9)
    ports = ("A:12/d", "B:12/d", "A:12/c", "B:12/c")
    raw = rng.standard_normal((1, 4, 4)) + 1j * rng.standard_normal((1, 4, 4))
    s = SMatrix(F[:1], 0.3 * raw, ports, (100.0, 100.0, 25.0, 25.0))
    sizes = {"A:12": 1e-4, "B:12": 3e-4}
    stated = balance_uncertainty(s, {port: np.array([size]) for port, size in sizes.items()})[0]
    worst = np.zeros((4, 4))
    for _ in range(3000):
        there, back, leak = np.zeros((3, 4, 4), dtype=complex)
        for d, c, port in ((0, 2, "A:12"), (1, 3, "B:12")):
            for mixed in (there, back, leak):
                mixed[[d, c], [c, d]] = sizes[port] * np.exp(2j * np.pi * rng.uniform(size=2))
        error = (np.eye(4) + there) @ s.s[0] @ (np.eye(4) + back) + leak - s.s[0]
        worst = np.maximum(worst, np.abs(error))
    assert np.all(worst <= stated * 1.001 + 1e-12)
    assert np.all(worst >= 0.75 * stated)  # and is not much less


def test_what_is_followed_is_signed_and_in_phase_with_what_is_expected() -> None:
    truth = np.array([[0.1j, 0.0], [0.0, 0.0]])
    answer = Answer(legs(truth), {})
    measured = legs(truth + np.array([[0.01j + 0.005, 0.0], [0.0, -0.002 + 0.1j]]))
    bench = np.full((F.size, 2, 2), 0.003)
    values = follow_values(
        measured, answer, bench, ((LEGS[0], LEGS[0]), (LEGS[1], LEGS[1]), ("A:12/c", LEGS[0]))
    )
    assert set(values) == {f"{leg} from {leg}, {band}" for leg in LEGS for band in ("low", "middle", "high")}
    assert values["A:12.1 from A:12.1, low"] == pytest.approx((0.01, 0.003))
    assert values["A:12.2 from A:12.2, high"][0] == pytest.approx(-0.002)


def test_limits_of_the_station_cover_a_bench_with_such_residual_errors() -> None:
    """Draws of the error model of `StandardTerm`: the stated uncertainty holds in 95 % of them at least."""
    rng = np.random.default_rng(6)
    limits = ErrorLimits(0.01, 0.02, 0.015, 1e-4)
    s = np.array([[0.2, 0.3j], [0.3j, -0.4]])
    stated = limits.expanded(s[None])[0]

    def drawn(expanded: float, *shape: int) -> np.ndarray:
        return expanded / 2.0 / np.sqrt(2.0) * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape))

    inside = np.zeros((2, 2))
    for _ in range(4000):
        match = np.diag(drawn(0.02, 2))
        error = np.diag(drawn(0.01, 2)) + drawn(0.015, 2, 2) * s + s @ match @ s
        inside += np.abs(error) <= stated
    assert np.all(inside / 4000 >= 0.95)
