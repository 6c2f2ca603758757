"""Check standards and fixture halves of the simulated bench against closed forms and scikit-rf.

Closed forms: resistor networks between 50 ohm ports; modes over 100 and 25 ohm; the figures in
decibels are those of the formulas written beside them.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray

from benchsweep.definitions import validate_model
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.simulator.bench import Bench, ImpossibleConnection, half_matrix, load_bench
from benchsweep.simulator.bench import _artefacts as artefacts_module
from benchsweep.simulator.bench._artefacts import ArtefactFile, artefact_file, true_artefacts
from benchsweep.simulator.bench._attachments import matrix_seen
from benchsweep.simulator.bench._connections import parse_connections
from benchsweep.simulator.bench._pieces import Pieces

from .test_bench_raw import CONDUCTORS, RandomDevice

GRID = np.linspace(1e6, 500e6, 21)
OMEGA = 2 * np.pi * GRID
DEFINITION = load_bench("default")
HALVES = load_bench("fixture-halves")
NOMINAL = true_artefacts(artefact_file(), None)
MODES = np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2)
D, C = 0, 1
Complex = NDArray[np.complex128]


def in_modes(s: Complex) -> Complex:
    """Modes of neighbouring legs, in the order d, c of each pair."""
    turn = np.kron(np.eye(s.shape[-1] // 2), MODES)
    return np.asarray(turn @ s @ turn.T)


def db(x: Complex) -> NDArray[np.float64]:
    return np.asarray(20 * np.log10(np.maximum(np.abs(x), 1e-20)))


def modes_of(name: str) -> Complex:
    return in_modes(NOMINAL[name].scatter(OMEGA))


def test_pad() -> None:
    """Pi of 122.222 and 2 x 247.5 ohm: 20 dB at 100 ohm; the common mode sees 123.75 ohm between 25 ohm."""
    s = modes_of("pad")
    np.testing.assert_allclose(db(s[:, 2 + D, D]), -20.0, atol=1e-9)
    assert db(s[:, [D, 2 + D], [D, 2 + D]]).max() < -200
    common = 2 * 25 / (2 * 25 + 123.75)
    np.testing.assert_allclose(s[:, 2 + C, C], common, atol=1e-12)
    np.testing.assert_allclose(s[:, C, C], 123.75 / (2 * 25 + 123.75), atol=1e-12)
    np.testing.assert_allclose(db(s[:, 2 + C, C]), -10.8191, atol=1e-3)
    np.testing.assert_allclose(db(s[:, C, C]), -2.9476, atol=1e-3)
    assert db(s[:, [C, D, 2 + C, 2 + D], [D, C, D, 2 + C]]).max() < -200


def test_floating_load() -> None:
    s = modes_of("floating")
    np.testing.assert_allclose(s, np.broadcast_to([[0, 0], [0, 1]], s.shape), atol=1e-12)


def test_imbalance() -> None:
    """50 (1 -+ d): Scd11 = d/2 to first order, here d = 1 %, exactly ``d / (2 (1 - d^2/4))`` over it."""
    s = modes_of("imbalance")
    gamma = [(49.5 - 50) / 99.5, 0.5 / 100.5]
    np.testing.assert_allclose(s[:, C, D], (gamma[0] - gamma[1]) / 2, atol=1e-14)
    np.testing.assert_allclose(db(s[:, C, D]), -46.02, atol=0.01)


def test_crosstalk() -> None:
    """``12.5 / R / (1 + 50 / R)`` into every mode of the other pair, R = 12.5 kohm."""
    s = modes_of("crosstalk")
    expected = 12.5 / 12500 / (1 + 50 / 12500)
    np.testing.assert_allclose(np.abs(s[:, 2:, :2]), expected, atol=1e-12)
    np.testing.assert_allclose(db(s[:, 2 + D, D]), -60.035, atol=1e-3)


@pytest.mark.parametrize(("name", "ohm"), [("mismatch-75", 75.0), ("mismatch-133", 400 / 3)])
def test_mismatches(name: str, ohm: float) -> None:
    s = modes_of(name)
    np.testing.assert_allclose(s[:, D, D], (ohm - 100) / (ohm + 100), atol=1e-12)
    np.testing.assert_allclose(s[:, C, C], (ohm / 4 - 25) / (ohm / 4 + 25), atol=1e-12)
    np.testing.assert_allclose(np.abs(s[:, D, D]), 1 / 7, atol=1e-12)


def test_lines_also_where_they_are_half_a_wave_long() -> None:
    s = NOMINAL["line-load"].scatter(OMEGA)
    np.testing.assert_allclose(s, 0.0, atol=1e-12)
    resonant = 2 * np.pi * np.array([1, 2, 3]) / (2 * 3.5e-9)
    for omega in (OMEGA, resonant):
        s = NOMINAL["line-short"].scatter(omega)
        np.testing.assert_allclose(s[:, 0, 0], -np.exp(-2j * omega * 3.5e-9), atol=1e-12)
        np.testing.assert_allclose(s[:, 0, 1], 0.0, atol=1e-12)


@pytest.mark.parametrize("ohm", [45.0, 52.5])
def test_a_line_of_another_impedance_against_scikit_rf(ohm: float) -> None:
    """A piece of line that is not 50 ohm, with loss, ended in 60 ohm: scikit-rf's line and resistor."""
    artefact = NOMINAL["line-load"]
    lines = tuple(
        one.model_copy(update={"impedance_ohm": ohm, "loss_db_at_500_mhz": 0.7})
        for one in artefact.definition.line
    )
    ends = tuple(one.model_copy(update={"ohm": 60.0}) for one in artefact.definition.resistor)
    mine = replace(
        artefact, definition=artefact.definition.model_copy(update={"line": lines, "resistor": ends})
    )
    loss = 0.7 * np.sqrt(GRID / 500e6) / (20 / np.log(10))
    media = skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(GRID, unit="Hz"), gamma=loss + 1j * OMEGA * 3.5e-9, z0=ohm, z0_port=50.0
    )
    load = skrf.Network(frequency=media.frequency, s=np.full(GRID.size, 10 / 110), z0=50.0)
    np.testing.assert_allclose(
        mine.scatter(OMEGA)[:, 1, 1], (media.line(1.0, "m") ** load).s[:, 0, 0], atol=1e-12
    )


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_they_are_reciprocal_and_passive(seed: int | None) -> None:
    for artefact in true_artefacts(artefact_file(), seed).values():
        s = artefact.scatter(OMEGA)
        np.testing.assert_allclose(s, s.transpose(0, 2, 1), atol=1e-12)
        assert np.linalg.norm(s, 2, axis=(1, 2)).max() < 1 + 1e-12


