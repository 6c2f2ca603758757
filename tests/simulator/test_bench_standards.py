"""Standards and terminators of the simulated bench: words, circuits, and how far the real ones are off."""

from __future__ import annotations

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray

from benchsweep.definitions import find_definition, validate_model
from benchsweep.errors import DefinitionError
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import Bench, BenchDefinition, ImpossibleConnection, load_bench
from benchsweep.simulator.bench._attachments import matrix_seen
from benchsweep.simulator.bench._connections import format_connections, parse_connections
from benchsweep.simulator.bench._pieces import Pieces
from benchsweep.simulator.bench._standards import true_standards
from benchsweep.simulator.bench._terminations import Loads

from .conftest import SETUP, Client, matrix, take
from .test_bench_raw import CONDUCTORS, RandomDevice

GRID = np.linspace(1e6, 500e6, 11)
OMEGA = 2 * np.pi * GRID
DEFINITION = load_bench("default")
NOMINAL = Pieces(DEFINITION)
Complex = NDArray[np.complex128]


def seen(connections: str, ports: int = 4, pieces: Pieces = NOMINAL, terminators=None) -> Complex:
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


# -- words -------------------------------------------------------------------------------------------------


def test_all_standards_are_read_and_written_back() -> None:
    text = (
        "1=reflect,2=line-1 3,3=line-1 2,4=reciprocal-3 8,5=line-2 6,6=line-2 5,7=check pad B:12.2,"
        "8=reciprocal-3 4"
    )
    found = parse_connections(text, 8, NOMINAL.offer)
    assert format_connections(found) == text
    assert not any(attached.conductors for attached in found.values())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1=line-3 2,2=line-3 1", "line-3 2: no such target"),
        ("1=reciprocal-0 2,2=reciprocal-0 1", "no such target"),
        ("1=line 2,2=line 1", "no such target"),
        ("1=line-1 2,2=line-2 1", "does not come back"),
        ("1=line-1 2,2=thru 1", "does not come back"),
        ("1=line-1 1", "does not come back"),
        ("1=reflect 2", "no such target"),
        ("1=check pads A:12.1", "no such check standard"),
        ("1=check pad A:36.3", "no such leg"),
        ("1=check pad A:12.3", "no such leg"),
        ("1=check pad", "no such target"),
        ("1=check pad A:12.1,2=check pad A:12.1", "at ports 1 and 2"),
        ("1=check two-x-thru A:12.1", "no such check standard"),
        ("1=A:12/d", "needs a balun"),
        ("1=check pad A:12/d", "needs a balun"),
        ("1=exchange 2,2=exchange 1", "needs a balun"),
    ],
)
def test_what_direct_contacts_cannot_make_is_refused_and_nothing_changes(text: str, words: str) -> None:
    bench = Bench(DEFINITION, ports=4, seed=1, noiseless=True, device=RandomDevice())
    bench.connect("1=reflect")
    with pytest.raises(ImpossibleConnection, match=words):
        bench.connect(text)
    assert bench.connections == "1=reflect"


# -- circuits ----------------------------------------------------------------------------------------------


def test_the_reflect_is_a_short_behind_a_line_with_loss() -> None:
    reflect = DEFINITION.standards.reflect
    found = seen("1=reflect,2=reflect")
    there_and_back_db = 2 * reflect.loss_db_at_500_mhz * np.sqrt(GRID / 500e6)
    expected = -(10 ** (-there_and_back_db / 20)) * np.exp(-2j * OMEGA * reflect.delay_s)
    np.testing.assert_allclose(found[:, 0, 0], expected, atol=1e-15)
    np.testing.assert_array_equal(found[:, 0, 0], found[:, 1, 1])
    assert np.all(np.abs(np.angle(-found[:, 0, 0])) < np.pi / 2)  # near a short all over the range


