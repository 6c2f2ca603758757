"""Delay: right, or no trace and a reason; never a wrong one."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.cabling import compute_traces, delay_skew, length_doubt, propagation_delay, why_no_delay
from benchsweep.records import FOUR_PAIRS, ModePort, Parameter, SMatrix, Trace, balanced_ports

MHZ = 1e6


def cable(rig, f, length_m, **kinds):
    """Pairs with the skin effect of a cable: phase delay 534 + 36/sqrt f ns per 100 m (TIA-568-C.2)."""
    tau = (534.0 + 36.0 / np.sqrt(f / MHZ)) * 1e-11 * length_m
    loss_db = 1.8 * np.sqrt(f / MHZ) * length_m / 100.0
    s = kinds.get("sign", 1.0) * 10.0 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * f * tau)
    entries = {}
    for pair in FOUR_PAIRS:
        entries[f"B:{pair}/d", f"A:{pair}/d"] = s
        entries[f"A:{pair}/d", f"B:{pair}/d"] = s
    return rig.mixed_of(f, entries, modes="d"), tau * 1e9


@pytest.mark.parametrize("length_m", [0.3, 2.0, 10.0, 50.0, 90.0])
def test_a_fine_step_needs_no_length(rig, length_m):
    f = np.arange(2, 1001) * 0.5 * MHZ
    mixed, tau_ns = cable(rig, f, length_m)
    traces = propagation_delay(mixed)
    assert [t.pairs for t in traces] == [(p,) for p in FOUR_PAIRS]
    for trace in traces:
        assert trace.end is None
        assert trace.value == pytest.approx(tau_ns, abs=1e-6)


def test_100_m_at_1_mhz_gives_no_delay_without_the_length_and_the_right_one_with_it(rig):
    """515 ns at a step of 1 MHz is beyond half a turn and unwraps to -485 ns if nobody pays attention."""
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, 100.0)
    assert propagation_delay(mixed) == ()
    reasons = why_no_delay(mixed)
    assert set(reasons) == set(FOUR_PAIRS)
    assert "too coarse" in reasons["12"]
    assert "1 MHz" in reasons["12"]
    assert propagation_delay(mixed, length_m=100.0)[0].value == pytest.approx(tau_ns, abs=1e-6)
    assert propagation_delay(mixed, length_m=90.0)[0].value == pytest.approx(tau_ns, abs=1e-6)
    assert not why_no_delay(mixed, length_m=100.0)


def test_a_longer_cable_that_folds_into_the_safe_range_is_seen_by_its_loss(rig):
    """240 m at 1 MHz: 1285 ns folds to 285 ns, a third of a turn; the loss does not fit 56 m."""
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, 240.0)
    assert propagation_delay(mixed) == ()
    assert propagation_delay(mixed, length_m=240.0)[0].value == pytest.approx(tau_ns, abs=1e-6)


def test_a_step_too_coarse_for_the_length_is_refused_even_with_the_length(rig):
    f = np.arange(1, 51) * 10.0 * MHZ
    mixed, _ = cable(rig, f, 100.0)
    assert propagation_delay(mixed, length_m=100.0) == ()
    assert "100 m" in why_no_delay(mixed, length_m=100.0)["45"]


def test_a_wrong_length_does_not_spoil_a_delay_that_is_plain(rig):
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, 2.0)
    assert propagation_delay(mixed, length_m=100.0)[0].value == pytest.approx(tau_ns, abs=1e-6)


@pytest.mark.parametrize("length_m", [2.0, 50.0])
def test_a_reversed_pair_has_the_delay_of_a_straight_one(rig, length_m):
    f = np.arange(1, 501) * MHZ
    straight, tau_ns = cable(rig, f, length_m)
    turned, _ = cable(rig, f, length_m, sign=-1.0)
    for mixed in (straight, turned):
        for length in (None, length_m):
            assert propagation_delay(mixed, length_m=length)[2].value == pytest.approx(tau_ns, abs=1e-6)


def test_a_logarithmic_grid_is_followed_from_its_finest_steps(rig):
    f = np.geomspace(1e6, 500e6, 801)
    mixed, tau_ns = cable(rig, f, 10.0)
    assert propagation_delay(mixed)[0].value == pytest.approx(tau_ns, abs=1e-6)


@pytest.mark.parametrize("first_mhz", [0.3, 10.0, 30.0])
def test_a_sweep_may_begin_anywhere_below_30_mhz(rig, first_mhz):
    f = (first_mhz + np.arange(0, 900) * 0.25) * MHZ
    mixed, tau_ns = cable(rig, f, 100.0)
    assert propagation_delay(mixed)[0].value == pytest.approx(tau_ns, abs=1e-6)


def test_noise_of_a_real_receiver_moves_the_delay_by_picoseconds(rig):
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, 2.0)
    rng = np.random.default_rng(5)
    noise = 10 ** (-90 / 20) * (rng.normal(size=mixed.s.shape) + 1j * rng.normal(size=mixed.s.shape))
    noisy = SMatrix(f, mixed.s + noise, mixed.ports, mixed.z0_ohm)
    error = propagation_delay(noisy)[0].value - tau_ns
    assert np.abs(error[10:]).max() < 0.003


def test_no_signal_and_noise_have_no_delay(rig):
    f = np.arange(1, 501) * MHZ
    rng = np.random.default_rng(6)
    s = 1e-4 * (rng.normal(size=(500, 8, 8)) + 1j * rng.normal(size=(500, 8, 8)))
    ports = tuple(str(ModePort(p, "d")) for p in balanced_ports())
    for length in (None, 2.0, 100.0):
        assert propagation_delay(SMatrix(f, s, ports, (100.0,) * 8), length_m=length) == ()
    silent = rig.mixed_of(f, {}, modes="d")
    assert set(why_no_delay(silent).values()) == {"no signal at some frequency"}


def test_a_delay_close_to_half_a_turn_is_not_trusted_without_the_length(rig):
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, 92.0)
    assert 480.0 < tau_ns[-1] < 500.0
    assert propagation_delay(mixed) == ()
    assert len(propagation_delay(mixed, length_m=92.0)) == 4


def test_a_phase_that_does_not_run_to_a_multiple_of_pi_is_refused(rig):
    f = np.arange(1, 501) * MHZ
    mixed, _ = cable(rig, f, 2.0, sign=1j)
    assert propagation_delay(mixed) == ()
    assert "multiple of pi" in why_no_delay(mixed)["12"]


def test_a_signal_that_drowns_in_noise_is_refused(rig):
    f = np.arange(1, 501) * MHZ
    mixed, _ = cable(rig, f, 10.0)
    rng = np.random.default_rng(8)
    s = mixed.s.copy()
    s[400:] = 1e-5 * (rng.normal(size=s[400:].shape) + 1j * rng.normal(size=s[400:].shape))
    drowned = SMatrix(f, s, mixed.ports, mixed.z0_ohm)
    assert propagation_delay(drowned) == ()
    assert "phase jumps" in why_no_delay(drowned)["78"]


def test_fewer_points_than_needed_give_no_delay(rig):
    f = np.arange(1, 5) * MHZ
    mixed, _ = cable(rig, f, 2.0)
    assert propagation_delay(mixed) == ()
    assert "fewer than" in why_no_delay(mixed)["12"]


def test_skew_is_the_difference_of_delays_without_sign(rig):
    f = np.arange(1, 501) * MHZ
    mixed = rig.to_mixed(rig.to_s(f, rig.line(f, 10.0, delay_d=np.array([5.0, 5.2, 5.1, 5.3]) * 1e-9)))
    skews = {t.pairs: t.value for t in delay_skew(propagation_delay(mixed))}
    assert len(skews) == 6
    assert skews["12", "78"] == pytest.approx(np.full(500, 3.0), abs=1e-6)
    assert skews["36", "45"] == pytest.approx(np.full(500, 1.0), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    length_m=st.floats(0.2, 150.0),
    step_mhz=st.sampled_from([0.25, 0.5, 1.0, 2.0, 5.0]),
    per_m_ns=st.floats(4.0, 5.6),
    turned=st.booleans(),
    told=st.sampled_from([None, 0.8, 1.0, 1.2]),
)
def test_a_delay_is_right_or_absent(rig, length_m, step_mhz, per_m_ns, turned, told):
    f = np.arange(1, 400) * step_mhz * MHZ
    tau_s = per_m_ns * 1e-9 * length_m
    loss_db = 2.0 * np.sqrt(f / MHZ) * length_m / 100.0
    s = (-1.0 if turned else 1.0) * 10.0 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * f * tau_s)
    mixed = rig.mixed_of(f, {("B:12/d", "A:12/d"): s, ("A:12/d", "B:12/d"): s}, modes="d", pairs=("12",))
    length = None if told is None else told * length_m
    traces = propagation_delay(mixed, length_m=length)
    if traces:
        assert traces[0].value == pytest.approx(np.full(f.size, tau_s * 1e9), abs=1e-6)
    else:
        assert step_mhz * MHZ * tau_s > 0.1
        assert why_no_delay(mixed, length_m=length)["12"]


def test_all_traces_of_a_16_port_take_milliseconds(rig):
    """Regrading is to reach 100 records a second on a core; the wide bound here only catches a blunder."""
    f = np.linspace(1e6, 500e6, 1001)
    mixed = rig.to_mixed(rig.to_s(f, rig.line(f, 2.0, loss=0.02)))
    best = float("inf")
    for _ in range(5):
        begin = time.perf_counter()
        traces = compute_traces(mixed, length_m=2.0)
        best = min(best, time.perf_counter() - begin)
    assert any(t.parameter is Parameter.SKEW for t in traces)
    assert best < 0.1


def test_a_length_that_the_delay_contradicts_is_doubted() -> None:
    grid = np.array([1e6, 100e6])

    def delay(ns: float) -> Trace:
        return Trace(Parameter.DELAY, None, ("12",), grid, np.full(2, ns))

    # 2 m at 65 % of the velocity of light: 10.3 ns
    assert length_doubt([delay(10.3)], 2.0) == ""
    assert length_doubt([delay(10.3)], None) == ""
    assert length_doubt([], 2.0) == ""
    assert "10.3 ns" in length_doubt([delay(10.3)], 20.0)
    assert "check the length" in length_doubt([delay(51.0)], 2.0)


@pytest.mark.parametrize("told_m", [20.0, 200.0, 210.0, 400.0, 5000.0])
@pytest.mark.parametrize("true_m", [0.5, 2.0, 20.0, 60.0, 80.0])
def test_a_delay_is_not_turned_round_to_fit_a_length_that_the_loss_contradicts(rig, true_m, told_m):
    """A cord of 2 m said to have 200 m: one turn of 1 MHz more would fit, with 0.6 dB instead of 57 dB."""
    f = np.arange(1, 501) * MHZ
    mixed, tau_ns = cable(rig, f, true_m)
    traces = propagation_delay(mixed, length_m=told_m)
    assert len(traces) == 4
    assert traces[0].value == pytest.approx(tau_ns, abs=1e-6)
    assert bool(length_doubt(traces, told_m)) == (abs(true_m - told_m) > 0.3 * true_m)


@pytest.mark.parametrize("per_100_m_db", [1.3, 1.8, 2.7])
@pytest.mark.parametrize("length_m", [90.0, 100.0, 200.0, 300.0])
def test_a_right_length_counts_the_turns_of_thick_and_thin_cables(rig, length_m, per_100_m_db):
    """The root of f takes 1.8 dB per 100 m of a common cable, 1.5 times that of a stranded one."""
    f = np.arange(1, 501) * MHZ
    tau_s = 5.3e-9 * length_m
    s = 10.0 ** (-per_100_m_db * np.sqrt(f / MHZ) * length_m / 2000.0) * np.exp(-2j * np.pi * f * tau_s)
    mixed = rig.mixed_of(f, {("B:12/d", "A:12/d"): s, ("A:12/d", "B:12/d"): s}, modes="d", pairs=("12",))
    (trace,) = propagation_delay(mixed, length_m=length_m)
    assert trace.value == pytest.approx(np.full(f.size, tau_s * 1e9), abs=1e-6)