def test_the_real_ones_deviate_as_stated() -> None:
    """0.1 % of resistance anywhere (1 % of the big one); 0.02 pF root mean square from leg to ground."""
    drawn = [true_artefacts(artefact_file(), seed) for seed in range(150)]
    ohm = np.array([[r.ohm for r in one["crosstalk"].definition.resistor] for one in drawn])
    off = ohm / [50.0, 50.0, 50.0, 50.0, 12500.0] - 1
    assert np.all(np.abs(off) <= [1e-3, 1e-3, 1e-3, 1e-3, 1e-2])
    np.testing.assert_allclose(np.std(off, axis=0) * np.sqrt(3), [1e-3] * 4 + [1e-2], rtol=0.2)
    stray = np.array([one["pad"].stray_f for one in drawn])
    assert stray.min() >= 0
    assert np.sqrt(np.mean(stray**2)) == pytest.approx(0.02e-12, rel=0.1)
    line = np.array(
        [[x.impedance_ohm, x.delay_s] for one in drawn for x in one["line-short"].definition.line]
    )
    np.testing.assert_allclose(np.std(line, axis=0), [0.1, 2e-12], rtol=0.2)
    assert abs(np.corrcoef(stray[:, :2].T)[0, 1]) < 0.3  # each leg its own


def seen(connections: str, ports: int, pieces: Pieces, terminators=None) -> Complex:
    device = RandomDevice()
    return matrix_seen(
        GRID,
        parse_connections(connections, ports, pieces.offer),
        ports,
        pieces,
        conductors=device.conductors,
        scattering=device.scatter(GRID),
        terminators=terminators,
    )


def test_a_leg_of_an_artefact_that_is_not_attached_sits_on_the_termination() -> None:
    """The pad from one side: a ladder of resistors with 51 ohm beside 0.2 pF at each far leg, by hand."""
    found = in_modes(seen("1=check pad A:12.1,2=check pad A:12.2", 2, Pieces(DEFINITION)))
    end = 1 / (1 / 51 + 1j * OMEGA * 0.2e-12)
    far = 1 / (1 / (2 * end) + 1 / (1100 / 9))
    differential = 1 / (1 / (2 * 247.5 + far) + 1 / (1100 / 9))
    np.testing.assert_allclose(found[:, D, D], (differential - 100) / (differential + 100), atol=1e-12)
    common = (247.5 + end) / 2
    np.testing.assert_allclose(found[:, C, C], (common - 25) / (common + 25), atol=1e-12)
    opened = in_modes(seen("1=check pad A:12.1,2=check pad A:12.2", 2, Pieces(DEFINITION), {"B:12": "none"}))
    np.testing.assert_allclose(opened[:, C, C], 1.0, atol=1e-12)