def skrf_line(gamma_l: Complex, ohm: float) -> Complex:
    media = skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(GRID, unit="Hz"), gamma=gamma_l, z0=ohm, z0_port=50.0
    )
    return np.asarray(media.line(1.0, "m").s)


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("ohm", [50.0, 51.5])
def test_a_line_is_the_thru_and_a_uniform_line_more(number: int, ohm: float) -> None:
    """Against scikit-rf's line of that impedance between 50 ohm ports."""
    sections = tuple(one.model_copy(update={"impedance_ohm": ohm}) for one in DEFINITION.standards.line)
    standards = DEFINITION.standards.model_copy(update={"line": sections})
    pieces = Pieces(DEFINITION.model_copy(update={"standards": standards}))
    section = sections[number - 1]
    loss_db = section.loss_db_per_ns_at_500_mhz * section.longer_than_thru_s * 1e9 * np.sqrt(GRID / 500e6)
    gamma_l = loss_db / (20 / np.log(10)) + 1j * OMEGA * section.longer_than_thru_s
    found = seen(f"2=line-{number} 4,4=line-{number} 2", pieces=pieces)
    thru = seen("2=thru 4,4=thru 2", pieces=pieces)[:, 3, 1]
    np.testing.assert_allclose(
        found[:, [[1], [3]], [1, 3]], skrf_line(gamma_l, ohm) * thru[:, None, None], atol=1e-13
    )
    assert np.abs(thru - np.exp(-1j * OMEGA * 30e-12)).max() < 1e-15  # thru_delay_s of the bench file


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_reciprocal_is_a_pad_between_lines_its_near_end_at_the_lower_port(number: int) -> None:
    piece = DEFINITION.standards.reciprocal[number - 1]
    media = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(GRID, unit="Hz"), z0=50.0)
    ends = [skrf.Network(frequency=media.frequency, z0=50.0) for _ in range(2)]
    for end, delay_s in zip(ends, piece.delay_s, strict=True):
        end.s = np.einsum("f,ij->fij", np.exp(-1j * OMEGA * delay_s), [[0, 1], [1, 0]])
    both = (
        ends[0]
        ** media.resistor(piece.series_ohm[0])
        ** media.shunt(media.resistor(piece.shunt_ohm) ** media.short())
        ** media.resistor(piece.series_ohm[1])
        ** ends[1]
    )
    for connections in (f"1=reciprocal-{number} 3,3=reciprocal-{number} 1",):
        found = seen(connections)[:, [[0], [2]], [0, 2]]
        np.testing.assert_allclose(found, both.s, atol=1e-12)
    assert np.linalg.norm(found, 2, axis=(1, 2)).max() < 1.0


def test_the_reciprocals_differ_clearly() -> None:
    """4.3, 8.4 and 11.8 dB from the resistors of the bench file. Switch terms need devices that reflect, each
    differently."""
    loss_db = [
        -20 * np.log10(np.abs(seen(f"1=reciprocal-{n} 2,2=reciprocal-{n} 1")[0, 1, 0])) for n in (1, 2, 3)
    ]
    np.testing.assert_allclose(loss_db, [4.3, 8.4, 11.8], atol=0.7)


# -- deviations --------------------------------------------------------------------------------------------


def test_the_real_standards_deviate_as_stated() -> None:
    """400 draws: their standard deviation is known to 3.5 %, their mean to 5 % of it."""
    standards = DEFINITION.standards
    pieces = [true_standards(standards, seed) for seed in range(400)]
    spread = standards.spread
    for name in (
        "open_capacitance_f",
        "short_inductance_h",
        "load_resistance_ohm",
        "load_inductance_h",
        "thru_delay_s",
    ):
        off = np.array([getattr(piece, name) for piece in pieces]) - getattr(standards, name)
        stated = getattr(spread, name)
        assert stated > 0
        assert np.std(off) == pytest.approx(stated, rel=0.15)
        assert abs(np.mean(off)) < 0.2 * stated
    ohm = np.array([[line.impedance_ohm for line in piece.line] for piece in pieces])
    assert np.std(ohm, axis=0) == pytest.approx([spread.line_impedance_ohm] * 2, rel=0.15)
    assert abs(np.corrcoef(ohm.T)[0, 1]) < 0.2  # each line is a piece of its own


def test_the_figures_agree_with_what_kits_are_told() -> None:
    """The figures that the calibration kits of the simulated bench state as uncertainties."""
    spread = DEFINITION.standards.spread
    assert (spread.open_capacitance_f, spread.short_inductance_h) == (2e-15, 3e-12)
    assert (spread.load_resistance_ohm, spread.load_inductance_h) == (0.05, 2e-12)
    assert spread.thru_delay_s == 0.2e-12
    ends = DEFINITION.terminations.spread
    assert (ends.resistance_ohm, ends.capacitance_f) == (0.2, 0.02e-12)


def test_one_piece_serves_all_ports_and_nothing_deviates_without_noise() -> None:
    exact = seen("1=load,2=load,3=open,4=short")
    real = Pieces(DEFINITION, seed=5, as_defined=False)
    found = seen("1=load,2=load,3=open,4=short", pieces=real)
    np.testing.assert_array_equal(found[:, 0, 0], found[:, 1, 1])
    off = np.abs(found - exact)[:, range(4), range(4)].max(axis=0)
    # Of 0.05 ohm and 2 pH, 2 fF, 3 pH at 500 MHz; a draw is below four standard deviations.
    assert np.all(off > 1e-7)
    assert np.all(off < 4 * np.array([6e-4, 6e-4, 6.3e-4, 3.8e-4]))
    np.testing.assert_array_equal(found, seen("1=load,2=load,3=open,4=short", pieces=real))
    load = (51.0 + 30e-12j * OMEGA - 50) / (51.0 + 30e-12j * OMEGA + 50)
    np.testing.assert_allclose(exact[:, 0, 0], load, atol=1e-15)


