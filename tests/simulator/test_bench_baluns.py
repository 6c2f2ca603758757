"""Baluns of the simulated bench: words, figures of merit, and what is seen through them.

Figures of merit after ITU-T O.9 (from memory: output signal balance, common-mode rejection), here of power
waves: differential mode over 100 ohm, common mode over 25 ohm.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray

from benchsweep.definitions import find_definition, validate_model
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import (
    Bench,
    BenchDefinition,
    ImpossibleConnection,
    balun_matrix,
    load_bench,
)
from benchsweep.simulator.bench._attachments import matrix_seen
from benchsweep.simulator.bench._connections import format_connections, parse_connections
from benchsweep.simulator.bench._pieces import Pieces

from .test_bench_raw import RandomDevice

GRID = np.linspace(1e6, 500e6, 23)
PLAIN, TAPPED = load_bench("baluns"), load_bench("baluns-tapped")
MODES = np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2)
Complex = NDArray[np.complex128]


def with_baluns(bench: BenchDefinition, **changes: object) -> BenchDefinition:
    assert bench.baluns is not None
    return bench.model_copy(update={"baluns": bench.baluns.model_copy(update=changes)})


def in_modes(s: Complex) -> Complex:
    """The last two ports, legs, as differential and common mode."""
    turn = np.eye(s.shape[-1])
    turn[-2:, -2:] = MODES
    return np.asarray(turn @ s @ turn.T)


def db(x: Complex) -> NDArray[np.float64]:
    return np.asarray(20 * np.log10(np.abs(x)))


def seen(connections: str, ports: int, definition: BenchDefinition, seed: int = 1) -> Complex:
    pieces = Pieces(definition, seed=seed)
    device = RandomDevice()
    return matrix_seen(
        GRID,
        parse_connections(connections, ports, pieces.offer),
        ports,
        pieces,
        conductors=device.conductors,
        scattering=device.scatter(GRID),
    )


# -- words -------------------------------------------------------------------------------------------------


def bench(definition: BenchDefinition, ports: int) -> Bench:
    return Bench(definition, ports=ports, seed=1, noiseless=True, device=RandomDevice())


@pytest.mark.parametrize(
    ("definition", "text"),
    [
        (PLAIN, "1=A:12/d,2=B:78/d,3=open,4=load"),
        (PLAIN, "1=thru 4,2=line-1 3,3=line-1 2,4=thru 1"),
        (PLAIN, "1=check pad A:12/d,2=check pad B:12/d,3=reflect"),
        (TAPPED, "1=A:12/d,2=A:12/c,3=B:78/d,4=B:78/c"),
        (TAPPED, "1=A:12/d,4=B:78/c"),
        (TAPPED, "1=exchange 2,2=exchange 1,3=short,4=short"),
        (TAPPED, "1=thru 3,2=thru 4,3=thru 1,4=thru 2"),
        (TAPPED, "1=reciprocal-2 3,3=reciprocal-2 1"),
        (TAPPED, "1=check floating A:12/d,2=check floating A:12/c"),
    ],
)
def test_what_can_be_made_is_written_back(definition: BenchDefinition, text: str) -> None:
    it = bench(definition, 4)
    it.connect(text)
    assert it.connections == text
    found = parse_connections(text, 4, Pieces(definition).offer)
    assert format_connections(found) == text


@pytest.mark.parametrize(
    ("definition", "text", "words"),
    [
        (PLAIN, "1=A:12.1", "not behind a balun"),
        (PLAIN, "1=A:12/c", "differential port"),
        (PLAIN, "1=A:12/d,2=A:12/d", "at ports 1 and 2"),
        (PLAIN, "1=exchange 2,2=exchange 1", "one tapped balun"),
        (PLAIN, "1=check pad A:12.1", "not behind a balun"),
        (PLAIN, "1=check pad A:36/d", "no such leg"),
        (TAPPED, "1=A:12/c", "differential port"),
        (TAPPED, "2=A:12/d", "common-mode tap"),
        (TAPPED, "1=A:12/d,2=A:36/c", "not the same on both"),
        (TAPPED, "1=A:12/d,4=A:12/c", "at another balun"),
        (TAPPED, "1=open,2=short", "not the same on both"),
        (TAPPED, "1=open,2=A:12/c", "not the same on both"),
        (TAPPED, "1=thru 2,2=thru 1", "d with d and c with c"),
        (TAPPED, "1=thru 4,4=thru 1", "d with d and c with c"),
        (TAPPED, "1=thru 3,3=thru 1,2=line-1 4,4=line-1 2", "not the same on both"),
        (TAPPED, "1=exchange 3,3=exchange 1", "one tapped balun"),
        (TAPPED, "1=A:12/e", "no such target"),
    ],
)
def test_what_cannot_be_made_behind_baluns_is_refused(
    definition: BenchDefinition, text: str, words: str
) -> None:
    it = bench(definition, 4)
    it.connect("1=load")
    with pytest.raises(ImpossibleConnection, match=words):
        it.connect(text)
    assert it.connections == "1=load"


def test_ports_and_relays_that_baluns_have_no_use_for() -> None:
    with pytest.raises(UsageError, match="no more than 8"):
        bench(PLAIN, 16)
    bench(TAPPED, 16).connect("16=B:78/c")
    with (
        pytest.raises(UsageError, match="direct contacts"),
        running_bench(BenchOptions(bench="baluns", ports=4, relays=True)),
    ):
        pass
    with pytest.raises(UsageError, match="no baluns"):
        balun_matrix(load_bench("default"), 1, 1, GRID)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("common_mode_rejection_db = 50.0", "common_mode_rejection_db = 40.0", "reciprocal"),
        ("return_loss_db = 20.0\noutput", "return_loss_db = 2.0\noutput", "return_loss_db"),
        ("tapped = false", "taped = false", "unknown key"),
        (
            "[noise]",
            "[fixture_half]\nimpedance_even_ohm = 50\nimpedance_odd_ohm = 50\ndelay_even_s = 1e-10\n"
            "delay_odd_s = 1e-10\nloss_db_at_500_mhz = 0\n[noise]",
            "not together",
        ),
    ],
)
def test_impossible_baluns_are_refused(old: str, new: str, words: str) -> None:
    text = find_definition("benches", "baluns").read_text()
    assert old in text
    with pytest.raises(DefinitionError, match=words):
        validate_model(text.replace(old, new), BenchDefinition, where="mine.toml")


# -- the balun itself --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(
    ("definition", "balance_db", "common_db"),
    [
        (PLAIN, 50, 20),
        (PLAIN, 40, 10),
        (PLAIN, 50, None),
        (PLAIN, 60, None),
        (TAPPED, 50, 20),
        (TAPPED, 60, 15),
    ],
)
def test_the_figures_come_back_as_declared(
    definition: BenchDefinition, balance_db: float, common_db: float | None, seed: int
) -> None:
    definition = with_baluns(
        definition,
        output_signal_balance_db=balance_db,
        common_mode_rejection_db=balance_db,
        common_mode_return_loss_db=common_db,
    )
    many = np.stack([in_modes(balun_matrix(definition, seed, n, GRID)) for n in range(1, 9)])
    differential, common = many.shape[-1] - 2, many.shape[-1] - 1
    # Output signal balance: driven from the unbalanced side, wanted over unwanted mode at the matched legs.
    osb_db = db(many[:, :, differential, 0]) - db(many[:, :, common, 0])
    np.testing.assert_allclose(osb_db, balance_db, atol=1.0)
    # Common-mode rejection: driven at the legs, received at the unbalanced side.
    cmr_db = db(many[:, :, 0, differential]) - db(many[:, :, 0, common])
    np.testing.assert_allclose(cmr_db, balance_db, atol=1.0)
    phase = np.angle(many[:, 0, common, 0] / many[:, 0, differential, 0])
    assert np.unique(np.round(phase, 1)).size > 1  # not all alike
    # 0.8 dB at 500 MHz, of which half at DC, and up to 0.1 dB for the mismatch; 5 % from balun to balun.
    np.testing.assert_allclose(-db(many[:, -1, differential, 0]), 0.85, atol=0.2)
    np.testing.assert_allclose(-db(many[:, 0, differential, 0]), 0.45, atol=0.2)
    for port in (0, differential):
        rms = np.sqrt(np.mean(np.abs(many[:, :, port, port]) ** 2))
        assert -20 * np.log10(rms) == pytest.approx(20, abs=2)
    common_rms = np.sqrt(np.mean(np.abs(many[:, :, common, common]) ** 2))
    tolerance_db = 2 if definition.wiring.way == "tapped-baluns" else 0.1
    assert -20 * np.log10(common_rms) == pytest.approx(common_db or 0.0, abs=tolerance_db)


@pytest.mark.parametrize("definition", [PLAIN, with_baluns(PLAIN, common_mode_return_loss_db=None), TAPPED])
def test_a_balun_is_reciprocal_passive_and_smooth(definition: BenchDefinition) -> None:
    fine = np.arange(1, 601) * 5e6
    for number in (1, 2, 3):
        s = balun_matrix(definition, 4, number, fine)
        np.testing.assert_allclose(s, s.transpose(0, 2, 1), atol=1e-14)
        assert np.linalg.norm(s, 2, axis=(1, 2)).max() <= 1 + 1e-12
        # Real response in time: nothing before t = 0, and all of it within some 10 ns, window aside.
        window = np.hanning(1201)[600:]
        spectrum = np.concatenate([s[:1].real, s]) * window[:, None, None]
        response = np.fft.irfft(spectrum, n=1200, axis=0)
        time_s = np.fft.fftfreq(1200, 5e6)
        inside = (time_s > -0.6e-9) & (time_s < 10e-9)
        energy = np.sum(response**2, axis=(1, 2))
        assert energy[~inside].sum() < 1e-3 * energy.sum()
        # The same on any grid.
        np.testing.assert_allclose(s[::50], balun_matrix(definition, 4, number, fine[::50]), atol=1e-12)


def test_every_balun_is_its_own_and_noise_has_no_say() -> None:
    first, second = (balun_matrix(TAPPED, 1, n, GRID) for n in (1, 2))
    assert np.abs(first - second).max() > 1e-2
    assert np.abs(first - balun_matrix(TAPPED, 2, 1, GRID)).max() > 1e-2
    exact = with_baluns(TAPPED, spread=0.0)
    loss_db = [db(in_modes(balun_matrix(exact, 1, n, GRID))[:, 2, 0]) for n in (1, 2)]
    np.testing.assert_allclose(*loss_db, atol=0.15)  # alike but for the signs of the mismatches


# -- what is seen through baluns ---------------------------------------------------------------------------


def all_waves(definition: BenchDefinition, inner: Complex, ports: int, seed: int = 1) -> Complex:
    """The matrix at the ports from one dense system of all waves, frequency by frequency.

    Unknowns: waves from each end into the device, waves from the device into each end.
    """
    each = 2 if definition.baluns is not None and definition.baluns.tapped else 1
    count = ports // each
    baluns = [balun_matrix(definition, seed, n + 1, GRID) for n in range(count)]
    out = np.zeros((GRID.size, ports, ports), dtype=complex)
    ends = 2 * count
    for f in range(GRID.size):
        for source in range(ports):
            a = np.zeros((2 * ends, 2 * ends), dtype=complex)
            y = np.zeros(2 * ends, dtype=complex)
            for k in range(ends):
                box, leg = baluns[k // 2][f], each + k % 2
                a[k, k] = 1
                for other in range(2):
                    a[k, ends + 2 * (k // 2) + other] = -box[leg, each + other]
                if source // each == k // 2:
                    y[k] = box[leg, source % each]
                a[ends + k, ends + k] = 1
                a[ends + k, :ends] = -inner[f, k]
            back = np.linalg.solve(a, y)[ends:]
            for port in range(ports):
                box = baluns[port // each][f]
                n = port // each
                out[f, port, source] = box[port % each, each:] @ back[2 * n : 2 * n + 2]
                if n == source // each:
                    out[f, port, source] += box[port % each, source % each]
    return out


@pytest.mark.parametrize(
    ("definition", "behind", "at_contacts"),
    [
        (PLAIN, "1=A:12/d,2=B:36/d", "1=A:12.1,2=A:12.2,3=B:36.3,4=B:36.6"),
        (
            PLAIN,
            "1=reciprocal-2 2,2=reciprocal-2 1",
            "1=reciprocal-2 3,3=reciprocal-2 1,2=reciprocal-2 4,4=reciprocal-2 2",
        ),
        (PLAIN, "2=A:45/d", "3=A:45.4,4=A:45.5"),
        (TAPPED, "1=A:12/d,2=A:12/c,3=B:12/d,4=B:12/c", "1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2"),
        (TAPPED, "1=A:12/d,3=open,4=open", "1=A:12.1,2=A:12.2,3=open,4=open"),
        (TAPPED, "1=exchange 2,2=exchange 1,3=load", "1=short,2=open,3=load,4=load"),
        (
            TAPPED,
            "1=check pad B:12/d,3=check pad A:12/d",
            "1=check pad B:12.1,2=check pad B:12.2,3=check pad A:12.1,4=check pad A:12.2",
        ),
    ],
)
def test_what_is_seen_is_the_solution_of_all_waves(
    definition: BenchDefinition, behind: str, at_contacts: str
) -> None:
    inner = seen(at_contacts, 4, load_bench("default"))
    ports = 4 if definition is TAPPED else 2
    found = seen(behind, ports, definition)
    np.testing.assert_allclose(found, all_waves(definition, inner, ports), atol=1e-12)
    np.testing.assert_allclose(found, found.transpose(0, 2, 1), atol=1e-12)
    assert np.linalg.norm(found, 2, axis=(1, 2)).max() < 1 + 1e-9


def test_what_the_standards_do_behind_tapped_baluns() -> None:
    through = seen("1=thru 3,2=thru 4,3=thru 1,4=thru 2", 4, TAPPED)
    # Twice 0.8 dB at 500 MHz, from d to d and from c to c; little from one to the other.
    np.testing.assert_allclose(db(through[-1, [2, 3], [0, 1]]), -1.6, atol=0.5)
    assert db(through[:, [2, 3], [1, 0]]).max() < -40
    only_d = seen("1=thru 3,3=thru 1", 4, TAPPED)
    np.testing.assert_array_equal(only_d, through)
    exchange = seen("1=exchange 2,2=exchange 1", 4, TAPPED)
    # One leg short, one open: d comes back as c, through both ways, the fringes aside.
    assert db(exchange[:, 1, 0]).min() > -2.0
    assert db(exchange[:, 0, 0]).max() < -8.0
    for name in ("open", "short"):
        both = seen(f"1={name},2={name}", 4, TAPPED)
        assert db(both[:, [0, 1], [0, 1]]).min() > -4
        assert db(both[:, 1, 0]).max() < -35
    floating = seen("1=check floating A:12/d,2=check floating A:12/c", 4, TAPPED)
    assert db(floating[:, 0, 0]).max() < -14  # the balun's own mismatch
    assert db(floating[:, 1, 1]).min() > -4


def test_a_tap_inside_is_a_tap_that_is_ended_there() -> None:
    """An open tap sends back what a specimen turns into the common mode; a matched one does not."""
    changes: Mapping[str, object]
    found = {}
    for name, changes in {
        "matched": {"common_mode_return_loss_db": 60.0},
        "open": {"common_mode_return_loss_db": None},
    }.items():
        found[name] = seen("1=check mismatch-75 A:12/d", 2, with_baluns(PLAIN, **changes))[:, 0, 0]
    # A balanced load turns nothing into the common mode: the tap hardly matters.
    np.testing.assert_allclose(found["matched"], found["open"], atol=3e-4)
    severe = [
        seen("1=A:12/d", 2, with_baluns(PLAIN, common_mode_return_loss_db=level))[:, 0, 0]
        for level in (60.0, None)
    ]
    assert np.abs(severe[0] - severe[1]).max() > 1e-2


def test_the_bench_measures_through_its_baluns_and_identifies_itself() -> None:
    it = bench(TAPPED, 4)
    it.connect("1=A:12/d,2=A:12/c,3=B:12/d,4=B:12/c")
    power = dict.fromkeys(range(1, 5), -5.0)
    raw = it.measure(it.prepare(GRID, power, 1e3, 1, 1.0))
    it.connect("1=load,2=load,3=load,4=load")
    assert np.abs(it.measure(it.prepare(GRID, power, 1e3, 1, 1.0)) - raw).max() > 0.01
    other = with_baluns(TAPPED, insertion_loss_db=1.0)
    prints = {definition.fingerprint(4, 1) for definition in (PLAIN, TAPPED, other)}
    assert len(prints) == 3


# -- calibrating through baluns ----------------------------------------------------------------------------


def through_solt(definition: BenchDefinition, device: str) -> Complex:
    """What scikit-rf's SOLT makes of `device`, told the standards on one leg and nothing of baluns."""
    frequency = skrf.Frequency.from_f(GRID, unit="Hz")
    contacts = load_bench("default")
    it = Bench(definition, ports=2, seed=5, noiseless=True, device=RandomDevice())

    def network(s: Complex) -> skrf.Network:
        return skrf.Network(frequency=frequency, s=s, z0=50.0)

    def raw(connections: str) -> skrf.Network:
        it.connect(connections)
        return network(it.measure(it.prepare(GRID, {1: -5.0, 2: -5.0}, 1e3, 1, 1.0)))

    standards = [f"1={name},2={name}" for name in ("open", "short", "load")] + ["1=thru 2,2=thru 1"]
    calibration = skrf.calibration.SOLT(
        measured=[raw(text) for text in standards],
        ideals=[network(seen(text, 2, contacts)) for text in standards],
    )
    calibration.run()
    return np.asarray(calibration.apply_cal(raw(device)).s)


