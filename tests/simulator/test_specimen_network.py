"""Joining networks, changing references and lumped parts, against scikit-rf and closed forms."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import skrf
from scipy.linalg import expm

from benchsweep.simulator.specimen import _network, _parts

F = np.array([1e6, 33e6, 100e6, 250e6, 500e6])


def random_reciprocal(rng: np.random.Generator, points: int = 5) -> _network.Network:
    drawn = rng.normal(size=(points, 16, 16)) + 1j * rng.normal(size=(points, 16, 16))
    drawn = drawn + drawn.swapaxes(1, 2)
    drawn /= 1.05 * np.linalg.norm(drawn, ord=2, axis=(1, 2))[:, None, None]
    return _network.from_matrix(drawn)


def as_skrf(matrix: np.ndarray, z0: complex | np.ndarray = 50.0) -> skrf.Network:
    return skrf.Network(frequency=skrf.Frequency.from_f(F, unit="Hz"), s=matrix, z0=z0)


def pair_mode(pair: tuple[int, int], sign: float) -> np.ndarray:
    """Differential (sign -1) or common (+1) mode of a pair: (a ± b)/√2 (Bockelman and Eisenstadt, 1995)."""
    row = np.zeros(8)
    row[pair[0] - 1], row[pair[1] - 1] = np.sqrt(0.5), sign * np.sqrt(0.5)
    return row


D36, D45, D12, D78 = (pair_mode(pair, -1.0) for pair in ((3, 6), (4, 5), (1, 2), (7, 8)))
C45 = pair_mode((4, 5), 1.0)


def loss_db(values: np.ndarray) -> np.ndarray:
    return -20.0 * np.log10(np.abs(values))


def test_star_equals_scikit_rf_cascade(rng: np.random.Generator) -> None:
    left, right = random_reciprocal(rng), random_reciprocal(rng)
    reference = as_skrf(left.matrix()) ** as_skrf(right.matrix())
    assert np.max(np.abs(_network.star(left, right).matrix() - reference.s)) < 1e-12


def test_star_is_associative_and_turns_round(rng: np.random.Generator) -> None:
    a, b, c = (random_reciprocal(rng) for _ in range(3))
    one = _network.star(_network.star(a, b), c)
    other = _network.star(a, _network.star(b, c))
    assert np.max(np.abs(one.matrix() - other.matrix())) < 1e-12
    back = _network.cascade([c.reversed(), b.reversed(), a.reversed()]).reversed()
    assert np.max(np.abs(one.matrix() - back.matrix())) < 1e-12


def test_change_of_reference_equals_scikit_rf(rng: np.random.Generator) -> None:
    matrix = random_reciprocal(rng).matrix()
    z = 50.0 + 60.0 * rng.random((5, 16))
    expected = as_skrf(matrix, z)
    expected.renormalize(50.0)
    assert np.max(np.abs(_network.change_reference(matrix, z, 50.0) - expected.s)) < 1e-12


def test_change_of_complex_reference_keeps_the_impedance_matrix(rng: np.random.Generator) -> None:
    # By definition V = √Z (a + b) and I = (a - b)/√Z, so the impedance matrix is √Z (1 + S)(1 - S)^-1 √Z.
    matrix = random_reciprocal(rng).matrix()
    z = 50.0 + 60.0 * rng.random((5, 16)) - 5j * rng.random((5, 16))
    root = np.sqrt(z)
    impedance = (
        root[:, :, None] * ((np.eye(16) + matrix) @ np.linalg.inv(np.eye(16) - matrix)) * root[:, None]
    )
    expected = (impedance - 50 * np.eye(16)) @ np.linalg.inv(impedance + 50 * np.eye(16))
    assert np.max(np.abs(_network.change_reference(matrix, z, 50.0) - expected)) < 1e-12


def test_section_is_unitary_whatever_the_coupling(rng: np.random.Generator) -> None:
    backward = rng.normal(size=(4, 8, 8)) + 1j * rng.normal(size=(4, 8, 8))
    forward = rng.normal(size=(4, 8, 8)) + 1j * rng.normal(size=(4, 8, 8))
    matrix = _network.unitary(
        backward + backward.swapaxes(1, 2), forward + forward.swapaxes(1, 2).conj()
    ).matrix()
    product = matrix @ matrix.swapaxes(1, 2).conj()
    assert np.max(np.abs(product - np.eye(16))) < 1e-12
    assert np.max(np.abs(matrix - matrix.swapaxes(1, 2))) < 1e-12


def test_lumps_converge_to_the_exact_coupled_line_with_the_square_of_their_length() -> None:
    # Multiconductor transmission-line equations, solved by the matrix exponential of the chain matrix
    # (C. R. Paul, Analysis of Multiconductor Transmission Lines, ch. 7), lossless.
    plug = _parts.plug_lump()
    times = 40.0
    l_ohm = 2j * np.pi * 100e6 * 50.0 * plug.inductance_s * times
    c_siemens = 2j * np.pi * 100e6 * plug.capacitance_s / 50.0 * times
    zero = np.zeros((8, 8))
    # [V(0); I(0)] = chain [V(L); I(L)], then to waves at 50 ohm.
    chain = expm(np.block([[zero, l_ohm], [c_siemens, zero]]))
    v = np.block([[np.eye(8), np.eye(8)], [np.eye(8) / 50.0, -np.eye(8) / 50.0]])  # (a, b) -> (V, I)
    out = np.block([[np.eye(8), np.eye(8)], [-np.eye(8) / 50.0, np.eye(8) / 50.0]])
    # unknown near b and far b for near a, far a:  v [a0; b0] = chain out [aL; bL]
    far = chain @ out
    known = np.hstack([-v[:, :8], far[:, :8]])
    unknown = np.hstack([v[:, 8:], -far[:, 8:]])
    exact = np.linalg.solve(unknown, known)
    errors = []
    for count in (10, 20, 40, 80):
        share = times / count
        lump = _parts.Lump(plug.inductance_s * share, plug.capacitance_s * share)
        network = lump.network(np.array([100e6]))
        errors.append(float(np.max(np.abs(_network.cascade([network] * count).matrix()[0] - exact))))
    assert errors[-1] < 1e-3
    for coarse, fine in pairwise(errors):
        assert coarse / fine == pytest.approx(4.0, rel=0.15)


def test_nominal_plug_lies_in_the_window_of_test_plugs_and_grows_with_frequency() -> None:
    # De-embedded NEXT 36-45 of test plugs at 100 MHz: 36.4 to 37.6 dB (connecting hardware tests of
    # ANSI/TIA-568-B.2-1 annex E; from memory). A short coupled stretch couples in proportion to frequency.
    s = _parts.plug_lump().network(F).s11
    crosstalk = loss_db(np.einsum("i,fij,j->f", D36, s, D45))
    assert 36.4 <= crosstalk[2] <= 37.6
    assert crosstalk[0] - crosstalk[2] == pytest.approx(40.0, abs=0.1)
    # The ranking that the row of blades dictates: 45 lies between the legs of 36, 12 and 78 beside it.
    outer = loss_db(np.einsum("i,fij,j->f", D36, s, D12))[2]
    assert outer == pytest.approx(loss_db(np.einsum("i,fij,j->f", D36, s, D78))[2], abs=1e-6)
    assert crosstalk[2] < outer < loss_db(np.einsum("i,fij,j->f", D45, s, D12))[2]


@pytest.mark.parametrize("seed", range(5))
def test_mated_connections_meet_the_connecting_hardware_limits(seed: int) -> None:
    # ANSI/TIA-568-C.2 connecting hardware, category 6A (from memory): NEXT 54-20log(f/100) to 250 MHz,
    # 46.04-40log(f/250) above; FEXT 43.1-20log(f/100); RL 28-20log(f/100), at most 30; IL 0.02√f, at least
    # 0.1.
    f = np.linspace(1e6, 500e6, 300)
    m = f / 1e6
    network = _parts.draw_mated((seed,)).network(f)
    to_pairs = np.stack([D12, D36, D45, D78])
    near = to_pairs @ network.s11 @ to_pairs.T
    through = to_pairs @ network.s21 @ to_pairs.T
    off = ~np.eye(4, dtype=bool)
    limit = np.where(m <= 250, 54 - 20 * np.log10(m / 100), 46.04 - 40 * np.log10(m / 250))
    assert np.min(loss_db(near[:, off]) - np.minimum(limit, 75)[:, None]) > 0.0
    assert np.min(loss_db(through[:, off]) - np.minimum(43.1 - 20 * np.log10(m / 100), 75)[:, None]) > 0.0
    rl = np.minimum(28 - 20 * np.log10(m / 100), 30)
    assert np.min(loss_db(near[:, range(4), range(4)]) - rl[:, None]) > 0.0
    il = np.maximum(0.02 * np.sqrt(m), 0.1)
    # The connection's own reflections take a few hundredths of a decibel more at the top of the band.
    assert np.max(loss_db(through[:, range(4), range(4)]) - il[:, None]) < 0.05
    # A jack made for the nominal plug takes most of its 37.4 dB away.
    assert loss_db(near[np.argmin(np.abs(m - 100)), 1, 2]) > 54.0


@pytest.mark.parametrize(("scale", "left_over"), [(0.7, 0.3), (1.5, 0.5)])
def test_a_plug_out_of_window_leaves_what_the_jack_does_not_take_back(scale: float, left_over: float) -> None:
    # The jack removes one nominal plug: |scale - 1| of 37.4 dB at 100 MHz remains, give or take the jack's
    # spread.
    f = np.array([100e6])
    near = np.mean(
        [
            np.abs(D36 @ _parts.draw_mated((seed,), plug_scale=scale).network(f).s11[0] @ D45)
            for seed in range(40)
        ]
    )
    assert loss_db(near) == pytest.approx(37.4 - 20 * np.log10(left_over), abs=1.5)


def test_series_impedance_is_the_textbook_two_port() -> None:
    # D. M. Pozar, Microwave Engineering, table 4.2 and 4.1: series Z between 50 ohm, S11 = z/(z+2), S21 =
    # 2/(z+2).
    network = _parts.Series((4,), resistance_ohm=5.0, inductance_h=1e-9).network(F)
    z = (5.0 + 2j * np.pi * F * 1e-9) / 50.0
    assert np.allclose(network.s11[:, 3, 3], z / (z + 2), atol=1e-14)
    assert np.allclose(network.s21[:, 3, 3], 2 / (z + 2), atol=1e-14)
    assert np.allclose(network.s21[:, 4, 4], 1.0, atol=1e-14)
    # In one leg only, half of the lost wave turns into the common mode.
    assert np.allclose(np.einsum("i,fij,j->f", C45, network.s21, D45), -(1 - 2 / (z + 2)) / 2, atol=1e-14)


def test_gap_is_a_capacitor() -> None:
    network = _parts.Series((1,), gap_f=0.15e-12).network(F)
    z = 1.0 / (2j * np.pi * F * 0.15e-12) / 50.0
    assert np.allclose(network.s21[:, 0, 0], 2 / (z + 2), atol=1e-14)


def test_shunt_across_a_pair_is_the_textbook_two_port_of_the_differential_mode() -> None:
    # Shunt Y across a 100-ohm line: S21 = 2/(2 + 100 Y), S11 = -100 Y/(2 + 100 Y); the common mode sees
    # nothing.
    network = _parts.Shunt((4, 5), 0.5).network(F)
    y = 100.0 / 0.5
    assert np.allclose(np.einsum("i,fij,j->f", D45, network.s21, D45), 2 / (2 + y), atol=1e-12)
    assert np.allclose(np.einsum("i,fij,j->f", D45, network.s11, D45), -y / (2 + y), atol=1e-12)
    assert np.allclose(np.einsum("i,fij,j->f", C45, network.s21, C45), 1.0, atol=1e-12)


@pytest.mark.parametrize("length_m", [0.015, 0.040])
def test_untwisted_length_couples_like_three_tenths_of_a_plug_every_five_millimetres(length_m: float) -> None:
    lumps = _parts.untwisted(length_m, ("12", "36", "45", "78"))
    s = _network.cascade([lump.network(np.array([30e6])) for lump in lumps]).s11[0]
    plug = _parts.plug_lump().network(np.array([30e6])).s11[0]
    ratio = np.abs(D36 @ s @ D45) / np.abs(D36 @ plug @ D45)
    assert ratio == pytest.approx(0.30 * length_m / 0.005, rel=0.02)


def test_only_pairs_that_are_untwisted_couple() -> None:
    lumps = _parts.untwisted(0.01, ("36", "45"))
    s = _network.cascade([lump.network(F) for lump in lumps]).s11
    assert np.max(np.abs(np.einsum("i,fij,j->f", D36, s, D12))) < 1e-12
    assert np.min(np.abs(np.einsum("i,fij,j->f", D36, s, D45))) > 1e-5


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20240607)