def test_two_artefacts_and_the_specimen_beside_each_other_do_not_mix() -> None:
    pieces = Pieces(DEFINITION)
    found = seen("1=check imbalance A:12.1,2=A:36.3,3=check mismatch-75 A:12.2,4=A:36.6", 4, pieces)
    np.testing.assert_allclose(found[:, 0, 0], -0.5 / 99.5, atol=1e-14)
    np.testing.assert_allclose(found[:, 2, 2], -1 / 7, atol=1e-14)
    np.testing.assert_array_equal(found[:, [0, 2], [1, 3]], 0)
    np.testing.assert_allclose(found[:, [[1], [3]], [1, 3]], seen("1=A:36.3,2=A:36.6", 2, pieces), atol=1e-13)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('between = ["A:12.1", "B:12.1"]', 'between = ["A:12.1", "C:12.1"]', "two of the legs"),
        ('between = ["A:12.1", "B:12.1"]', 'between = ["A:12.1", "A:12.1"]', "two of the legs"),
        ('legs = ["A:12.1", "A:12.2", "B', 'legs = ["A:12.3", "A:12.2", "B', "not a leg"),
        ("ohm = 247.5", "ohm = 0.0", "ohm"),
        ("ohm = 247.5", "colour = 1, ohm = 247.5", "unknown key"),
    ],
)
def test_definitions_that_are_none_are_refused(old: str, new: str, words: str) -> None:
    text = Path(artefacts_module.__file__).with_name("artefacts.toml").read_text()
    assert old in text
    with pytest.raises(DefinitionError, match=words):
        validate_model(text.replace(old, new), ArtefactFile, where="mine.toml")


# -- fixture halves ----------------------------------------------------------------------------------------


def test_a_half_is_mismatched_coupled_lines() -> None:
    """Each mode against scikit-rf's uniform line: impedance and delay of the bench file."""
    half = HALVES.fixture_half
    assert half is not None
    s = half_matrix(HALVES, 1, 1, GRID, noiseless=True)
    modes = in_modes(s)
    loss = half.loss_db_at_500_mhz * np.sqrt(GRID / 500e6) / (20 / np.log(10))
    for place, ohm, delay_s in (
        (D, half.impedance_odd_ohm, half.delay_odd_s),
        (C, half.impedance_even_ohm, half.delay_even_s),
    ):
        media = skrf.media.DefinedGammaZ0(
            skrf.Frequency.from_f(GRID, unit="Hz"), gamma=loss + 1j * OMEGA * delay_s, z0=ohm, z0_port=50.0
        )
        where = np.array([place, place + 2])
        np.testing.assert_allclose(modes[:, where[:, None], where], media.line(1.0, "m").s, atol=1e-12)
    np.testing.assert_allclose(modes[:, [D, D, 2 + D], [C, 2 + C, C]], 0.0, atol=1e-13)
    np.testing.assert_allclose(s, s.transpose(0, 2, 1), atol=1e-14)
    assert np.linalg.norm(s, 2, axis=(1, 2)).max() < 1
    assert -45 < db(s[-1, 3, 0]) < -30  # crosstalk to the far end of the other line
    phase = np.unwrap(np.angle(s[:, 2, 0]))
    assert -(phase[-1] - phase[0]) / (OMEGA[-1] - OMEGA[0]) == pytest.approx(100e-12, rel=0.1)


def test_halves_are_alike_without_noise_only() -> None:
    alike = [half_matrix(HALVES, 1, n, GRID, noiseless=True) for n in (1, 2)]
    np.testing.assert_array_equal(*alike)
    real = [half_matrix(HALVES, 1, n, GRID) for n in (1, 2)]
    assert 1e-4 < np.abs(real[0] - real[1]).max() < 2e-2
    with pytest.raises(UsageError, match="no fixture halves"):
        half_matrix(DEFINITION, 1, 1, GRID)


