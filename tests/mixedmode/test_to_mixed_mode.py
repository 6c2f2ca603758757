"""Mixed mode against scikit-rf, and against networks whose modes are known in closed form.

Definitions: Bockelman and Eisenstadt, "Combined differential and common-mode scattering parameters", IEEE
Trans. MTT 43, 1995. The networks are built here as admittance matrices of resistors at 50 ohm:
S = (1 - Y)(1 + Y)^-1.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.errors import FixtureError
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import SMatrix, balanced_ports

LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
PAIR_1 = ("A:12.1", "A:12.2")
THROUGH = ("A:12.1", "A:12.2", "B:12.1", "B:12.2")
GRID = np.array([1e6, 100e6, 500e6])


def matrix(s: np.ndarray, ports: tuple[str, ...], f: np.ndarray = GRID) -> SMatrix:
    full = np.broadcast_to(s, (f.size, len(ports), len(ports)))
    return SMatrix(f, full, ports, (50.0,) * len(ports))


def random_matrix(seed: int, n_freq: int = 3, ports: tuple[str, ...] = LEGS) -> SMatrix:
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(n_freq, len(ports), len(ports), 2)) @ [0.1, 0.1j]
    return matrix(s, ports, np.linspace(1e6, 500e6, n_freq))


class Resistors:
    """A network of resistors; node names are leg labels or inner nodes, None is ground."""

    def __init__(self) -> None:
        self.parts: list[tuple[object, object, float]] = []

    def add(self, one: object, two: object, ohm: float) -> Resistors:
        self.parts.append((one, two, ohm))
        return self

    def scatter(self, ports: tuple[str, ...]) -> SMatrix:
        y = np.zeros((len(ports), len(ports)))
        for one, two, ohm in self.parts:
            for node in (one, two):
                if node is not None:
                    y[ports.index(node), ports.index(node)] += 50.0 / ohm
            if one is not None and two is not None:
                i, j = ports.index(one), ports.index(two)
                y[i, j] -= 50.0 / ohm
                y[j, i] -= 50.0 / ohm
        identity = np.eye(len(ports))
        return matrix((identity - y) @ np.linalg.inv(identity + y), ports)


def db(value: np.ndarray) -> float:
    return float(20 * np.log10(np.abs(value[0])))


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    n_pairs=st.integers(1, 8),
    z=st.sampled_from([(100.0, 25.0), (100.0, 50.0), (120.0, 37.5), (80.0, 25.0)]),
)
def test_equals_the_conversion_of_scikit_rf(seed: int, n_pairs: int, z: tuple[float, float]) -> None:
    ports = LEGS[: 2 * n_pairs]  # already plus, minus of one pair after the other, as scikit-rf wants it
    single = random_matrix(seed, ports=ports)
    network = skrf.Network(f=single.frequency_hz, f_unit="hz", s=single.s, z0=50.0)
    network.se2gmm(p=n_pairs, z0_mm=np.repeat(z, n_pairs))
    found = to_mixed_mode(single, z_differential_ohm=z[0], z_common_ohm=z[1])
    np.testing.assert_allclose(found.s, network.s, atol=1e-12)
    assert found.z0_ohm == tuple(np.repeat(z, n_pairs))


def test_ports_are_all_differential_then_all_common_in_the_order_of_the_pairs() -> None:
    mixed = to_mixed_mode(random_matrix(1))
    pairs = [f"{end}:{pair}" for end in "AB" for pair in ("12", "36", "45", "78")]
    assert mixed.ports == tuple([f"{p}/d" for p in pairs] + [f"{p}/c" for p in pairs])
    assert mixed.z0_ohm == (100.0,) * 8 + (25.0,) * 8


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**31), order=st.permutations(range(16)))
def test_the_order_of_the_legs_does_not_matter(seed: int, order: list[int]) -> None:
    single = random_matrix(seed)
    moved = SMatrix(
        single.frequency_hz,
        single.s[:, order][:, :, order],
        tuple(LEGS[n] for n in order),
        (50.0,) * 16,
    )
    np.testing.assert_allclose(to_mixed_mode(moved).s, to_mixed_mode(single).s, atol=1e-15)


def test_it_is_m_s_m_transposed_with_an_orthogonal_m_so_singular_values_stay() -> None:
    single = random_matrix(5)
    m = np.zeros((16, 16))
    for n in range(8):
        m[n, 2 * n], m[n, 2 * n + 1] = 1, -1
        m[8 + n, 2 * n], m[8 + n, 2 * n + 1] = 1, 1
    m /= np.sqrt(2)
    mixed = to_mixed_mode(single)
    np.testing.assert_allclose(mixed.s, m @ single.s @ m.T, atol=1e-15)
    np.testing.assert_allclose(
        np.linalg.svd(mixed.s, compute_uv=False), np.linalg.svd(single.s, compute_uv=False), atol=1e-14
    )
    np.testing.assert_allclose(np.sum(np.abs(mixed.s) ** 2), np.sum(np.abs(single.s) ** 2))


def test_swapping_the_wires_of_a_pair_turns_the_sign_of_its_differential_port_only() -> None:
    single = random_matrix(6)
    mixed = to_mixed_mode(single)
    swapped_ports = tuple({"A:36.3": "A:36.6", "A:36.6": "A:36.3"}.get(p, p) for p in single.ports)
    swapped = to_mixed_mode(SMatrix(single.frequency_hz, single.s, swapped_ports, single.z0_ohm))
    sign = np.where(np.array(mixed.ports) == "A:36/d", -1.0, 1.0)
    np.testing.assert_allclose(swapped.s, sign[:, None] * mixed.s * sign[None, :], atol=1e-15)


def test_exchanging_two_pairs_permutes_the_result() -> None:
    single = random_matrix(7)
    exchange = {"A:12.1": "A:78.7", "A:12.2": "A:78.8", "A:78.7": "A:12.1", "A:78.8": "A:12.2"}
    renamed = SMatrix(
        single.frequency_hz, single.s, tuple(exchange.get(p, p) for p in single.ports), single.z0_ohm
    )
    one, two = to_mixed_mode(single), to_mixed_mode(renamed)
    np.testing.assert_allclose(two.at(out="A:78/d", into="B:36/c"), one.at(out="A:12/d", into="B:36/c"))
    np.testing.assert_allclose(two.at(out="A:12/c", into="A:12/d"), one.at(out="A:78/c", into="A:78/d"))


@pytest.mark.parametrize("wires", list(permutations(THROUGH, 4))[::5])
def test_delay_line(wires: tuple[str, ...]) -> None:
    """Two wires of delay tau: both modes pass with exp(-j w tau), nothing else."""
    tau = 3.7e-9
    phase = np.exp(-2j * np.pi * GRID * tau)
    s = np.zeros((3, 4, 4), dtype=complex)
    for one, two in (("A:12.1", "B:12.1"), ("A:12.2", "B:12.2")):
        i, j = wires.index(one), wires.index(two)
        s[:, i, j] = s[:, j, i] = phase
    mixed = to_mixed_mode(matrix(s, wires))
    for mode in "dc":
        np.testing.assert_allclose(mixed.at(out=f"B:12/{mode}", into=f"A:12/{mode}"), phase, atol=1e-15)
        np.testing.assert_allclose(mixed.at(out=f"A:12/{mode}", into=f"A:12/{mode}"), 0.0, atol=1e-15)
    np.testing.assert_allclose(mixed.at(out="B:12/c", into="A:12/d"), 0.0, atol=1e-15)


@pytest.mark.parametrize(
    ("z_ohm", "return_loss_db"),
    [(90.0, 19.578), (95.0, 25.806), (105.0, 26.240), (110.0, 20.443), (115.0, 17.149)],
)
def test_least_return_loss_of_a_lossless_line_in_100_ohm(z_ohm: float, return_loss_db: float) -> None:
    """Odd quarter waves: Sdd11 = (Z^2 - 100^2) / (Z^2 + 100^2)."""
    f = np.array([50e6, 100e6, 150e6])  # 2.5 ns: the quarter wave is at 100 MHz
    z, angle = z_ohm / 100.0, 2 * np.pi * f * 2.5e-9
    denominator = 2 * z * np.cos(angle) + 1j * (z**2 + 1) * np.sin(angle)
    s = np.zeros((3, 4, 4), dtype=complex)
    for near, far in ((0, 2), (1, 3)):
        s[:, near, near] = s[:, far, far] = 1j * (z**2 - 1) * np.sin(angle) / denominator
        s[:, near, far] = s[:, far, near] = 2 * z / denominator
    mixed = to_mixed_mode(matrix(s, THROUGH, f))
    loss = -20 * np.log10(np.abs(mixed.at(out="A:12/d", into="A:12/d")))
    assert np.argmin(loss) == 1
    assert loss[1] == pytest.approx(return_loss_db, abs=5e-4)


@pytest.mark.parametrize("ohm", [1.0, 10.0, 100.0])
def test_series_resistance_in_each_wire(ohm: float) -> None:
    """s21 = 100 / (100 + R), s11 = R / (100 + R) in both modes, no conversion."""
    mixed = to_mixed_mode(
        Resistors().add("A:12.1", "B:12.1", ohm).add("A:12.2", "B:12.2", ohm).scatter(THROUGH)
    )
    for mode in "dc":
        np.testing.assert_allclose(mixed.at(out=f"B:12/{mode}", into=f"A:12/{mode}"), 100 / (100 + ohm))
        np.testing.assert_allclose(mixed.at(out=f"A:12/{mode}", into=f"A:12/{mode}"), ohm / (100 + ohm))
        other = "c" if mode == "d" else "d"
        for end in "AB":
            np.testing.assert_allclose(mixed.at(out=f"{end}:12/{other}", into=f"A:12/{mode}"), 0, atol=1e-15)


def test_balanced_pi_pad_of_20_db() -> None:
    """122.222 ohm across both ends, 247.5 ohm in each wire; common mode sees the 247.5 ohm alone."""
    shunt = 100.0 * 11.0 / 9.0
    pad = (
        Resistors()
        .add("A:12.1", "A:12.2", shunt)
        .add("B:12.1", "B:12.2", shunt)
        .add("A:12.1", "B:12.1", 247.5)
        .add("A:12.2", "B:12.2", 247.5)
    )
    mixed = to_mixed_mode(pad.scatter(THROUGH))
    assert db(mixed.at(out="B:12/d", into="A:12/d")) == pytest.approx(-20.0, abs=1e-10)
    assert np.max(np.abs(mixed.at(out="A:12/d", into="A:12/d"))) < 1e-15
    assert db(mixed.at(out="B:12/c", into="A:12/c")) == pytest.approx(-10.8191, abs=5e-5)
    assert db(mixed.at(out="A:12/c", into="A:12/c")) == pytest.approx(-2.9476, abs=5e-5)
    assert np.max(np.abs(mixed.at(out="A:12/c", into="A:12/d"))) < 1e-15
    assert np.max(np.abs(mixed.at(out="B:12/c", into="A:12/d"))) < 1e-15


def test_loads() -> None:
    """Floating 100 ohm: matched for the differential mode, open for the common one. Two of 50 ohm: both."""
    floating = to_mixed_mode(Resistors().add(*PAIR_1, 100.0).scatter(PAIR_1))
    np.testing.assert_allclose(floating.s[0], [[0.0, 0.0], [0.0, 1.0]], atol=1e-15)
    grounded = Resistors().add("A:12.1", None, 50.0).add("A:12.2", None, 50.0).scatter(PAIR_1)
    np.testing.assert_allclose(to_mixed_mode(grounded).s[0], 0.0, atol=1e-15)


@pytest.mark.parametrize(("part", "tcl_db"), [(0.01, 46.02), (0.002, 60.00), (0.001, 66.02)])
def test_standard_of_transverse_conversion_loss(part: float, tcl_db: float) -> None:
    """50 (1 - d) and 50 (1 + d) to ground: Scd11 = d / 2 to first order, sign from the positive leg."""
    load = Resistors().add("A:12.1", None, 50.0 * (1 - part)).add("A:12.2", None, 50.0 * (1 + part))
    conversion = to_mixed_mode(load.scatter(PAIR_1)).at(out="A:12/c", into="A:12/d")
    assert -db(conversion) == pytest.approx(tcl_db, abs=0.005)
    exact = 0.5 * (-part / (2 - part) - part / (2 + part))  # half the difference of both reflections
    np.testing.assert_allclose(conversion, exact, rtol=1e-10)


@pytest.mark.parametrize(("both", "next_db"), [(False, 60.035), (True, 54.014)])
def test_standard_of_near_end_crosstalk(both: bool, next_db: float) -> None:
    """Four 50 ohm loads, R between the positive wires: 12.5/R/(1+50/R); with one more, no conversion."""
    ports = (*PAIR_1, "A:36.3", "A:36.6")
    network = Resistors()
    for leg in ports:
        network.add(leg, None, 50.0)
    network.add("A:12.1", "A:36.3", 12.5e3)
    if both:
        network.add("A:12.2", "A:36.6", 12.5e3)
    mixed = to_mixed_mode(network.scatter(ports))
    crosstalk = mixed.at(out="A:36/d", into="A:12/d")
    conversion = mixed.at(out="A:36/c", into="A:12/d")
    assert -db(crosstalk) == pytest.approx(next_db, abs=5e-4)
    one = 12.5 / 12.5e3 / (1 + 50 / 12.5e3)
    np.testing.assert_allclose(crosstalk, 2 * one if both else one, rtol=1e-10)
    np.testing.assert_allclose(conversion, 0.0 if both else one, rtol=1e-10, atol=1e-15)
    if not both:
        np.testing.assert_allclose(mixed.at(out="A:36/c", into="A:12/c"), one, rtol=1e-10)


def test_common_mode_reference_changes_the_common_match_as_a_mismatch_does() -> None:
    """Grounded 50 ohm legs are 25 ohm to the common mode: at 50 ohm reference (25 - 50) / (25 + 50)."""
    grounded = Resistors().add("A:12.1", None, 50.0).add("A:12.2", None, 50.0).scatter(PAIR_1)
    mixed = to_mixed_mode(grounded, z_common_ohm=50.0)
    np.testing.assert_allclose(mixed.s[0], [[0.0, 0.0], [0.0, -1.0 / 3.0]], atol=1e-15)
    assert mixed.z0_ohm == (100.0, 50.0)


def test_pairs_with_one_leg_missing_are_left_out() -> None:
    mixed = to_mixed_mode(random_matrix(3, ports=("B:12.2", "A:36.3", "B:12.1", "A:45.4")))
    assert mixed.ports == ("B:12/d", "B:12/c")
    with pytest.raises(FixtureError, match=r"no pair has both its legs among A:36\.3, B:45\.4"):
        to_mixed_mode(random_matrix(3, ports=("A:36.3", "B:45.4")))


def test_wrong_references_are_refused() -> None:
    single = random_matrix(3)
    seventy_five = SMatrix(single.frequency_hz, single.s, single.ports, (75.0,) * 16)
    with pytest.raises(ValueError, match="50 ohm"):
        to_mixed_mode(seventy_five)
    with pytest.raises(ValueError, match="positive"):
        to_mixed_mode(single, z_common_ohm=0.0)


MODES = tuple(f"{port}/{mode}" for mode in "dc" for port in balanced_ports())


def shuffled(mixed: SMatrix, seed: int) -> SMatrix:
    at = np.random.default_rng(seed).permutation(len(mixed.ports))
    return SMatrix(
        mixed.frequency_hz,
        mixed.s[:, at][:, :, at],
        tuple(mixed.ports[n] for n in at),
        tuple(mixed.z0_ohm[n] for n in at),
    )


def test_modes_come_back_in_their_order() -> None:
    expected = to_mixed_mode(random_matrix(4))
    found = to_mixed_mode(shuffled(expected, 1))
    assert found.ports == expected.ports == MODES
    assert found.z0_ohm == (100.0,) * 8 + (25.0,) * 8
    np.testing.assert_array_equal(found.s, expected.s)


def test_converting_twice_the_classic_mistake_changes_nothing() -> None:
    """scikit-rf's se2gmm called twice returns nonsense; labels say here what is converted already."""
    once = to_mixed_mode(random_matrix(3))
    np.testing.assert_array_equal(to_mixed_mode(once).s, once.s)


