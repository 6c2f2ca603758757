"""The cable model: exact lines, conservation laws, statistics of crosstalk, and what 100 m of it come to."""

from __future__ import annotations

import itertools
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.media import DistributedCircuit

from benchsweep.simulator.specimen import _cable_types, _profiles, _sections, load_specimen

PAIRS = ((1, 2), (3, 6), (4, 5), (7, 8))
COMBINATIONS = tuple(itertools.combinations(range(4), 2))


def mixed_modes() -> np.ndarray:
    """Conductors at A, at B -> d12 d36 d45 d78 c12 c36 c45 c78 at A, at B (Bockelman, Eisenstadt 1995)."""
    end = np.zeros((8, 8))
    for p, (one, other) in enumerate(PAIRS):
        end[p, one - 1], end[p, other - 1] = np.sqrt(0.5), -np.sqrt(0.5)
        end[4 + p, one - 1] = end[4 + p, other - 1] = np.sqrt(0.5)
    return np.kron(np.eye(2), end)


def mixed(s: np.ndarray) -> np.ndarray:
    return mixed_modes() @ s @ mixed_modes().T


def loss_db(values: np.ndarray) -> np.ndarray:
    return -20.0 * np.log10(np.abs(values))


def power_mean_db(values: list[np.ndarray]) -> float:
    return float(-10.0 * np.log10(np.mean(np.abs(np.asarray(values)) ** 2)))


def write(folder: Path, text: str) -> str:
    path = folder / "specimen.toml"
    path.write_text(f'schema = 1\nname = "test piece"\n{text}', encoding="utf-8")
    return str(path)


@cache
def reel(seed: int, points: tuple[float, float, int], length_m: float = 100.0) -> np.ndarray:
    """The mixed-mode matrix of a solid category 6A cable."""
    cable = _cable_types.load_cable_type("6a")
    profile = _profiles.draw_profile(cable, length_m, stranded=False, quality_db=0.0, seed=(seed,))
    propagation = _profiles.draw_propagation(cable, stranded=False, seed=(seed,))
    bounds = _sections.section_bounds(len(profile.backward), profile.cell_m)
    run = _sections.Cable(propagation, profile, bounds)
    return mixed(run.network(np.linspace(*points)).matrix())


def test_uniform_lossy_cable_equals_scikit_rf_distributed_circuit() -> None:
    # R, L, G, C of the telegrapher's equations (Pozar, Microwave Engineering, ch. 2), from the cable's
    # constants: conductor impedance growing like √(jω) above its corner, insulation with a constant loss
    # angle.
    f = np.geomspace(0.3e6, 600e6, 60)
    cable = _cable_types.load_cable_type("6a")
    constants = _profiles.draw_propagation(cable, stranded=False, seed=(3,))
    nothing = np.zeros((2000, 8, 8))
    profile = _profiles.Profile(0.05, nothing, nothing)
    run = _sections.Cable(constants, profile, _sections.section_bounds(2000, 0.05))
    s = run.network(f).matrix()
    ours = mixed(s)
    w = 2 * np.pi * f
    for p in range(4):
        z0, tau = constants.impedance_ohm[p], constants.delay_s_per_m[p]
        r1 = 2 * z0 * 1.66 / 868.5889638  # neper/m at 1 MHz are dB/100 m / 868.6
        skin = 0.070 * np.sqrt(1 + 1j * w / (np.pi * 1e6 / (r1 / 0.070) ** 2))
        epsilon = (1j * w / (2e8 * np.pi)) ** (-2 * np.arctan(6.5e-4) / np.pi)
        shunt = 1j * w * tau / z0 * epsilon
        line = DistributedCircuit(
            frequency=skrf.Frequency.from_f(f, unit="Hz"),
            z0_port=50.0,
            R=skin.real,
            L=z0 * tau + skin.imag / w,
            G=shunt.real,
            C=shunt.imag / w,
        ).line(100.0, "m")
        two = ours[:, [[p, p], [8 + p, 8 + p]], [[p, 8 + p], [p, 8 + p]]]
        assert np.max(np.abs(two - line.s)) < 1e-11
    off = ours.copy()
    off[:, range(4), range(4)] = 0
    assert np.max(np.abs(off[:, :4, :8])) < 1e-12  # nothing couples, nothing unbalances


