"""Raw readings of the simulated analyzer against plain linear algebra and scikit-rf's calibrations."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray

from benchsweep.simulator.bench import Bench, SweepRequest, load_bench
from benchsweep.simulator.bench._attachments import matrix_seen
from benchsweep.simulator.bench._error_terms import (
    ErrorBoxes,
    draw_error_boxes,
    raw_matrix,
    with_series_contacts,
)
from benchsweep.simulator.bench._pieces import Pieces

GRID = np.linspace(1e6, 500e6, 7)
DEFINITION = load_bench("default")
CONDUCTORS = tuple(f"{end}{contact}" for end in "AB" for contact in range(1, 9))


def random_matrix(n: int, points: int = GRID.size, seed: int = 0) -> NDArray[np.complex128]:
    """A passive, reciprocal random matrix."""
    rng = np.random.default_rng(seed)
    s = rng.standard_normal((points, n, n)) + 1j * rng.standard_normal((points, n, n))
    s = s + s.transpose(0, 2, 1)
    return np.asarray(0.95 * s / np.linalg.norm(s, 2, axis=(1, 2), keepdims=True))


class RandomDevice:
    """A specimen with a fixed random matrix."""

    name = "random"
    grid = None
    disturbing = 0

    def __init__(self, conductors: tuple[str, ...] = CONDUCTORS) -> None:
        self.conductors = conductors

    def scatter(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        return random_matrix(len(self.conductors), frequency_hz.size, seed=5)


def make_bench(ports: int = 4, **options: object) -> Bench:
    settings: dict[str, object] = {"seed": 3, "noiseless": True, "device": RandomDevice(), **options}
    return Bench(DEFINITION, ports=ports, **settings)  # type: ignore[arg-type]


def sweep(
    bench: Bench, grid: NDArray[np.float64] = GRID, *, b: float = 1e3, readings: int = 1, p: float = -5.0
):
    power = dict.fromkeys(range(1, bench.ports + 1), p)
    return bench.measure(bench.prepare(grid, power, b, readings, 1.0))


def brute_force(s: NDArray[np.complex128], boxes: ErrorBoxes, f: int, source: int) -> NDArray[np.complex128]:
    """All waves of one frequency from one dense system; unknowns (raw out, raw in, device in, device out).

    Each error box: ``out = e00 in + rho back``, ``to device = alpha in + e11 back``; behind every port that
    is not driven sits its switch termination, and the driven port's incident wave is one.
    """
    n = s.shape[1]
    a = np.zeros((4 * n, 4 * n), dtype=complex)
    y = np.zeros(4 * n, dtype=complex)
    for k in range(n):
        out, into, to, back = k, n + k, 2 * n + k, 3 * n + k
        a[out, out], a[out, into], a[out, back] = 1, -boxes.directivity[f, k], -boxes.receiver_path[f, k]
        a[to, to], a[to, into], a[to, back] = 1, -boxes.source_path[f, k], -boxes.source_match[f, k]
        a[back, back] = 1
        a[back, 2 * n : 3 * n] -= s[f, k]
        a[into, into] = 1
        if k == source:
            y[into] = 1
        else:
            a[into, out] = -boxes.switch[f, k]
    return np.asarray(np.linalg.solve(a, y)[:n])


@pytest.mark.parametrize("n", [2, 4, 8])
def test_the_raw_formula_is_the_solution_of_all_waves(n: int) -> None:
    boxes = draw_error_boxes(DEFINITION.error_terms, n, 7, GRID)
    s = random_matrix(n)
    raw = raw_matrix(s, boxes, np.arange(n))
    for f in range(GRID.size):
        for source in range(n):
            np.testing.assert_allclose(raw[f, :, source], brute_force(s, boxes, f, source), atol=1e-13)


def test_only_the_driven_columns_are_computed_and_leakage_adds() -> None:
    spread = DEFINITION.error_terms.model_copy(update={"leakage_db": -80.0})
    boxes, without = (draw_error_boxes(sp, 4, 7, GRID) for sp in (spread, DEFINITION.error_terms))
    s = random_matrix(4)
    some = raw_matrix(s, boxes, np.array([1, 3]))
    assert some.shape == (GRID.size, 4, 2)
    leak = some - raw_matrix(s, without, np.arange(4))[:, :, [1, 3]]
    off_diagonal = ~np.eye(4, dtype=bool)[:, [1, 3]]
    np.testing.assert_allclose(np.abs(leak[:, off_diagonal]), 1e-4, rtol=1e-6)
    np.testing.assert_allclose(leak[:, ~off_diagonal], 0.0, atol=1e-15)


def test_a_series_contact_is_a_cascade_of_two_ports() -> None:
    boxes = draw_error_boxes(DEFINITION.error_terms, 2, 7, GRID)
    z = np.stack([np.full(GRID.size, 3.0 + 0j), 2j * np.pi * GRID * 1e-9], axis=1)
    joined = with_series_contacts(boxes, z, 50.0)
    for k in range(2):
        box = np.empty((GRID.size, 2, 2), dtype=complex)
        box[:, 0, 0], box[:, 0, 1] = boxes.directivity[:, k], boxes.receiver_path[:, k]
        box[:, 1, 0], box[:, 1, 1] = boxes.source_path[:, k], boxes.source_match[:, k]
        frequency = skrf.Frequency.from_f(GRID, unit="Hz")
        series = skrf.media.DefinedGammaZ0(frequency, z0=50).resistor(1.0)
        series.z0 = 50.0
        delta = z[:, k] / (100.0 + z[:, k])
        series.s = np.stack([[delta, 1 - delta], [1 - delta, delta]]).transpose(2, 0, 1)
        both = (skrf.Network(frequency=frequency, s=box, z0=50.0) ** series).s
        np.testing.assert_allclose(joined.directivity[:, k], both[:, 0, 0], atol=1e-14)
        np.testing.assert_allclose(joined.receiver_path[:, k], both[:, 0, 1], atol=1e-14)
        np.testing.assert_allclose(joined.source_path[:, k], both[:, 1, 0], atol=1e-14)
        np.testing.assert_allclose(joined.source_match[:, k], both[:, 1, 1], atol=1e-14)


def test_error_terms_do_not_depend_on_the_grid_and_have_the_stated_size() -> None:
    fine = np.linspace(1e6, 500e6, 500)
    boxes = draw_error_boxes(DEFINITION.error_terms, 16, 1, fine)
    coarse = draw_error_boxes(DEFINITION.error_terms, 16, 1, fine[::50])
    np.testing.assert_allclose(boxes.source_match[::50], coarse.source_match, rtol=1e-12)

    def level_db(x: NDArray[np.complex128]) -> float:
        return float(10 * np.log10(np.mean(np.abs(x) ** 2)))

    assert level_db(boxes.directivity) == pytest.approx(-30, abs=2.5)
    assert level_db(boxes.source_match) == pytest.approx(-28, abs=2.5)
    assert -34 < level_db(boxes.switch) < -24
    # 0.3 dB + 0.9 dB at 500 MHz, give or take the ripple.
    assert -20 * np.log10(np.abs(boxes.source_path[-1])) == pytest.approx(1.2, abs=0.15)
    phase = np.unwrap(np.angle(boxes.source_path), axis=0)
    delay_s = -(phase[-1] - phase[0]) / (2 * np.pi * (fine[-1] - fine[0]))
    assert delay_s == pytest.approx(5e-9, rel=0.05)


def standards(bench: Bench, connections: str) -> NDArray[np.complex128]:
    bench.connect(connections)
    return sweep(bench)


def test_scikit_rf_multiport_calibration_undoes_the_raw_data() -> None:
    """Reference: skrf.calibration.MultiportCal of three SOLT pairs with one common port; 1e-9 asked."""
    bench = make_bench(4)
    frequency = skrf.Frequency.from_f(GRID, unit="Hz")
    omega = 2 * np.pi * GRID
    y = 1j * omega * DEFINITION.standards.open_capacitance_f
    z_short = 1j * omega * DEFINITION.standards.short_inductance_h
    z_load = DEFINITION.standards.load_resistance_ohm + 1j * omega * DEFINITION.standards.load_inductance_h
    reflections = {
        "open": (1 / 50 - y) / (1 / 50 + y),
        "short": (z_short - 50) / (z_short + 50),
        "load": (z_load - 50) / (z_load + 50),
    }
    all_ports = {
        name: standards(bench, ",".join(f"{port}={name}" for port in range(1, 5))) for name in reflections
    }

    def two_port(s: NDArray[np.complex128]) -> skrf.Network:
        return skrf.Network(frequency=frequency, s=s, z0=50.0)

    pairs = {}
    for other in (1, 2, 3):
        index = np.array([0, other])
        measured = [two_port(raw[:, index[:, None], index]) for raw in all_ports.values()]
        ideals = []
        for gamma in reflections.values():
            s = np.zeros((GRID.size, 2, 2), dtype=complex)
            s[:, 0, 0] = s[:, 1, 1] = gamma
            ideals.append(two_port(s))
        thru = standards(bench, f"1=thru {other + 1},{other + 1}=thru 1")
        measured.append(two_port(thru[:, index[:, None], index]))
        s = np.zeros((GRID.size, 2, 2), dtype=complex)
        s[:, 0, 1] = s[:, 1, 0] = np.exp(-1j * omega * DEFINITION.standards.thru_delay_s)
        ideals.append(two_port(s))
        pairs[(0, other)] = {
            "method": skrf.calibration.SOLT,
            "measured": measured,
            "ideals": ideals,
            "n_thrus": 1,
        }
    calibration = skrf.calibration.MultiportCal(pairs)
    calibration.run()
    bench.connect("1=A:12.1,2=A:36.6,3=B:12.2,4=B:78.8")
    corrected = calibration.apply_cal(skrf.Network(frequency=frequency, s=sweep(bench), z0=50.0)).s
    request = bench.prepare(GRID, {1: 0.0}, 1e3, 1, 0.0)
    truth = seen_by(request, bench)
    assert np.abs(corrected - truth).max() < 1e-9
    assert np.abs(sweep(bench) - truth).max() > 0.1


# -- what the ports see ------------------------------------------------------------------------------------


def seen(bench: Bench) -> NDArray[np.complex128]:
    request = bench.prepare(GRID, {1: 0.0}, 1e3, 1, 0.0)
    return seen_by(request, bench)


def seen_by(request: SweepRequest, bench: Bench) -> NDArray[np.complex128]:
    return matrix_seen(
        request.frequency_hz,
        request.connections,
        bench.ports,
        Pieces(DEFINITION),
        conductors=bench.device.conductors,
        scattering=bench.device.scatter(GRID),
    )


def test_unused_legs_end_in_51_ohm_beside_0_2_pf() -> None:
    """Against nodal analysis: admittance matrix plus the terminations, unused nodes eliminated."""
    bench = make_bench(4)
    bench.connect("1=B:45.5,2=A:12.1,3=short")
    full = bench.device.scatter(GRID)
    used = [CONDUCTORS.index("B5"), CONDUCTORS.index("A1")]
    rest = [i for i in range(16) if i not in used]
    eye = np.eye(16)
    y = (eye - full) @ np.linalg.inv(eye + full) / 50.0
    ends = 1 / 51.0 + 2j * np.pi * GRID * 0.2e-12
    y_rest = y[:, rest][:, :, rest] + ends[:, None, None] * np.eye(14)
    y_used = y[:, used][:, :, used] - y[:, used][:, :, rest] @ np.linalg.solve(y_rest, y[:, rest][:, :, used])
    expected = (np.eye(2) - 50 * y_used) @ np.linalg.inv(np.eye(2) + 50 * y_used)
    found = seen(bench)
    np.testing.assert_allclose(found[:, :2, :2], expected, atol=1e-12)
    np.testing.assert_allclose(found[:, :2, 2:], 0)
    np.testing.assert_allclose(found[:, 3, 3], 1.0)  # nothing attached: open, no fringe
    inductance = 2j * np.pi * GRID * 50e-12
    np.testing.assert_allclose(found[:, 2, 2], (inductance - 50) / (inductance + 50), atol=1e-15)


def test_a_leg_that_the_specimen_has_not_is_an_open_end() -> None:
    bench = make_bench(2, device=RandomDevice(("A1", "A2", "B1", "B2")))
    bench.connect("1=A:36.3,2=A:12.1")
    found = seen(bench)
    np.testing.assert_allclose(found[:, 0, 0], 1.0)
    assert np.abs(found[:, 1, 1]).max() < 1.0
    np.testing.assert_allclose(found[:, 0, 1], 0.0)


def test_all_legs_attached_is_the_specimen_itself_in_the_order_of_the_ports() -> None:
    bench = make_bench(16)
    labels = [
        f"{c[0]}:{pair}.{c[1]}" for c in CONDUCTORS for pair in ("12", "36", "45", "78") if c[1] in pair
    ]
    order = np.random.default_rng(1).permutation(16)
    bench.connect(",".join(f"{port + 1}={labels[leg]}" for port, leg in enumerate(order)))
    np.testing.assert_array_equal(seen(bench), bench.device.scatter(GRID)[:, order][:, :, order])


# -- noise, drift, repeatability ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("b", "readings", "p", "floor_db"),
    [(10, 1, -5, -115), (1e3, 1, -5, -95), (1e5, 1, -5, -75), (1e3, 16, -5, -107.04), (1e3, 1, 5, -105)],
)
def test_the_floor_follows_bandwidth_averages_and_power(
    b: float, readings: int, p: float, floor_db: float
) -> None:
    """-120 dBm in 10 Hz: stated in the bench file; 10 log B, -10 log N, -P."""
    bench = make_bench(4, noiseless=False)
    raw = sweep(bench, np.linspace(1e6, 500e6, 2001), b=b, readings=readings, p=p)
    cross = raw[:, ~np.eye(4, dtype=bool)]  # nothing attached: no transmission at all
    assert 10 * np.log10(np.mean(np.abs(cross) ** 2)) == pytest.approx(floor_db, abs=0.15)


@pytest.mark.parametrize(("b", "expected_db"), [(10, 0.0005), (1e3, 0.0015), (1e4, 0.0015 * 10**0.5)])
def test_trace_noise_follows_bandwidth(b: float, expected_db: float) -> None:
    bench = make_bench(2, noiseless=False)
    grid = np.linspace(100e6, 101e6, 2001)
    first, second = (sweep(bench, grid, b=b, p=10.0)[:, 0, 0] for _ in range(2))
    spread = np.std(first / second) / np.sqrt(2)
    assert 20 * np.log10(1 + spread) == pytest.approx(expected_db, rel=0.1)


def test_the_same_seed_repeats_and_another_does_not() -> None:
    runs = []
    for seed in (3, 3, 4):
        bench = make_bench(2, seed=seed, noiseless=False)
        bench.connect("1=A:12.1,2=B:12.1")
        sweep(bench)
        runs.append(sweep(bench))
    np.testing.assert_array_equal(runs[0], runs[1])
    assert np.abs(runs[0] - runs[2]).max() > 1e-3


def test_noiseless_switches_off_noise_drift_and_repeatability_only() -> None:
    bench = make_bench(2)
    bench.connect("1=load,2=load")
    before = sweep(bench)
    bench.time_s += 36_000
    bench.connect("1=open,2=open")
    bench.connect("1=load,2=load")
    np.testing.assert_array_equal(sweep(bench), before)
    noisy = make_bench(2, noiseless=False)
    noisy.connect("1=load,2=load")
    np.testing.assert_allclose(sweep(noisy), before, atol=5e-3)
    assert np.abs(before).max() > 0.01


def test_reconnecting_changes_only_the_ports_that_moved_and_by_the_stated_amount() -> None:
    """Contacts of N(0, 5 mohm) and N(0, 32 pH): -60 dB of reflection at 500 MHz, flex 1 ps; bench file."""
    quiet = {
        "floor_dbm_in_10_hz": -400.0,
        "trace_noise_db_rms_at_1_khz": 0.0,
        "trace_noise_db_rms_least": 0.0,
    }
    still = {
        "ambient_sigma_k": 0.0,
        "reflection_walk_db_after_1_h": -400.0,
        "gain_db_per_k": 0.0,
        "delay_per_k": 0.0,
    }
    definition = DEFINITION.model_copy(
        update={
            "noise": DEFINITION.noise.model_copy(update=quiet),
            "drift": DEFINITION.drift.model_copy(update=still),
        }
    )
    bench = Bench(definition, ports=4, seed=3, noiseless=False, device=RandomDevice())
    grid = np.array([500e6])
    changes, others = [], []
    bench.connect("1=load,2=load,3=load,4=load")
    before = sweep(bench, grid)
    for _ in range(100):
        bench.connect("2=load,3=load,4=load")
        bench.connect("1=load,2=load,3=load,4=load")
        after = sweep(bench, grid)
        changes.append(np.abs(after - before)[0, 0, 0])
        others.append(np.abs(after - before)[0, 1:, 1:].max())
        before = after
    # Two independent connections differ by the root of two, seen through two paths of 1.2 dB each.
    rms_db = 10 * np.log10(np.mean(np.square(changes)) / 2) + 2.4
    assert rms_db == pytest.approx(-60, abs=1.5)
    assert max(others) < 1e-12


def test_the_bench_drifts_with_time_but_slowly() -> None:
    definition = DEFINITION.model_copy(
        update={
            "noise": DEFINITION.noise.model_copy(
                update={
                    "floor_dbm_in_10_hz": -400.0,
                    "trace_noise_db_rms_at_1_khz": 0.0,
                    "trace_noise_db_rms_least": 0.0,
                }
            )
        }
    )
    change = []
    for seed in range(12):
        bench = Bench(definition, ports=4, seed=seed, noiseless=False, device=RandomDevice())
        start = sweep(bench)
        bench.time_s += 60.0
        minute = sweep(bench)
        bench.time_s += 3540.0
        hour = sweep(bench)
        change.append(
            [np.sqrt(np.mean(np.abs(x - start)[:, range(4), range(4)] ** 2)) for x in (minute, hour)]
        )
    minute_db, hour_db = 20 * np.log10(np.sqrt(np.mean(np.square(change), axis=0)))
    # An open reflects all: directivity and match walk to -60 dB each, tracking by some mdB.
    assert hour_db == pytest.approx(-56, abs=3)
    assert minute_db < hour_db - 8