def test_a_balanced_device_is_measured_right_through_baluns_to_the_square_of_their_balance() -> None:
    """Through an error box of the differential mode only; what is left takes two conversions, 40 dB twice."""
    worst = {}
    for balance_db in (40.0, 60.0):
        definition = with_baluns(
            PLAIN, output_signal_balance_db=balance_db, common_mode_rejection_db=balance_db
        )
        found = through_solt(definition, "1=check pad A:12/d,2=check pad B:12/d")
        expected = np.array([[0.0, 0.1], [0.1, 0.0]])
        worst[balance_db] = db(np.abs(found - expected).max())
    assert worst[40.0] < -65
    assert worst[60.0] < -105
    assert worst[40.0] - worst[60.0] == pytest.approx(40, abs=3)


def test_a_device_that_converts_is_measured_wrong_by_balance_times_conversion() -> None:
    """49.5 and 50.5 ohm turn -46 dB into the common mode, which comes back by a balance of 40 dB; twice."""
    worst = {}
    for balance_db in (40.0, 60.0):
        definition = with_baluns(
            PLAIN, output_signal_balance_db=balance_db, common_mode_rejection_db=balance_db
        )
        # (49.5 - 50) / 99.5 and (50.5 - 50) / 100.5, their mean.
        expected = (-0.5 / 99.5 + 0.5 / 100.5) / 2
        worst[balance_db] = db(
            np.abs(through_solt(definition, "1=check imbalance A:12/d")[:, 0, 0] - expected).max()
        )
    assert -86 < worst[40.0] < -74
    assert worst[40.0] - worst[60.0] == pytest.approx(20, abs=3)


def test_the_exchange_turns_d_into_c_with_the_sign_of_a_short_at_the_positive_leg() -> None:
    """``(short - open) / 2`` between the modes, ``(short + open) / 2`` in each: matrices of modes by hand."""
    contacts = seen("1=short,2=open", 2, load_bench("default"))
    modes = MODES @ contacts @ MODES.T
    np.testing.assert_allclose(modes[:, 1, 0], (contacts[:, 0, 0] - contacts[:, 1, 1]) / 2, atol=1e-15)
    np.testing.assert_allclose(modes[:, 0, 0], (contacts[:, 0, 0] + contacts[:, 1, 1]) / 2, atol=1e-15)
    ideal = with_baluns(
        TAPPED, return_loss_db=120.0, common_mode_return_loss_db=120.0, insertion_loss_db=0.0, delay_s=0.0,
        output_signal_balance_db=120.0, common_mode_rejection_db=120.0, spread=0.0,
    )  # fmt: skip
    found = seen("1=exchange 2,2=exchange 1", 2, ideal)
    np.testing.assert_allclose(np.abs(found), np.abs(modes), atol=1e-4)
    np.testing.assert_allclose(found[0], modes[0], atol=2e-3)  # the leads hardly turn at 1 MHz
