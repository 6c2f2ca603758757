"""Constants of the cable against the line that scikit-rf makes of R, L, G, C, and textbook arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from skrf import Frequency
from skrf.media import DistributedCircuit

from benchsweep.cabling import cable_constants
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling.distance import TwoPort, fit_impedance, structural_return_loss
from benchsweep.errors import UsageError
from tests.cabling.distance.lines import LIGHT, TAU, loaded, medium, mixed, two_port

F = 1e6 * np.geomspace(0.5, 300.0, 120)
R, L, G, C = 0.19, 500e-9, 1e-6, 50e-12  # per metre: 100 ohm, 5 ns/m


def uniform(f, length_m, **figures):
    line = DistributedCircuit(
        Frequency.from_f(f, unit="hz"), C=C, L=L, R=figures.get("r", R), G=figures.get("g", G), z0_port=100.0
    )
    return line, line.line(length_m, "m").s


@pytest.mark.parametrize("length_m", [2.0, 30.0])
def test_both_textbook_routes_find_impedance_and_propagation_of_a_uniform_line(length_m):
    """sqrt(Zopen Zshort) and sqrt(B/C) are the characteristic impedance; (A + D)/2 = cosh(gamma l)."""
    f = 1e6 * np.arange(1, 61)
    line, s = uniform(f, length_m)
    port = TwoPort.of(ModeLosses(mixed(f, {"12": s})), "A", "12")
    assert np.abs(port.open_short_impedance() / line.z0_characteristic - 1).max() < 1e-9
    assert np.abs(port.chain_impedance() / line.z0_characteristic - 1).max() < 1e-9
    gamma = line.gamma.imag / (2 * np.pi * f) * length_m
    assert np.abs(port.transfer(gamma * 1.01, f) - line.gamma * length_m).max() < 1e-8
    a, b, c, d = port.chain()
    assert np.abs(a * d - b * c - 1).max() < 1e-9  # reciprocal
    # Between its own characteristic impedances a line neither reflects nor loses but by its propagation.
    own = (line.z0_characteristic - 100.0) / (line.z0_characteristic + 100.0)
    assert np.abs(port.through_between(own) - np.exp(-line.gamma * length_m)).max() < 1e-9
    assert np.abs(port.terminated(own) - own).max() < 1e-9


def test_each_end_of_an_uneven_line_has_its_own_image_impedance():
    """Open and short by computation are what a real open and short at the far end would show."""
    f = 1e6 * np.arange(1, 41)
    s = two_port(f, [(1.0, 90.0), (2.0, 110.0)])
    losses = ModeLosses(mixed(f, {"45": s}))
    for end, seen in (("A", s), ("B", s[:, ::-1, ::-1])):
        z = [100 * (1 + loaded(seen, r)) / (1 - loaded(seen, r)) for r in (1.0, -1.0)]
        found = TwoPort.of(losses, end, "45").open_short_impedance()
        assert np.abs(found**2 / (z[0] * z[1]) - 1).max() < 1e-9
    a, b, c, d = TwoPort.of(losses, "A", "45").chain()
    assert (
        np.abs(np.sqrt(a * b / (c * d)) - TwoPort.of(losses, "A", "45").open_short_impedance()).max() < 1e-8
    )


def test_k0_of_a_line_of_constant_r_l_g_c_is_root_l_over_c():
    line, _ = uniform(F[F > 2e6], 1.0, g=0.0)
    k, fitted = fit_impedance(F[F > 2e6], np.abs(line.z0_characteristic))
    assert k[0] == pytest.approx(np.sqrt(L / C), abs=2e-3)
    assert fitted == pytest.approx(np.abs(line.z0_characteristic), abs=2e-3)


def test_the_fit_finds_its_own_coefficients_and_counts_every_octave_alike():
    k = (99.0, 4.0, -2.5, 0.7)
    mhz = F / 1e6
    curve = k[0] + k[1] * mhz**-0.5 + k[2] / mhz + k[3] * mhz**-1.5
    assert fit_impedance(F, curve)[0] == pytest.approx(k, rel=1e-9)
    even = 1e6 * np.arange(1, 501)
    ripple = 100 + np.sin(2 * np.pi * even / 7e6)
    assert abs(fit_impedance(even, ripple)[1][0] - 100.0) < 1.0
    spoilt = curve.copy()
    spoilt[40] = 1e6
    weight = np.ones(F.size)
    weight[40] = 0.0
    assert fit_impedance(F, spoilt, weight)[0] == pytest.approx(k, rel=1e-9)
    with pytest.raises(UsageError, match="fewer than 4"):
        fit_impedance(F[:3], curve[:3])


def test_structural_return_loss_of_110_against_100_ohm():
    """(110 - 100)/(110 + 100) = 1/21: 26.444 dB."""
    for reference in (100.0, 75.0):
        seen = np.full(3, (110.0 - reference) / (110.0 + reference), dtype=complex)
        found = structural_return_loss(seen, reference, np.full(3, 100.0 + 0j))
        assert found == pytest.approx(20 * np.log10(21) * np.ones(3), abs=1e-9)
        assert found[0] == pytest.approx(26.444, abs=5e-4)
    assert structural_return_loss(np.zeros(1, complex), 100.0, np.full(1, 100 + 0j))[0] == np.inf
    assert structural_return_loss(np.ones(1, complex), 100.0, np.full(1, 100 + 0j)) == pytest.approx(0.0)


@pytest.mark.parametrize("z_ohm", [100.0, 110.0])
def test_constants_of_a_uniform_cable(z_ohm):
    """K0 = sqrt(L/C), C = tau/Z: 5 ns/m over 100 ohm = 50 pF/m = 5 nF in 100 m."""
    f = 1e6 * np.arange(1, 301)
    found = cable_constants(mixed(f, {"36": two_port(f, [(10.0, z_ohm)])}), length_m=10.0)
    assert [(c.end, c.pair) for c in found] == [("A", "36"), ("B", "36")]
    for c in found:
        true = medium(f, z_ohm)
        assert c.route == "open-short"
        assert c.fit_coefficients[0] == pytest.approx(z_ohm, rel=1e-3)
        assert c.impedance_ohm == pytest.approx(np.abs(true.z0_characteristic), rel=1e-9)
        assert c.fitted_impedance_ohm == pytest.approx(np.abs(true.z0_characteristic), rel=2e-4)
        assert c.fitted_angle_rad == pytest.approx(np.angle(true.z0_characteristic), abs=5e-4)
        assert c.structural_return_loss_db.min() > 70.0
        band = f >= 100e6
        assert c.mean_impedance_ohm == pytest.approx(np.abs(true.z0_characteristic)[band].mean(), rel=1e-4)
        assert c.mean_band_hz == (100e6, 300e6)
        assert c.capacitance_nf_per_100m == pytest.approx(1e11 * TAU / z_ohm, rel=2e-3)
        assert c.low_frequency_capacitance_nf_per_100m == pytest.approx(1e11 * TAU / z_ohm, rel=1e-6)
        assert np.interp(100e6, f, c.delay_ns_per_100m) == pytest.approx(
            1e11 * true.gamma.imag[99] / (2 * np.pi * f[99]), rel=1e-3
        )
        assert c.velocity_fraction == pytest.approx(1 / (TAU * LIGHT), rel=5e-3)
    if z_ohm == 100.0:
        loss_db = 868.589 * medium(f, z_ohm).gamma.real
        # Below 4 MHz the complex impedance does not match 100 ohm, which counts as insertion loss.
        assert found[0].attenuation_db_per_100m[3:] == pytest.approx(loss_db[3:], abs=0.05)
        assert loss_db[99] == pytest.approx(16.6, abs=0.1)


def test_structure_shows_in_the_structural_return_loss_and_not_in_the_fit():
    """Cells of 100.5 and 99.5 ohm by turns, 0.4 m long: a peak where the half wave is 0.4 m, at 250 MHz."""
    f = 2e6 * np.arange(1, 151)
    cable = mixed(f, {"12": two_port(f, [(0.2, 100.5), (0.2, 99.5)] * 10)})
    found, other = cable_constants(cable, length_m=4.0)
    worst = f[np.argmin(found.structural_return_loss_db)]
    assert worst == pytest.approx(1 / (2 * TAU * 0.4), abs=8e6)
    # Ten cells of two steps of 0.005 each, in phase: tanh(0.1), less some loss.
    assert found.structural_return_loss_db.min() == pytest.approx(20.0, abs=2.0)
    assert np.abs(np.diff(found.fitted_impedance_ohm))[10:].max() < 0.1
    # Each end sees its own half cell first; both together are 100 ohm and 0.4 ohm of resistance.
    assert np.sqrt(found.mean_impedance_ohm * other.mean_impedance_ohm) == pytest.approx(100.4, abs=0.3)


def test_noise_of_half_waves_has_no_weight():
    """2 m at -66 dB of noise: near each 50 MHz open and short look alike; the fit still finds 100 ohm."""
    f = 2e6 * np.arange(1, 151)
    s = two_port(f, [(2.0, 100.0)])
    rng = np.random.default_rng(2)
    noisy = s + 5e-4 * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)) / np.sqrt(2)
    found = cable_constants(mixed(f, {"12": noisy}), length_m=2.0)[0]
    assert np.abs(found.impedance_ohm - 100.0)[49::50].max() > 0.2
    assert found.mean_impedance_ohm == pytest.approx(100.5, abs=0.3)
    assert found.fit_coefficients[0] == pytest.approx(100.0, abs=1.0)
    assert found.low_frequency_capacitance_nf_per_100m == pytest.approx(5.0, rel=0.02)


def test_one_end_only_shows_the_input_impedance_on_the_termination():
    f = 1e6 * np.arange(1, 81)
    cable = two_port(f, [(300.0, 105.0)])
    (found,) = cable_constants(mixed(f, {"78": cable}, ends="A"), length_m=300.0)
    assert found.route == "terminated"
    assert found.delay_ns_per_100m is None
    assert found.attenuation_db_per_100m is None
    assert found.capacitance_nf_per_100m is None
    assert found.mean_band_hz == (40e6, 80e6)
    assert found.mean_impedance_ohm == pytest.approx(105.0, rel=0.01)


def test_long_cable_and_low_sweep_have_no_capacitance_at_low_frequency():
    f = 1e6 * np.arange(1, 81)
    found = cable_constants(mixed(f, {"12": two_port(f, [(90.0, 100.0)])}), length_m=90.0)
    assert found[0].low_frequency_capacitance_nf_per_100m is None
    assert found[0].capacitance_nf_per_100m == pytest.approx(5.0, rel=0.01)


def test_a_broken_pair_has_no_constants_and_a_length_must_be_one():
    f = 5e6 * np.arange(1, 61)
    dead = np.zeros((f.size, 2, 2), dtype=complex)
    dead[:, 0, 0] = dead[:, 1, 1] = 1.0
    both = mixed(f, {"12": two_port(f, [(2.0, 100.0)]), "36": dead})
    assert {c.pair for c in cable_constants(both, length_m=2.0)} == {"12"}
    for wrong in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(UsageError, match="makes no sense"):
            cable_constants(both, length_m=wrong)
    assert cable_constants(mixed(f[:5], {"12": two_port(f[:5], [(2.0, 100.0)])}), length_m=2.0) == ()
