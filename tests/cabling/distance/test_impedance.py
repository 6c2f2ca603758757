"""Impedance over the distance against lines whose impedance is known."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import impedance_profile
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling.distance import pair_losses, pair_velocities
from benchsweep.records import FOUR_PAIRS
from tests.cabling.distance.lines import at, medium, mixed, only, two_port

STEPS = [(5.0, 100.0), (5.0, 110.0), (5.0, 100.0)]
PLACES = [2.5, 7.5, 12.5]


def line(f, sections, **figures):
    return mixed(f, {"12": two_port(f, sections, **figures)})


@pytest.mark.parametrize("start_mhz", [1.0, 0.6])
def test_a_lossless_line_of_three_sections(start_mhz):
    """15 m, 5 m of 110 ohm in the middle. Behind it, reflections to and fro leave r³ = 0.02 ohm."""
    f = 1e6 * (start_mhz + np.arange(300))
    for end in "AB":
        trace = only(impedance_profile(line(f, STEPS, loss=0.0), length_m=15.0), end, "12")
        assert (trace.kind, trace.unit) == ("impedance", "ohm")
        assert at(trace, PLACES[:2]) == pytest.approx([100.0, 110.0], abs=5e-3)
        assert at(trace, PLACES[2]) == pytest.approx(100.0, abs=0.05)
        assert at(trace, 5.0) == pytest.approx(105.0, abs=0.5)


def test_a_lossy_line_of_three_sections_is_freed_from_its_loss():
    """The same with 1.66 sqrt(f) dB per 100 m and 0.07 ohm/m: without correction 103.8, 116.9, 109.1 ohm."""
    f = 1e6 * np.arange(1, 501)
    lossy = line(f, STEPS)
    for end in "AB":
        trace = only(impedance_profile(lossy, length_m=15.0), end, "12")
        assert at(trace, PLACES) == pytest.approx([100.0, 110.0, 100.0], abs=0.3)
        assert trace.loss_corrected_m > 15.0
        assert trace.note == ""
    alone = impedance_profile(mixed(f, {"12": two_port(f, STEPS)}, ends="A"), length_m=15.0)
    assert at(alone[0], PLACES) == pytest.approx([103.8, 116.9, 109.1], abs=0.3)
    assert alone[0].loss_corrected_m == 0.0
    assert "not corrected for the loss" in alone[0].note


def test_a_hundred_metres():
    """20 m of 110 ohm in the middle of 100 m: the correction stands to 1 % and says how coarse it sees."""
    f = 0.25e6 * np.arange(1, 1001)
    sections = [(40, 100.0), (20, 110.0), (40, 100.0)]
    trace = only(impedance_profile(line(f, sections), length_m=100.0), "A", "12")
    assert at(trace, [20.0, 50.0, 80.0]) == pytest.approx([100.0, 110.0, 100.0], abs=1.0)
    assert trace.resolution_m == pytest.approx(0.4, abs=0.01)
    # 20 dB there and back: 10 dB per 100 m is reached at 37 MHz, and v/(2 x 37 MHz) is 2.7 m.
    assert trace.note == "the resolution at the far end is 2.7 m"


def test_a_pair_that_is_broken_takes_the_loss_of_the_others_and_shows_where():
    f = 4e6 * np.arange(1, 76)
    whole = two_port(f, [(3.0, 100.0)])
    near, far = two_port(f, [(2.0, 105.0)]), two_port(f, [(1.0, 105.0)])
    for load, wanted in ((1.0, 1000.0), (-1.0, 10.0)):
        broken = np.zeros_like(whole)
        broken[:, 0, 0] = near[:, 0, 0] + near[:, 0, 1] ** 2 * load / (1 - near[:, 1, 1] * load)
        broken[:, 1, 1] = far[:, 0, 0] + far[:, 0, 1] ** 2 * load / (1 - far[:, 1, 1] * load)
        broken[:, 0, 1] = broken[:, 1, 0] = 1e-6
        found = impedance_profile(mixed(f, dict.fromkeys(FOUR_PAIRS, whole) | {"45": broken}), length_m=3.0)
        for end, place in (("A", 2.0), ("B", 1.0)):
            trace = only(found, end, "45")
            assert "loss of the other pairs" in trace.note
            assert at(trace, place - 0.5) == pytest.approx(105.0, abs=0.5)
            assert at(trace, place + 0.5) == pytest.approx(wanted, rel=0.2)
            ratio = trace.value / 105.0
            past = ratio > 2.0 if load > 0 else ratio < 0.5
            assert trace.distance_m[np.argmax(past)] == pytest.approx(place, abs=0.15)


@pytest.mark.parametrize("z_ohm", [95.0, 100.0, 108.0])
def test_the_fitted_loss_is_that_of_the_line(z_ohm):
    """Loss, dispersion and what undoes both against the exact propagation of the line, 20 m."""
    f = 0.5e6 * np.arange(1, 401)
    cable = medium(f, z_ohm)
    losses = ModeLosses(mixed(f, {"36": cable.line(20.0, "m").s}))
    found = pair_losses(losses, 20.0, pair_velocities(losses, 20.0, None))["36"]
    assert found.own
    assert found.attenuation_np(f) == pytest.approx(20.0 * cable.gamma.real, abs=0.005)
    assert np.abs(found.dispersion(f) - cable.z0_characteristic / z_ohm).max() < 0.01
    undone = found.undone(f, 0.7) * np.exp(-2 * 0.7 * 20.0 * cable.gamma)
    assert np.abs(undone - np.exp(-2j * np.pi * f * 2 * 0.7 * found.delay_s)).max() < 0.02


def test_noise_is_not_blown_up():
    """-70 dB of noise on every point of 50 m: the far end stays within 2 %."""
    f = 0.5e6 * np.arange(1, 601)
    s = two_port(f, [(50.0, 100.0)])
    rng = np.random.default_rng(3)
    noisy = s + 10 ** (-70 / 20) * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)) / np.sqrt(2)
    clean = only(impedance_profile(mixed(f, {"12": s}), length_m=50.0), "A", "12")
    found = only(impedance_profile(mixed(f, {"12": noisy}), length_m=50.0), "A", "12")
    inside = clean.distance_m < 47.0
    assert np.abs(found.value - clean.value)[inside].max() < 1.0
    assert np.abs(clean.value - 100.0)[inside].max() < 0.5


def test_what_the_sweep_does_not_allow_gives_nothing():
    f = 10e6 + 1e6 * np.arange(60)
    assert impedance_profile(line(f, STEPS), length_m=15.0) == ()
