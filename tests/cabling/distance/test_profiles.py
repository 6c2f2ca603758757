"""Reflections and crosstalk come out where they are, with the size that circuit theory gives them."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import crosstalk_profile, nominal_velocity, reflection_profile
from benchsweep.records import FOUR_PAIRS
from tests.cabling.distance.lines import LIGHT, TAU, medium, mixed, only, two_port

F = 5e6 * np.arange(1, 101)  # 0.2 m of resolution
V = 1.0 / (TAU * LIGHT)


@pytest.fixture(scope="module")
def middle():
    """2 m of 100 ohm, 1 m of 110 ohm, 1 m of 100 ohm, no loss; only pair 12 is like that."""
    odd = two_port(F, [(2.0, 100.0), (1.0, 110.0), (1.0, 100.0)], loss=0.0)
    plain = two_port(F, [(4.0, 100.0)], loss=0.0)
    return mixed(F, dict.fromkeys(FOUR_PAIRS, plain) | {"12": odd})


def test_two_steps_of_impedance(middle):
    traces = reflection_profile(middle, length_m=4.0)
    assert [(t.end, *t.pairs) for t in traces] == [(e, p) for e in "AB" for p in FOUR_PAIRS]
    step = 10.0 / 210.0
    for end, up, down in (("A", 2.0, 3.0), ("B", 1.0, 2.0)):
        trace = only(traces, end, "12")
        assert (trace.kind, trace.unit, trace.window) == ("reflection", "1", "hann")
        high, low = int(np.argmax(trace.value)), int(np.argmin(trace.value))
        assert trace.distance_m[high] == pytest.approx(up, abs=0.02)
        assert trace.distance_m[low] == pytest.approx(down, abs=0.02)
        assert trace.value[high] == pytest.approx(step, rel=0.01)
        assert trace.value[low] == pytest.approx(-step * (1 - step**2), rel=0.01)
        assert trace.resolution_m == pytest.approx(0.2, rel=0.02)
        assert trace.velocity_fraction == pytest.approx(V, rel=1e-3)
        assert trace.velocity_standing == "measured"
        assert trace.note == ""
        assert trace.distance_m[0] == 0.0
        assert trace.distance_m[-1] > 4.2
    assert np.abs(only(traces, "B", "45").value).max() < 1e-6


@pytest.mark.parametrize(("load", "sign"), [(1.0, 1.0), (-1.0, -1.0)], ids=["open", "short"])
def test_open_and_short_at_a_place(load, sign):
    """A lossless line, broken or shorted at 3 m, reflects everything from there, and nothing gets through."""
    whole = two_port(F, [(4.0, 100.0)], loss=0.0)
    faulty = np.zeros_like(whole)
    faulty[:, 0, 0] = load * np.exp(-4j * np.pi * F * TAU * 3.0)
    faulty[:, 1, 1] = load * np.exp(-4j * np.pi * F * TAU * 1.0)
    faulty[:, 0, 1] = faulty[:, 1, 0] = 1e-6
    traces = reflection_profile(mixed(F, {"12": whole, "36": faulty}), length_m=4.0)
    for end, place in (("A", 3.0), ("B", 1.0)):
        trace = only(traces, end, "36")
        at = int(np.argmax(np.abs(trace.value)))
        assert trace.distance_m[at] == pytest.approx(place, abs=0.03)
        assert trace.value[at] == pytest.approx(sign, rel=0.01)
        # Its own delay cannot be told: that of the healthy pair serves.
        assert trace.velocity_fraction == pytest.approx(V, rel=1e-3)


def test_crosstalk_at_a_place_between_pairs_of_different_velocity(rig):
    """Coupling of -50 dB at 1.5 m of two lines of 4.8 and 5.2 ns/m: out along one, back along the other."""
    k, tau = 10 ** (-50 / 20), {"12": 4.8e-9, "36": 5.2e-9, "45": 5.0e-9, "78": 5.0e-9}
    entries = {
        (f"{b}:{p}/d", f"{a}:{p}/d"): np.exp(-2j * np.pi * F * tau[p] * 3.0)
        for p in FOUR_PAIRS
        for a, b in ("AB", "BA")
    }
    coupled = k * np.exp(-2j * np.pi * F * 1.5 * (tau["12"] + tau["36"]))
    entries |= {("A:12/d", "A:36/d"): coupled, ("A:36/d", "A:12/d"): coupled}
    traces = crosstalk_profile(rig.mixed_of(F, entries, modes="d"), length_m=3.0)
    assert len(traces) == 12
    trace = only(traces, "A", "12", "36")
    at = int(np.argmax(trace.value))
    assert (trace.kind, trace.unit) == ("crosstalk", "1")
    assert trace.distance_m[at] == pytest.approx(1.5, abs=0.02)
    assert -20 * np.log10(trace.value[at]) == pytest.approx(50.0, abs=0.1)
    assert trace.value.min() >= 0.0
    assert only(traces, "B", "12", "36").value.max() < 1e-12


def test_an_unlike_direction_counts_half(rig):
    """Mean of both directions: with one of them alone the coupling shows 6.02 dB lower."""
    entries = {("A:12/d", "A:36/d"): 1e-2 * np.exp(-2j * np.pi * F * 2 * TAU)}
    trace = only(
        crosstalk_profile(rig.mixed_of(F, entries, modes="d"), length_m=2.0, velocity=V), "A", "12", "36"
    )
    assert trace.value.max() == pytest.approx(5e-3, rel=0.01)


def test_given_velocities_go_before_measured_ones(middle):
    traces = reflection_profile(middle, length_m=4.0, velocity={"12": 0.6})
    trace = only(traces, "A", "12")
    assert (trace.velocity_fraction, trace.velocity_standing) == (0.6, "given")
    assert trace.distance_m[np.argmax(trace.value)] == pytest.approx(2.0 * 0.6 / V, abs=0.02)
    assert only(traces, "A", "36").velocity_standing == "measured"


def test_without_a_length_the_delay_tells_it_at_the_usual_velocity(middle):
    assert dict(nominal_velocity(middle, None)) == dict.fromkeys(FOUR_PAIRS, 0.67)
    trace = only(reflection_profile(middle), "A", "12")
    assert (trace.velocity_fraction, trace.velocity_standing) == (0.67, "common-practice")
    assert trace.distance_m[np.argmax(trace.value)] == pytest.approx(2.0 * 0.67 / V, abs=0.02)


def test_equal_steps_look_alike_wherever_they_are_when_the_loss_is_undone():
    """Three steps of 3/203, at 4, 20 and 36 m."""
    f = 0.5e6 * np.arange(1, 601)
    cable = mixed(f, {"12": two_port(f, [(4.0, 100.0), (16.0, 103.0), (16.0, 100.0), (4.0, 103.0)])})
    step = 3.0 / 203.0
    raw = only(reflection_profile(cable, length_m=40.0), "A", "12")
    freed = only(reflection_profile(cable, length_m=40.0, undo_loss=True), "A", "12")

    def peak(trace, place):
        near = np.abs(trace.distance_m - place) < 2.0
        at = np.flatnonzero(near)[np.argmax(np.abs(trace.value[near]))]
        return trace.distance_m[at], abs(trace.value[at])

    sizes = np.array([peak(raw, place)[1] for place in (4.0, 20.0, 36.0)]) / step
    assert sizes[2] < 0.45 * sizes[0]
    for place in (4.0, 20.0, 36.0):
        found, size = peak(freed, place)
        assert found == pytest.approx(place, abs=0.2)
        assert size == pytest.approx(step, rel=0.06)
    assert freed.loss_corrected_m > 40.0
    assert raw.loss_corrected_m == 0.0
    assert "the resolution at the far end is" in freed.note


def test_crosstalk_far_away_counts_as_much_as_near_when_the_loss_is_undone(rig):
    """The same coupling of -60 dB at 2 m and at 25 m of 30 m, attenuated by twice the way to it."""
    f = 0.5e6 * np.arange(1, 601)
    gamma = medium(f).gamma
    through = np.exp(-30.0 * gamma)
    entries = {(f"{b}:{p}/d", f"{a}:{p}/d"): through for p in FOUR_PAIRS for a, b in ("AB", "BA")}
    coupled = 1e-3 * (np.exp(-4.0 * gamma) + np.exp(-50.0 * gamma))
    entries |= {("A:45/d", "A:78/d"): coupled, ("A:78/d", "A:45/d"): coupled}
    cable = rig.mixed_of(f, entries, modes="d")
    raw = only(crosstalk_profile(cable, length_m=30.0), "A", "45", "78")
    freed = only(crosstalk_profile(cable, length_m=30.0, undo_loss=True), "A", "45", "78")
    far = raw.distance_m > 10.0
    assert raw.value[far].max() < 0.6 * raw.value[~far].max()
    for part, place in ((~far, 2.0), (far, 25.0)):
        at = np.flatnonzero(part)[np.argmax(freed.value[part])]
        assert freed.distance_m[at] == pytest.approx(place, abs=0.15)
        assert -20 * np.log10(freed.value[at]) == pytest.approx(60.0, abs=0.4)


def test_loss_that_nothing_tells_is_not_undone_and_that_is_said():
    alone = mixed(F, {"12": two_port(F, [(2.0, 100.0)])}, ends="A")
    (trace,) = reflection_profile(alone, length_m=2.0, undo_loss=True)
    assert trace.loss_corrected_m == 0.0
    assert "not corrected for the loss" in trace.note


def test_what_the_sweep_does_not_allow_gives_nothing():
    f = np.geomspace(5e6, 500e6, 60)
    line = mixed(f, {"12": two_port(f, [(1.0, 100.0)], loss=0.0)})
    assert reflection_profile(line, length_m=1.0) == ()
    assert crosstalk_profile(line, length_m=1.0) == ()
    one = mixed(F, {"12": two_port(F, [(1.0, 100.0)], loss=0.0)})
    assert crosstalk_profile(one, length_m=1.0) == ()
    assert len(reflection_profile(one, length_m=1.0)) == 2


def test_an_echo_from_beyond_the_stated_length_is_told():
    far = np.zeros((F.size, 2, 2), dtype=complex)
    far[:, 0, 0] = np.exp(-2j * np.pi * F * 180e-9)  # of 200 ns of alias range
    far[:, 0, 1] = far[:, 1, 0] = 1e-6
    traces = reflection_profile(mixed(F, {"12": far}), length_m=4.0)
    assert "check the length" in only(traces, "A", "12").note
    assert only(traces, "B", "12").note == ""