def test_mixed_modes_of_the_model_are_those_of_scikit_rf() -> None:
    # Port order of scikit-rf's conversion: (1, 2), (3, 4) … are pairs; differential 100 ohm, common 25 ohm.
    f = np.linspace(1e6, 500e6, 11)
    s = load_specimen("cord-2m", seed=1).scatter(f)
    order = [end * 8 + contact - 1 for end in (0, 1) for pair in PAIRS for contact in pair]
    network = skrf.Network(
        frequency=skrf.Frequency.from_f(f, unit="Hz"), s=s[:, order][:, :, order].copy(), z0=50
    )
    network.se2gmm(p=8)
    ours = mixed(s)[:, [0, 1, 2, 3, 8, 9, 10, 11]][:, :, [0, 1, 2, 3, 8, 9, 10, 11]]
    assert np.max(np.abs(network.s[:, :8, :8] - ours)) < 1e-12


SPECIMENS = (
    "cord-2m",
    "cord-2m-split",
    "cord-2m-open",
    "cord-2m-short",
    "cable-100m",
    "channel-100m",
    "link-90m",
)


@pytest.mark.parametrize("name", SPECIMENS)
def test_passive_and_reciprocal(name: str) -> None:
    # A passive network has no singular value above 1, a reciprocal one a symmetric matrix (Pozar, sec. 4.3).
    s = load_specimen(name, seed=1).scatter(np.geomspace(0.1e6, 600e6, 90))
    assert np.max(np.linalg.svd(s, compute_uv=False)) <= 1 + 1e-9
    assert np.max(np.abs(s - s.swapaxes(1, 2))) < 1e-12


@pytest.mark.parametrize("name", ["cord-2m", "channel-100m"])
def test_a_point_does_not_depend_on_its_grid(name: str) -> None:
    specimen = load_specimen(name, seed=1)
    whole = specimen.scatter(np.linspace(1e6, 500e6, 500))
    some = specimen.scatter(np.array([300e6, 1e6, 42e6]))
    assert np.max(np.abs(some - whole[[299, 0, 41]])) < 1e-12


def test_seeds(tmp_path: Path) -> None:
    f = np.array([100e6])
    free = write(tmp_path, 'kind = "cord"\ncategory = "6a"\nlength_m = 2.0\n')
    one, again, other = (load_specimen(free, seed=seed).scatter(f) for seed in (1, 1, 2))
    assert np.array_equal(one, again)
    assert np.max(np.abs(one - other)) > 1e-3
    # A seed in the file wins over the caller's.
    fixed = [load_specimen("cord-2m", seed=seed).scatter(f) for seed in (1, 2)]
    assert np.array_equal(*fixed)


def test_results_are_kept_and_cannot_be_written_to() -> None:
    f = np.linspace(1e6, 500e6, 50)
    first = load_specimen("cord-2m", seed=1).scatter(f)
    assert load_specimen("cord-2m", seed=1).scatter(f.copy()) is first
    with pytest.raises(ValueError, match="read-only"):
        first[0, 0, 0] = 0.0


