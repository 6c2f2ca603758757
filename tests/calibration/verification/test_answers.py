"""Artefacts: their S-parameters against closed forms and against scikit-rf's own circuit solution."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.circuit import Circuit
from skrf.media import DefinedGammaZ0

from benchsweep.calibration.verification import Answer, answer, load_artefact
from benchsweep.definitions import list_definitions
from benchsweep.errors import DataFileError, DefinitionError, UnknownName
from benchsweep.mixedmode import to_mixed_mode

F = np.linspace(1e6, 500e6, 11)


def modes(name: str) -> Answer:
    artefact, path = load_artefact(name)
    return answer(artefact, F, where=path).mapped(to_mixed_mode)


def db(result: Answer, out: str, into: str) -> np.ndarray:
    return 20.0 * np.log10(np.abs(result.nominal.at(out=out, into=into)) + 1e-30)


# Circuit theory; the figures to four decimals are those of the pi attenuator and the loads computed by hand.
def test_the_pad_loses_20_db_and_converts_nothing() -> None:
    pad = modes("pad")
    np.testing.assert_allclose(db(pad, "B:12/d", "A:12/d"), -20.0, atol=1e-9)
    assert db(pad, "A:12/d", "A:12/d").max() < -290.0
    np.testing.assert_allclose(db(pad, "B:12/c", "A:12/c"), -10.8191, atol=5e-5)
    np.testing.assert_allclose(db(pad, "A:12/c", "A:12/c"), -2.9476, atol=5e-5)
    for end in "AB":
        assert db(pad, f"{end}:12/c", "A:12/d").max() < -290.0


def test_a_floating_resistor_is_matched_differentially_and_open_in_common() -> None:
    floating = modes("floating")
    assert np.abs(floating.nominal.at(out="A:12/d", into="A:12/d")).max() < 1e-12
    np.testing.assert_allclose(floating.nominal.at(out="A:12/c", into="A:12/c"), 1.0, atol=1e-12)


def test_the_imbalance_converts_half_of_it() -> None:
    # 50 (1 - d) and 50 (1 + d): Scd11 = d/2 to first order; -46.02 dB for one per cent.
    imbalance = modes("imbalance")
    assert db(imbalance, "A:12/c", "A:12/d") == pytest.approx(-46.02, abs=5e-3)
    exact = [(r - 50.0) / (r + 50.0) for r in (49.5, 50.5)]
    expected = (exact[0] - exact[1]) / 2.0
    np.testing.assert_allclose(imbalance.nominal.at(out="A:12/c", into="A:12/d"), expected, atol=1e-14)


def test_the_crosstalk_resistor_gives_60_db_to_both_modes() -> None:
    crosstalk = modes("crosstalk")
    closed = 12.5 / 12500.0 / (1.0 + 50.0 / 12500.0)
    for mode in "dc":
        got = np.abs(crosstalk.nominal.at(out=f"A:12/{mode}", into="A:36/d"))
        np.testing.assert_allclose(got, closed, rtol=1e-9)
    assert db(crosstalk, "A:12/d", "A:36/d") == pytest.approx(-60.035, abs=5e-4)


@pytest.mark.parametrize(("name", "sign"), [("mismatch-75", -1.0), ("mismatch-133", 1.0)])
def test_mismatches_reflect_a_seventh(name: str, sign: float) -> None:
    for mode in "dc":
        got = modes(name).nominal.at(out=f"A:12/{mode}", into=f"A:12/{mode}")
        np.testing.assert_allclose(got, sign / 7.0, atol=1e-12)


def test_lines_reflect_what_scikit_rf_says() -> None:
    frequency = skrf.Frequency.from_f(F, unit="hz")
    gamma = 2j * np.pi * F * 3.5e-9
    line = DefinedGammaZ0(frequency, z0_port=50.0, z0=50.0, gamma=gamma)
    for name, end in (("line-load", 0.0), ("line-short", -1.0)):
        artefact, _ = load_artefact(name)
        expected = (line.line(1.0, "m") ** line.load(end)).s[:, 0, 0]
        np.testing.assert_allclose(answer(artefact, F).nominal.s[:, 0, 0], expected, atol=1e-12)


def test_a_lossy_line_of_another_impedance_reflects_what_scikit_rf_says(tmp_path: Path) -> None:
    artefact, path = load_artefact("line-short")
    text = path.read_text(encoding="utf-8").replace("z0_ohm = 50.0", "z0_ohm = 53.0")
    text = text.replace("end_ohm = 0.0", "loss_db_at_100_mhz = 0.4\nend_ohm = 20.0")
    (tmp_path / "other.toml").write_text(text, encoding="utf-8")
    artefact, _ = load_artefact(str(tmp_path / "other.toml"))
    loss = 0.4 * np.sqrt(F / 1e8) / (20.0 / np.log(10.0))
    frequency = skrf.Frequency.from_f(F, unit="hz")
    media = DefinedGammaZ0(frequency, z0_port=50.0, z0=53.0, gamma=loss + 2j * np.pi * F * 3.5e-9)
    fifty = DefinedGammaZ0(frequency, z0_port=50.0, z0=50.0, gamma=gamma_of_nothing())
    expected = (media.line(1.0, "m") ** fifty.load((20.0 - 50.0) / (20.0 + 50.0))).s[:, 0, 0]
    np.testing.assert_allclose(answer(artefact, F).nominal.s[:, 1, 1], expected, atol=1e-10)


def gamma_of_nothing() -> np.ndarray:
    return np.zeros(F.size, dtype=complex)


def test_any_network_is_what_scikit_rf_s_circuit_makes_of_it(tmp_path: Path) -> None:
    """With an inner node and stray capacitance, against skrf.Circuit."""
    text = """