def test_each_leg_sits_on_a_termination_of_its_own() -> None:
    ends = DEFINITION.terminations
    draws = []
    for seed in range(40):
        gamma = Loads(ends, (), seed).reflection(CONDUCTORS, {}, np.array([2 * np.pi * 500e6]))
        y = (1 - gamma[0]) / (1 + gamma[0]) / 50
        draws.append(np.stack([1 / y.real - 51.0, y.imag / (2 * np.pi * 500e6) - 0.2e-12]))
    off = np.array(draws)
    assert np.std(off[:, 0]) == pytest.approx(0.2, rel=0.1)
    assert np.std(off[:, 1]) == pytest.approx(0.02e-12, rel=0.1)
    assert np.all(np.std(off, axis=2) > [0.05, 0.005e-12])
    flat = Loads(ends, (), None).reflection(CONDUCTORS, {}, OMEGA)
    np.testing.assert_array_equal(flat, np.broadcast_to(flat[:, :1], flat.shape))


# -- terminators -------------------------------------------------------------------------------------------


def test_terminators_against_nodal_analysis() -> None:
    """Admittances of all nodes, the unused ones eliminated; T2 couples the legs of its port (bench file)."""
    found = seen("1=A:12.1,2=B:45.4", terminators={"A:36": "T2", "B:78": "none", "A:12": "T1"})
    s = RandomDevice().scatter(GRID)
    y = (np.eye(16) - s) @ np.linalg.inv(np.eye(16) + s) / 50
    for name in CONDUCTORS:
        place = CONDUCTORS.index(name)
        if name in ("A3", "A6"):
            y[:, place, place] += 1 / 100 + 1 / 200 + 1j * OMEGA * 0.1e-12
        elif name not in ("B7", "B8", "A1", "B4"):
            y[:, place, place] += 1 / 51 + 1j * OMEGA * 0.2e-12
    a3, a6 = CONDUCTORS.index("A3"), CONDUCTORS.index("A6")
    y[:, a3, a6] -= 1 / 200
    y[:, a6, a3] -= 1 / 200
    used = np.array([CONDUCTORS.index("A1"), CONDUCTORS.index("B4")])
    z = np.linalg.inv(y)[:, used[:, None], used]
    expected = (z - 50 * np.eye(2)) @ np.linalg.inv(z + 50 * np.eye(2))
    np.testing.assert_allclose(found[:, :2, :2], expected, atol=1e-10)


@pytest.mark.parametrize(("name", "common_ohm"), [("T1", 25.0), ("T2", 50.0), ("T3", 75.0)])
def test_the_terminators_are_matched_and_differ_in_the_common_mode(name: str, common_ohm: float) -> None:
    """Two resistors to a centre, the centre to ground through 0, 25 or 50 ohm; 0.1 pF at 1 Hz is nothing."""
    block = NOMINAL.loads.reflection(("A3", "A6"), {"A:36": name}, np.array([2 * np.pi]))
    gamma = block[0] if block.ndim == 3 else np.diag(block[0])
    modes = np.array([[1, -1], [1, 1]]) / np.sqrt(2)
    expected = np.diag([0.0, (common_ohm - 25) / (common_ohm + 25)])
    np.testing.assert_allclose(modes @ gamma @ modes.T, expected, atol=1e-9)


def test_terminators_by_command() -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, 5)))
        client.write("BENC:CONN '1=A:12.1,2=A:12.2'")
        take(client)
        usual = matrix(client)
        client.write("BENC:TERM 'B:12=none,A:36=T2'")
        assert client.ask("BENC:TERM?") == '"A:36=T2,B:12=none"'
        take(client)
        other = matrix(client)
        # A cord of 2 m whose far end is open instead of terminated.
        assert np.abs(other - usual)[:, 0, 0].max() > 0.3
        for wrong in ("A:12.1=T1", "A:36=T9", "A:36", "A:36=T1,A:36=T2", "C:12=T1"):
            client.write(f"BENC:TERM '{wrong}'")
            assert client.errors() == [-224]
        assert client.ask("BENC:TERM?") == '"A:36=T2,B:12=none"'
        client.write("BENC:CONN '1=A:12.1,2=A:12.2,3=B:12.1'")  # taken off by whoever attaches a leg
        assert client.ask("BENC:TERM?") == '"A:36=T2"'
        client.write("BENC:TERM ''", "BENC:CONN '1=A:12.1,2=A:12.2'")
        take(client)
        np.testing.assert_array_equal(matrix(client), usual)
        assert client.errors() == []
        client.close()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "T2"', 'name = "T1"', "two of one name"),
        ('name = "T2"', 'name = "none"', "none is what"),
        ("coupling_ohm = 200.0", "coupling_ohm = 0.0", "coupling_ohm"),
        ("resistance_ohm = [50.0, 50.0]", "resistance_ohm = [50.0, -1.0]", "above zero"),
        ("series_ohm = [70.0, 4.0]", "series_ohm = [-70.0, 4.0]", "not negative"),
        ("open_capacitance_f = 2e-15", "open_capacity = 2e-15", "unknown key"),
    ],
)
def test_impossible_pieces_are_refused(old: str, new: str, words: str) -> None:
    text = find_definition("benches", "default").read_text()
    assert old in text
    with pytest.raises(DefinitionError, match=words):
        validate_model(text.replace(old, new), BenchDefinition, where="mine.toml")