@pytest.mark.parametrize("length_m", [20.0, 100.0])
def test_crosstalk_statistics_follow_the_closed_forms(length_m: float) -> None:
    # White coupling of two-sided spectral density S along a line of attenuation α and delay τ per metre:
    #   mean |NEXT|² = (ωτ)² S (1 - e^{-4αL}) / (4α),   mean |FEXT|² / |IL|² = (ωτ)² S L
    # (the f^1.5 and f^2 laws of H. Cravis and T. V. Crater, Bell System Technical Journal 42, 1963).
    # The strength of the combinations is log-normal with 1.5 dB: mean exp((1.5 ln 10 / 10)² / 2) = 1.061.
    spread = np.exp((1.5 * np.log(10) / 10) ** 2 / 2)
    for centre in (40e6, 120e6, 240e6):
        grid = (0.9 * centre, 1.1 * centre, 9)
        reels = [reel(seed, grid, length_m) for seed in range(30)]
        w_tau = 2 * np.pi * np.linspace(*grid) * 5.02e-9
        il = np.mean([loss_db(t[:, 8 + p, p]) for t in reels for p in range(4)], axis=0)
        alpha = il / 8.686 / length_m
        near = np.mean(w_tau**2 * 2.4e-8 * (1 - np.exp(-4 * alpha * length_m)) / (4 * alpha)) * spread
        far = np.mean(w_tau**2 * 1.2e-7 * length_m) * spread
        got_near = power_mean_db([t[:, e + p, e + q] for t in reels for e in (0, 8) for p, q in COMBINATIONS])
        got_far = power_mean_db(
            [t[:, 8 + q, p] / np.abs(t[:, 8 + q, q]) for t in reels for p, q in COMBINATIONS]
        )
        assert got_near == pytest.approx(-10 * np.log10(near), abs=0.7)
        assert got_far == pytest.approx(-10 * np.log10(far), abs=1.0)


def test_return_loss_follows_the_roughness_spectrum() -> None:
    # mean |RL|² = (ωτ)² S(2β)/(4α) with S(k) = S0/(1 + (k l)²) + white, plus the mismatch of the mean
    # impedance (1 ohm of 100: mean |Γ|² = 2.5e-5, twice where both ends are seen). Structural peaks lie
    # above 150 MHz.
    for centre in (30e6, 100e6):
        grid = (0.9 * centre, 1.1 * centre, 9)
        reels = [reel(seed, grid) for seed in range(30)]
        f = np.linspace(*grid)
        w_tau = 2 * np.pi * f * 5.02e-9
        alpha = np.mean([loss_db(t[:, 8 + p, p]) for t in reels for p in range(4)], axis=0) / 868.6
        density = 1.0e-5 / (1 + (2 * w_tau * 0.16) ** 2) + 6e-7
        expected = np.mean(w_tau**2 * density / (4 * alpha)) + 2.5e-5
        got = power_mean_db([t[:, e + p, e + p] for t in reels for e in (0, 8) for p in range(4)])
        assert got == pytest.approx(-10 * np.log10(expected), abs=1.2)


def test_quality_moves_crosstalk_by_its_decibels(tmp_path: Path) -> None:
    # Coupling is weak, so NEXT scales with the square root of the densities.
    f = np.linspace(50e6, 150e6, 20)
    text = 'kind = "cable"\ncategory = "6a"\nlength_m = 60.0\n'
    good = mixed(load_specimen(write(tmp_path, text + "quality_db = 6.0\n"), seed=4).scatter(f))
    plain = mixed(load_specimen(write(tmp_path, text), seed=4).scatter(f))
    ratio = power_mean_db([good[:, p, q] for p, q in COMBINATIONS])
    ratio -= power_mean_db([plain[:, p, q] for p, q in COMBINATIONS])
    assert ratio == pytest.approx(6.0, abs=0.2)