def test_modes_are_renormalised_like_scikit_rf() -> None:
    expected = to_mixed_mode(random_matrix(5), z_common_ohm=50.0)
    found = to_mixed_mode(shuffled(to_mixed_mode(random_matrix(5)), 2), z_common_ohm=50.0)
    assert found.z0_ohm == (100.0,) * 8 + (50.0,) * 8
    np.testing.assert_allclose(found.s, expected.s, atol=1e-13)
    mixed = to_mixed_mode(random_matrix(5))
    network = skrf.Network(
        f=mixed.frequency_hz, f_unit="hz", s=np.array(mixed.s), z0=[100.0] * 8 + [25.0] * 8
    )
    network.renormalize([100.0] * 8 + [50.0] * 8)
    np.testing.assert_allclose(found.s, network.s, atol=1e-11)
    back = to_mixed_mode(found)
    np.testing.assert_allclose(back.s, mixed.s, atol=1e-13)


def test_only_the_modes_that_were_measured_come_back() -> None:
    mixed = to_mixed_mode(random_matrix(6))
    some = SMatrix(mixed.frequency_hz, mixed.s[:, [5, 2]][:, :, [5, 2]], ("B:36/d", "A:45/d"), (100.0, 100.0))
    found = to_mixed_mode(some)
    assert found.ports == ("A:45/d", "B:36/d")
    np.testing.assert_array_equal(found.at(out="A:45/d", into="B:36/d"), mixed.s[:, 2, 5])


