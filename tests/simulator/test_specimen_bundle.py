"""Bundles: what lies beside a cable couples weakly, reciprocally, and by the laws of crosstalk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.linalg import expm

from benchsweep.errors import DefinitionError, UsageError
from benchsweep.simulator.bench import Bench, ImpossibleConnection, load_bench, parse_connections
from benchsweep.simulator.specimen import _alien, _cable_types, _profiles, load_specimen

PAIRS = ((1, 2), (3, 6), (4, 5), (7, 8))
GRID = np.geomspace(1e6, 500e6, 40)
MHZ = GRID / 1e6


def pair_waves() -> np.ndarray:
    """Conductors at A, at B -> differential waves of 12 36 45 78 at A, at B (Bockelman, Eisenstadt 1995)."""
    end = np.zeros((4, 8))
    for p, (one, other) in enumerate(PAIRS):
        end[p, one - 1], end[p, other - 1] = np.sqrt(0.5), -np.sqrt(0.5)
    return np.kron(np.eye(2), end)


def between_pairs(alien: np.ndarray) -> np.ndarray:
    return pair_waves() @ alien @ pair_waves().T


@pytest.fixture(scope="module")
def two() -> np.ndarray:
    """The disturbed cable of the shipped bundle and one other, ``(n_freq, 32, 32)``."""
    return load_specimen("bundle-7", seed=1).together(GRID, (0, 3))


def test_a_bundle_is_reciprocal_and_passive_and_couples_weakly(two: np.ndarray) -> None:
    np.testing.assert_allclose(two, two.swapaxes(1, 2), atol=1e-14)
    assert np.linalg.svd(two, compute_uv=False).max() <= 1.0 + 1e-4
    assert 1e-6 < np.abs(two[:, :16, 16:]).max() < 10 ** (-50 / 20)


def test_the_disturbed_cable_is_that_cable_alone_and_the_others_are_others(tmp_path: Path) -> None:
    bundle, alone = load_specimen("bundle-7", seed=1), load_specimen("cable-100m", seed=1)
    np.testing.assert_array_equal(bundle.scatter(GRID), alone.scatter(GRID))
    cables = bundle.together(GRID, (0, 1, 2))
    np.testing.assert_array_equal(cables[:, :16, :16], bundle.scatter(GRID))
    assert np.abs(cables[:, 16:32, 16:32] - cables[:, 32:, 32:]).max() > 0.05
    assert not cables[:, 16:32, 32:].any()  # disturbing cables do not disturb each other
    # Their order does not matter.
    np.testing.assert_array_equal(bundle.together(GRID, (2, 0))[:, :16, 16:], cables[:, 32:, :16])


def test_the_same_seed_gives_the_same_and_the_grid_has_no_part_in_it() -> None:
    whole = load_specimen("bundle-7", seed=5).together(GRID, (0, 4))
    few = load_specimen("bundle-7", seed=6).together(GRID[::7], (4, 0))  # the file fixes the seed
    np.testing.assert_allclose(few[:, :16, 16:], whole[::7, 16:, :16], rtol=1e-9, atol=1e-15)


def draw(seed: int, *, length_m: float = 100.0, spread: bool = False) -> tuple[_alien.AlienCoupling, object]:
    cable = _cable_types.load_cable_type("6a")
    alien = cable.alien if spread else cable.alien.model_copy(update={"combination_spread_db": 0.0})
    coupling = _alien.draw_alien(alien, length_m, closer_db=0.0, seed=(seed,))
    return coupling, _profiles.draw_propagation(cable, stranded=False, seed=(seed,))


def test_mean_powers_follow_the_closed_forms_and_slopes() -> None:
    """|ANEXT|² = (ωτ)² S_B (1 - e^(-4αL)) / 4α, |AFEXT|²/IL² = (ωτ)² S_F L (cable model, white coupling)."""
    cable = _cable_types.load_cable_type("6a")
    near, far = np.zeros(GRID.size), np.zeros(GRID.size)
    expected_near, expected_far = np.zeros(GRID.size), np.zeros(GRID.size)
    w, seeds = 2 * np.pi * GRID, 12
    for seed in range(seeds):
        coupling, constants = draw(seed)
        c = between_pairs(coupling.scatter(GRID, constants, constants))
        alpha = constants.line_constants(GRID)[0].real[:, :4]
        tau2 = np.outer(constants.delay_s_per_m[:4], constants.delay_s_per_m[:4])
        both = alpha[:, :, None] + alpha[:, None, :]  # 2α where both are alike
        lost = np.exp(-200.0 * alpha)
        near += np.mean(np.abs(c[:, :4, :4]) ** 2 + np.abs(c[:, 4:, 4:]) ** 2, axis=(1, 2)) / 2
        far += np.mean(np.abs(c[:, 4:, :4]) ** 2 / lost[:, :, None], axis=(1, 2))
        shape = (1 - np.exp(-200.0 * both)) / (2 * both)
        expected_near += w**2 * cable.alien.near_density_m * np.mean(tau2 * shape, axis=(1, 2))
        expected_far += w**2 * cable.alien.far_density_m * np.mean(tau2) * 100.0
    # 16 pair combinations and 12 bundles: the mean is known to about 0.3 dB at each frequency.
    assert np.abs(10 * np.log10(near / expected_near)).max() < 1.2
    assert np.abs(10 * np.log10(far / expected_far)).max() < 1.2
    above = MHZ > 10
    slopes = [np.polyfit(np.log10(MHZ[above]), 10 * np.log10(power[above]), 1)[0] for power in (near, far)]
    assert slopes[0] == pytest.approx(15.0, abs=1.0)
    assert slopes[1] == pytest.approx(20.0, abs=1.0)


def exact(coupling: _alien.AlienCoupling, gamma: list[complex], tau: list[float], f: float) -> np.ndarray:
    """Solve the coupled-wave equations of two pairs cell by cell with the matrix exponential.

    Unknowns a1 a2 b1 b2; returns S with ports 1A 2A 1B 2B.
    """
    chain = np.eye(4, dtype=complex)
    weight = 2j * np.pi * f * np.sqrt(tau[0] * tau[1])
    for kb, kf in zip(coupling.backward[:, 0, 0], coupling.forward[:, 0, 0], strict=True):
        swap = weight * np.array([[0, 1], [1, 0]])
        system = np.block(
            [[-np.diag(gamma) - swap * kf, swap * kb], [-swap * kb, np.diag(gamma) + swap * kf]]
        )
        chain = expm(system * coupling.cell_m) @ chain
    # (a, b) at B = chain (a, b) at A, waves into B are b there.
    m11, m12, m21, m22 = chain[:2, :2], chain[:2, 2:], chain[2:, :2], chain[2:, 2:]
    back = np.linalg.inv(m22)
    return np.block([[-back @ m21, back], [m11 - m12 @ back @ m21, m12 @ back]])


def test_two_pairs_agree_with_the_exact_solution_to_second_order() -> None:
    """Sign, phase and level against the matrix exponential of the coupled-wave equations."""
    coupling, constants = draw(2, length_m=10.0)
    f = 40e6  # the cell is short against the wavelength: the integral in a cell is a product
    gamma = constants.line_constants(np.array([f]))[0][0]
    tau = list(constants.delay_s_per_m[[0, 0]])
    ours = between_pairs(coupling.scatter(np.array([f]), constants, constants))[0]
    for scale in (1.0, 10.0):
        scaled = _alien.AlienCoupling(coupling.cell_m, coupling.backward * scale, coupling.forward * scale)
        s = exact(scaled, [gamma[0], gamma[0]], tau, f)
        found = np.array([[s[0, 1], s[0, 3]], [s[2, 1], s[2, 3]]])
        wanted = scale * np.array([[ours[0, 0], ours[0, 4]], [ours[4, 0], ours[4, 4]]])
        # Phase within a cell: (2βd)²/24 = 0.02 %; what coupling does to itself: its third power.
        np.testing.assert_allclose(found, wanted, rtol=2e-3, atol=1e-12)


def test_without_loss_no_energy_is_made_to_first_order() -> None:
    """S†S of two lossless lines: the off-diagonal block S₀†C + C*S₁ vanishes (conservation of energy)."""
    coupling, constants = draw(7, length_m=10.0)
    omega_tau = 2 * np.pi * GRID[:, None] * constants.delay_s_per_m[:4]

    class Lossless:
        delay_s_per_m = constants.delay_s_per_m

        def line_constants(self, frequency_hz: np.ndarray) -> tuple[np.ndarray, None]:
            return 1j * 2 * np.pi * frequency_hz[:, None] * self.delay_s_per_m, None

    c = between_pairs(coupling.scatter(GRID, Lossless(), Lossless()))  # type: ignore[arg-type]
    line = np.zeros_like(c)
    through = np.exp(-1j * omega_tau * 10.0)
    for p in range(4):
        line[:, p, 4 + p] = line[:, 4 + p, p] = through[:, p]
    made = line.conj().swapaxes(1, 2) @ c + c.conj() @ line
    assert np.abs(made).max() < 1e-12 < np.abs(c).max()


@pytest.mark.parametrize(("name", "passes"), [("bundle-7", True), ("bundle-7-poor-separation", False)])
def test_the_shipped_bundles_are_what_they_say(name: str, *, passes: bool) -> None:
    # Category 6A channel of ANSI/TIA-568-C.2, from memory: PS ANEXT 80 - 10 lg f, from 100 MHz on
    # 90 - 15 lg f; PS AACR-F 77 - 20 lg f; 67 dB at most; means of the pairs 2.25 and 4 dB more.
    grid = np.geomspace(1e6, 500e6, 60)
    m = grid / 1e6
    near_limit = np.minimum(67, np.where(m < 100, 80 - 10 * np.log10(m), 90 - 15 * np.log10(m)))
    far_limit = np.minimum(67, 77 - 20 * np.log10(m))
    bundle = load_specimen(name, seed=1)
    own = pair_waves() @ bundle.scatter(grid) @ pair_waves().T
    loss = -20 * np.log10(np.abs(np.stack([own[:, 4 + p, p] for p in range(4)], axis=1)))
    near, far = np.zeros((2, 60, 4)), np.zeros((2, 60, 4))
    for cable in range(1, bundle.disturbing + 1):
        c = np.abs(between_pairs(bundle.together(grid, (0, cable))[:, :16, 16:])) ** 2
        near += np.sum(np.stack([c[:, :4, :4], c[:, 4:, 4:]]), axis=3)
        far += np.sum(np.stack([c[:, :4, 4:], c[:, 4:, :4]]), axis=3)
    ps_anext, ps_aacr_f = -10 * np.log10(near), -10 * np.log10(far) - loss
    margins = [
        np.min(ps_anext - near_limit[:, None]),
        np.min(ps_aacr_f - far_limit[:, None]),
        np.min(ps_anext.mean(axis=2) - near_limit - np.where(near_limit < 67, 2.25, 0)),
        np.min(ps_aacr_f.mean(axis=2) - far_limit - np.where(far_limit < 67, 4.0, 0)),
    ]
    if passes:
        assert all(1.5 < margin < 8.0 for margin in margins), margins
    else:
        assert all(margin < -1.0 for margin in margins), margins


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('kind = "bundle"', "disturbing: say how many"),
        ('kind = "cable"\ndisturbing = 2', "a cable is alone"),
        ('kind = "cable"\nseparation_db = 3.0', "a cable is alone"),
        ('kind = "bundle"\ndisturbing = 0', "disturbing"),
        (
            'kind = "bundle"\ndisturbing = 2\n[[neighbour]]\ncable = 3\ncloser_db = 1.0',
            "there are 2 disturbing cables",
        ),
        (
            'kind = "bundle"\ndisturbing = 2\n' + "[[neighbour]]\ncable = 1\ncloser_db = 1.0\n" * 2,
            "the same cable is named twice",
        ),
    ],
)
def test_a_bundle_that_cannot_be_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "specimen.toml"
    path.write_text(f'schema = 1\nname = "b"\ncategory = "6a"\nlength_m = 10.0\n{text}\n', encoding="utf-8")
    with pytest.raises(DefinitionError, match=said):
        load_specimen(str(path), seed=1)


def test_cables_that_are_not_there_are_refused() -> None:
    with pytest.raises(UsageError, match="it has 6 beside it"):
        load_specimen("bundle-7", seed=1).together(GRID, (0, 7))
    with pytest.raises(UsageError, match="it has 0 beside it"):
        load_specimen("cord-2m", seed=1).together(GRID, (0,))


def bench(specimen: str = "bundle-7") -> Bench:
    device = load_specimen(specimen, seed=3)
    return Bench(load_bench("default"), ports=4, seed=3, noiseless=True, device=device)


def sweep(of: Bench, text: str) -> np.ndarray:
    of.connect(text)
    return of.measure(of.prepare(GRID, dict.fromkeys(range(1, 5), -5.0), 1e3, 1, 1.0))


def test_legs_of_other_cables_can_be_attached_and_all_else_is_terminated(two: np.ndarray) -> None:
    """The raw readings differ from one cable to the next, and only where the other cable is attached."""
    one = bench()
    with_3 = sweep(one, "1=A:12.1,2=A:12.2,3=3.A:36.3,4=3.A:36.6")
    with_4 = sweep(one, "1=A:12.1,2=A:12.2,3=4.A:36.3,4=4.A:36.6")
    # What is neglected among cables (second order), seen through error boxes that are the same.
    np.testing.assert_allclose(with_3[:, :2, :2], with_4[:, :2, :2], atol=1e-6)
    assert np.abs(with_3[:, 2:, 2:] - with_4[:, 2:, 2:]).max() > 1e-2
    # The order of ports does not matter to what a cable is.
    assert one.connections == "1=A:12.1,2=A:12.2,3=4.A:36.3,4=4.A:36.6"


@pytest.mark.parametrize("specimen", ["bundle-7", "cord-2m"])
def test_a_cable_that_is_not_there_is_an_end_in_the_air(specimen: str) -> None:
    one = bench(specimen)
    absent = sweep(one, "1=A:12.1,2=A:12.2,3=9.A:36.3,4=9.A:36.6")
    # Nothing attached at all reads the same as a cable that is not there.
    np.testing.assert_allclose(absent, sweep(one, "1=A:12.1,2=A:12.2"), atol=1e-15)
    # Nor does it fail where nothing but it is attached.
    np.testing.assert_allclose(sweep(one, "3=9.A:36.3"), sweep(one, ""), atol=1e-15)


def test_the_matrix_of_the_bench_is_that_of_the_cables_on_their_terminations(two: np.ndarray) -> None:
    """Against the 32-port of the specimen closed by hand: 51 ohm with 0.2 pF at every leg that is left."""
    from benchsweep.simulator.bench._attachments import matrix_seen
    from benchsweep.simulator.bench._pieces import Pieces

    text = "1=A:12.1,2=A:12.2,3=3.B:36.3,4=3.B:36.6"
    pieces = Pieces(load_bench("default"))
    conductors = tuple(f"{of}{end}{n}" for of in ("", "3.") for end in "AB" for n in range(1, 9))
    found = matrix_seen(GRID, parse_connections(text, 4), 4, pieces, conductors=conductors, scattering=two)
    kept = [conductors.index(name) for name in ("A1", "A2", "3.B3", "3.B6")]
    rest = [at for at in range(32) if at not in kept]
    y = 50.0 * (1 / 51.0 + 2j * np.pi * GRID * 0.2e-12)
    gamma = ((1 - y) / (1 + y))[:, None, None] * np.eye(len(rest))
    aa, ab = two[:, kept][:, :, kept], two[:, kept][:, :, rest]
    ba, bb = two[:, rest][:, :, kept], two[:, rest][:, :, rest]
    wanted = aa + ab @ gamma @ np.linalg.inv(np.eye(len(rest)) - bb @ gamma) @ ba
    np.testing.assert_allclose(found, wanted, atol=1e-13)


@pytest.mark.parametrize(
    "text",
    ["1=0.A:12.1", "1=3.C:12.1", "1=3.A:13.1", "1=.A:12.1", "1=1000.A:12.1", "1=3.A:12.3", "1=3A:12.1"],
)
def test_words_that_name_no_leg_are_refused(text: str) -> None:
    with pytest.raises(ImpossibleConnection):
        parse_connections(text, 4)


def test_terminations_of_other_cables_deviate_on_their_own() -> None:
    one = Bench(
        load_bench("default"), ports=4, seed=3, noiseless=False, device=load_specimen("bundle-7", seed=3)
    )
    loads = one._pieces.loads
    found = loads.reflection(["A1", "3.A1", "4.A1"], {}, 2 * np.pi * GRID)
    assert np.abs(np.diff(found, axis=1)).min() > 1e-6
    # A cable alone keeps its own in a bundle.
    np.testing.assert_array_equal(found[:, :1], loads.reflection(["A1"], {}, 2 * np.pi * GRID))


def test_a_wrong_cable_is_taken_once() -> None:
    one = bench()
    text = "1=A:12.1,2=A:12.2,3=6.A:36.3,4=6.A:36.6"
    right = sweep(one, text)
    first = sweep(one, text.replace("6.A", "1.A"))
    assert "wrong-cable" in one.possible_mishaps
    one.connect(text)
    one.mishap("wrong-cable")  # the first after the last
    taken = one.measure(one.prepare(GRID, dict.fromkeys(range(1, 5), -5.0), 1e3, 1, 1.0))
    np.testing.assert_array_equal(taken, first)
    assert one.connections == text
    np.testing.assert_array_equal(sweep(one, text), right)
    one.connect("1=A:12.1,2=A:12.2")
    assert "wrong-cable" not in one.possible_mishaps