schema = 1
name = "star"
kind = "resistors"
source = "test"
standing = "common-practice"
legs = ["A:12.1", "A:12.2"]
stray = { capacitance_pf = 3.0 }
resistor = [
  { between = ["A:12.1", "centre"], ohm = 30.0 },
  { between = ["A:12.2", "centre"], ohm = 45.0 },
  { between = ["centre", "ground"], ohm = 20.0 },
]
"""
    path = tmp_path / "star.toml"
    path.write_text(text, encoding="utf-8")
    artefact, _ = load_artefact(str(path))
    frequency = skrf.Frequency.from_f(F, unit="hz")
    media = DefinedGammaZ0(frequency, z0_port=50.0, z0=50.0)
    ports = [Circuit.Port(frequency, f"port{n}", z0=50.0) for n in (1, 2)]
    arms = [media.resistor(ohm, name=f"r{ohm:.0f}") for ohm in (30.0, 45.0)]
    down = media.resistor(20.0, name="down")
    caps = [media.capacitor(3e-12, name=f"c{n}") for n in (1, 2)]
    grounds = [Circuit.Ground(frequency, f"ground{n}") for n in (1, 2, 3)]
    circuit = Circuit(
        [
            [(ports[0], 0), (arms[0], 0), (caps[0], 0)],
            [(ports[1], 0), (arms[1], 0), (caps[1], 0)],
            [(arms[0], 1), (arms[1], 1), (down, 0)],
            [(down, 1), (grounds[0], 0)],
            [(caps[0], 1), (grounds[1], 0)],
            [(caps[1], 1), (grounds[2], 0)],
        ]
    )
    np.testing.assert_allclose(answer(artefact, F).nominal.s, circuit.network.s, atol=1e-9)


def test_the_uncertainty_is_that_of_drawn_components() -> None:
    """Monte Carlo after JCGM 101: the resistors drawn anew, the conversion of the pad as a vector."""
    artefact, _ = load_artefact("pad")
    grid = np.array([1e6])
    rng = np.random.default_rng(5)
    drawn = []
    for _ in range(4000):
        parts = tuple(
            part.model_copy(update={"ohm": part.ohm * (1.0 + 6e-4 * rng.standard_normal())})
            for part in artefact.resistor
        )
        one = answer(artefact.model_copy(update={"resistor": parts}), grid).nominal
        drawn.append(to_mixed_mode(one).at(out="B:12/c", into="A:12/d")[0])
    stated = modes("pad")
    row, column = stated.nominal.ports.index("B:12/c"), stated.nominal.ports.index("A:12/d")
    # 4000 draws know a standard deviation to 1.1 % (one sigma); stray capacitance does nothing at 1 MHz.
    assert 2.0 * np.std(drawn) == pytest.approx(stated.expanded()[0, row, column], rel=0.05)


def test_every_shipped_artefact_can_be_computed_and_is_passive() -> None:
    names = list_definitions("checks")
    assert len(names) >= 8
    for name in names:
        artefact, path = load_artefact(name)
        s = answer(artefact, F, where=path).nominal.s
        assert np.linalg.norm(s, ord=2, axis=(1, 2)).max() < 1.0 + 1e-12, name
        np.testing.assert_allclose(s, s.swapaxes(1, 2), atol=1e-15, err_msg=name)


MEASURED = """
schema = 1
name = "cord"
kind = "touchstone"
source = "test"
standing = "common-practice"
legs = ["A:12.1", "A:12.2"]
measured = { file = "cord.s2p", reflection_uncertainty_db = -50.0, transmission_uncertainty_db = -60.0 }
"""


def test_a_measured_artefact_is_read_beside_its_definition_and_not_interpolated(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    s = 0.3 * (rng.standard_normal((21, 2, 2)) + 1j * rng.standard_normal((21, 2, 2)))
    fine = np.linspace(1e6, 500e6, 21)
    skrf.Network(f=fine, f_unit="hz", s=s, z0=50.0).write_touchstone("cord", dir=str(tmp_path))
    path = tmp_path / "cord.toml"
    path.write_text(MEASURED, encoding="utf-8")
    artefact, where = load_artefact(str(path))
    found = answer(artefact, fine[::2], where=where)
    np.testing.assert_allclose(found.nominal.s, s[::2], atol=1e-9)
    np.testing.assert_allclose(found.expanded()[:, 0, 0], 2.0 * 10 ** (-50 / 20))
    np.testing.assert_allclose(found.expanded()[:, 0, 1], 2.0 * 10 ** (-60 / 20))
    with pytest.raises(DataFileError, match="lacks 10 of 20"):
        answer(artefact, (fine[:-1] + np.where(np.arange(20) % 2, 1e5, 0.0)), where=where)
    (tmp_path / "cord.s2p").write_text("nothing of the kind", encoding="utf-8")
    with pytest.raises(DataFileError, match=r"cord\.s2p"):
        answer(artefact, fine, where=where)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("ohm = 247.5", "ohm = -1.0", "resistor[2].ohm"),
        ("ohm = 247.5", "ohm = 247.5\nhenry = 1.0", "resistor[2].henry: unknown key"),
        ('kind = "resistors"', 'kind = "line"', "needs [[line]]"),
        ('["B:12.1", "B:12.2"]\nohm', '["B:12.1", "B:36.3"]\nohm', "B:36.3 is not among its legs"),
        ('["B:12.1", "B:12.2"]\nohm', '["B:12.1", "middle"]\nohm', "node middle leads nowhere"),
        ('["A:12.1", "A:12.2"]\nohm', '["A:12.1", "A:12.1"]\nohm', "both ends are on A:12.1"),
        ('legs = ["A:12.1", ', "legs = [", "leg A:12.1 is missing"),
        ('[["A:12/d", ', '[["A:45/d", ', "A:45/d is no mode of it"),
    ],
)
def test_a_wrong_file_is_refused_by_file_and_key(tmp_path: Path, old: str, new: str, words: str) -> None:
    text = list_definitions("checks")["pad"].read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "wrong.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DefinitionError) as caught:
        load_artefact(str(path))
    assert words in caught.value.message
    assert "wrong.toml" in caught.value.message


def test_an_unknown_artefact_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(UnknownName, match="crosstalk"):
        load_artefact("no-such-artefact")