@pytest.mark.parametrize(
    ("category", "top_hz", "insertion_loss", "next_100"),
    [
        ("6a", 500e6, (1.82, 0.0091, 0.25), 44.3),
        ("6", 250e6, (1.808, 0.017, 0.2), 44.3),
        ("5e", 100e6, (1.967, 0.023, 0.05), 35.3),
    ],
)
def test_a_hundred_metres_lie_just_inside_the_cable_limits(
    tmp_path: Path, category: str, top_hz: float, insertion_loss: tuple[float, float, float], next_100: float
) -> None:
    # Horizontal cable of ANSI/TIA-568-C.2: IL k1 √f + k2 f + k3/√f; NEXT 35.3 or 44.3 - 15 log(f/100); delay
    # 534 + 36/√f ns, skew 45 ns per 100 m. Delay and IL constants agree with published reel data; from
    # memory.
    f = np.linspace(1e6, top_hz, 120)
    m = f / 1e6
    path = write(tmp_path, f'kind = "cable"\ncategory = "{category}"\nlength_m = 100.0\n')
    k1, k2, k3 = insertion_loss
    limit = k1 * np.sqrt(m) + k2 * m + k3 / np.sqrt(m)
    margins = []
    for seed in range(5):
        t = mixed(load_specimen(path, seed=seed).scatter(f))
        loss = np.array([loss_db(t[:, 8 + p, p]) for p in range(4)])
        assert 0.0 < np.min(limit - loss) < 1.0
        near = np.array([loss_db(t[:, e + p, e + q]) for e in (0, 8) for p, q in COMBINATIONS])
        margins.append(np.min(near - (next_100 - 15 * np.log10(m / 100))))
    # The worst of 12 combinations at the worst of all frequencies: most reels pass, by little.
    assert 0.0 < np.median(margins) < 4.0
    turned = np.array(
        [np.unwrap(np.angle(t[:, 8 + p, p] * np.exp(2j * np.pi * f * 510e-9))) for p in range(4)]
    )
    delay_ns = 510.0 - 1e9 * turned / (2 * np.pi * f)
    assert np.max(delay_ns - (534 + 36 / np.sqrt(m))) < 0.0
    # Skew by lay: the helix is longer by √(1 + (π 1.12 mm/lay)²), 9.6 mm against 18.6 mm: 4.7 % of 483 ns.
    assert delay_ns[:, -1].max() - delay_ns[:, -1].min() == pytest.approx(22.7, abs=2.5)


def test_power_mean_slopes_are_fifteen_and_twenty_decibels_a_decade() -> None:
    # NEXT f^1.5 and equal-level FEXT f^2 in power (Cravis and Crater, 1963).
    grid = (10e6, 500e6, 100)
    log_f = np.log10(np.linspace(*grid))
    reels = [reel(seed, grid) for seed in range(9)]
    near = np.mean([np.abs(t[:, p, q]) ** 2 for t in reels for p, q in COMBINATIONS], axis=0)
    far = np.mean(
        [np.abs(t[:, 8 + q, p] / t[:, 8 + q, q]) ** 2 for t in reels for p, q in COMBINATIONS], axis=0
    )
    assert np.polyfit(log_f, 10 * np.log10(near), 1)[0] == pytest.approx(15.0, abs=1.5)
    assert np.polyfit(log_f, 10 * np.log10(far), 1)[0] == pytest.approx(20.0, abs=2.5)


def test_nothing_arrives_before_the_signal_can() -> None:
    # 20 m on a harmonic grid, Hann window: before 95 % of 20 m at 4.9 ns/m there is next to no energy.
    step = 0.5e6
    f = np.arange(1, 2049) * step
    t = reel(2, (step, 2048 * step, 2048), 20.0)
    window = np.hanning(2 * len(f) + 1)[len(f) + 1 :]
    at_zero = np.abs(t[0, 8, 0])  # nothing turns at zero frequency, and little is lost
    pulse = np.fft.irfft(np.concatenate([[at_zero], t[:, 8, 0] * window]))
    time = np.arange(len(pulse)) / (len(pulse) * step)
    early = np.sum(pulse[time < 0.95 * 20 * 4.9e-9] ** 2)
    assert 10 * np.log10(early / np.sum(pulse**2)) < -55.0


def test_short_sections_and_long_ones_are_nearly_the_same_cable() -> None:
    # The coupling of a section is of first order; sections five times shorter give the same insertion loss.
    f = np.linspace(1e6, 500e6, 40)
    cable = _cable_types.load_cable_type("6a")
    profile = _profiles.draw_profile(cable, 100.0, stranded=False, quality_db=0.0, seed=(8,))
    constants = _profiles.draw_propagation(cable, stranded=False, seed=(8,))
    coarse = _sections.Cable(constants, profile, tuple(range(0, 2001, 125))).network(f).matrix()
    fine = _sections.Cable(constants, profile, tuple(range(0, 2001, 25))).network(f).matrix()
    difference = loss_db(mixed(coarse)[:, range(8, 12), range(4)]) - loss_db(
        mixed(fine)[:, range(8, 12), range(4)]
    )
    assert np.max(np.abs(difference)) < 0.1