@pytest.mark.parametrize("noiseless", [True, False])
def test_a_specimen_is_behind_the_halves_and_standards_are_not(noiseless: bool) -> None:
    """Against scikit-rf, which connects the halves to the specimen port by port."""
    pieces = Pieces(HALVES, seed=3, as_defined=noiseless)
    direct = Pieces(
        DEFINITION.model_copy(update={"terminations": HALVES.terminations}), seed=3, as_defined=noiseless
    )
    text = "1=A:12.1,2=A:12.2,3=B:36.3,4=B:36.6,5=short,6=load,7=A:45.4"
    found = seen(text, 8, pieces)
    inner = seen("1=A:12.1,2=A:12.2,3=B:36.3,4=B:36.6,5=A:45.4", 6, direct)[:, :6, :6]
    frequency = skrf.Frequency.from_f(GRID, unit="Hz")
    total = skrf.Network(frequency=frequency, s=inner, z0=50.0)
    for number in (1, 2, 4):
        box = half_matrix(HALVES, 3, number, GRID, noiseless=noiseless)
        half = skrf.Network(frequency=frequency, s=box, z0=50.0)
        # Ports 0 and 1 of what is left are joined to the legs of the half; its coaxial ports come last.
        s = joined(total.s, half.s)
        total = skrf.Network(frequency=frequency, s=s, z0=50.0)
    at = np.array([0, 1, 2, 3, 6, 7])
    np.testing.assert_allclose(found[:, at[:, None], at], total.s, atol=1e-12)
    np.testing.assert_array_equal(found[:, [4, 5]], seen("5=short,6=load", 8, pieces)[:, [4, 5]])


def joined(s: Complex, half: Complex) -> Complex:
    """Join the first two ports of `s` to the far ports of `half`; the near ones go to the end."""
    frequency = skrf.Frequency.from_f(GRID, unit="Hz")
    n = s.shape[1]
    both = skrf.network.connect(
        skrf.Network(frequency=frequency, s=s, z0=50.0),
        0,
        skrf.Network(frequency=frequency, s=half, z0=50.0),
        2,
    )
    # Now: the other n - 1 ports of `s`, then coaxial 1 and 2 and the second leg of the half.
    return np.asarray(skrf.network.innerconnect(both, 0, n + 1).s)


def test_two_x_thru_is_two_halves_back_to_back() -> None:
    text = (
        "3=check two-x-thru A:12.1,4=check two-x-thru A:12.2,7=check two-x-thru B:12.1,"
        "8=check two-x-thru B:12.2"
    )
    found = seen(text, 8, Pieces(HALVES, seed=3, as_defined=False))
    frequency = skrf.Frequency.from_f(GRID, unit="Hz")
    first, second = (
        skrf.Network(frequency=frequency, s=half_matrix(HALVES, 3, n, GRID), z0=50.0) for n in (2, 4)
    )
    back = second.copy()
    back.renumber([0, 1, 2, 3], [2, 3, 0, 1])
    at = np.array([2, 3, 6, 7])
    np.testing.assert_allclose(found[:, at[:, None], at], (first**back).s, atol=1e-12)
    assert np.abs(found[:, at[:, None], [0, 1, 4, 5]]).max() == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1=A:12.1,2=open", "one half"),
        ("1=check pad A:12.1,2=A:12.2", "one half"),
        ("1=check two-x-thru A:12.1,2=check two-x-thru A:12.2", "needs its other half"),
        (
            "1=check two-x-thru A:12.2,2=check two-x-thru A:12.1,3=check two-x-thru B:12.1,"
            "4=check two-x-thru B:12.2",
            "positive leg first",
        ),
        (
            "1=check two-x-thru A:12.1,2=check two-x-thru B:12.1,3=check two-x-thru A:12.2,"
            "4=check two-x-thru B:12.2",
            "both ports of one half",
        ),
        ("1=A:12/d", "needs a balun"),
    ],
)
def test_what_halves_cannot_take_is_refused(text: str, words: str) -> None:
    it = Bench(HALVES, ports=4, seed=1, noiseless=True, device=RandomDevice())
    it.connect("1=A:12.1,2=A:12.2,3=load")
    with pytest.raises(ImpossibleConnection, match=words):
        it.connect(text)
    assert it.connections == "1=A:12.1,2=A:12.2,3=load"


def test_everything_at_a_bench_is_passive_and_reciprocal() -> None:
    for definition, text in (
        (HALVES, "1=A:12.1,2=A:12.2,3=check line-short A:12.1,4=line-2 6,6=line-2 4,7=B:78.7,8=B:78.8"),
        (DEFINITION, "1=reflect,2=reciprocal-1 3,3=reciprocal-1 2,4=check pad B:12.2,5=A:36.3,6=open"),
    ):
        found = seen(text, 8, Pieces(definition, seed=9, as_defined=False), {"B:12": "T3", "A:45": "T4"})
        np.testing.assert_allclose(found, found.transpose(0, 2, 1), atol=1e-12)
        assert np.linalg.norm(found, 2, axis=(1, 2)).max() < 1 + 1e-12
    assert len(CONDUCTORS) == 16