def test_legs_among_modes_and_modes_of_no_port_are_refused() -> None:
    two = np.zeros((3, 2, 2))
    with pytest.raises(FixtureError, match=r"legs and modes are mixed: A:12\.1"):
        to_mixed_mode(SMatrix(GRID, two, ("A:12/d", "A:12.1"), (100.0, 50.0)))
    with pytest.raises(ValueError, match="no mode of a balanced port: A:12/x"):
        to_mixed_mode(SMatrix(GRID, two, ("A:12/d", "A:12/x"), (100.0, 25.0)))


def bundle_legs(*cables: int) -> tuple[str, ...]:
    return tuple(str(leg) for cable in cables for port in balanced_ports(cable=cable) for leg in port.legs)


def test_a_bundle_is_converted_cable_by_cable_by_label() -> None:
    """The blocks of a bundle are those of its cables alone, whatever the order of the legs."""
    legs = bundle_legs(3, 0)
    single = random_matrix(8, ports=legs)
    mixed = to_mixed_mode(single)
    own = [f"{port}/{{}}" for port in balanced_ports()]
    other = [f"{port}/{{}}" for port in balanced_ports(cable=3)]
    assert mixed.ports == tuple(text.format(mode) for mode in "dc" for text in (*own, *other))
    for cable in (0, 3):
        at = [legs.index(label) for label in bundle_legs(cable)]
        alone = to_mixed_mode(matrix(single.s[:, at][:, :, at], bundle_legs(cable), single.frequency_hz))
        for out in alone.ports:
            for into in alone.ports:
                np.testing.assert_allclose(
                    mixed.at(out=out, into=into), alone.at(out=out, into=into), atol=1e-14
                )
    # Alien crosstalk by the definition of the modes: half of (p - n) out over (p - n) in.
    out, into = ("A:36.3", "A:36.6"), ("3.B:45.4", "3.B:45.5")
    expected = 0.5 * sum(
        (1 if i == out[0] else -1) * (1 if j == into[0] else -1) * single.at(out=i, into=j)
        for i in out
        for j in into
    )
    np.testing.assert_allclose(mixed.at(out="A:36/d", into="3.B:45/d"), expected, atol=1e-14)


def test_modes_of_a_bundle_come_back_in_their_order() -> None:
    expected = to_mixed_mode(random_matrix(4, ports=bundle_legs(0, 2)))
    found = to_mixed_mode(shuffled(expected, 1))
    assert found.ports == expected.ports
    np.testing.assert_array_equal(found.s, expected.s)
