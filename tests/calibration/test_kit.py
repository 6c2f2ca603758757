from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0

from benchsweep.calibration import Kit, apply, load_kit, needed_standards, solve
from benchsweep.calibration._deviations import deviations
from benchsweep.calibration._standards import ideal_reflections, ideal_thru
from benchsweep.definitions import list_definitions, validate_model
from benchsweep.errors import CalibrationMismatch, DataFileError, DefinitionError, UnknownName

F = np.linspace(1e6, 2e9, 41)
FREQUENCY = skrf.Frequency.from_f(F, unit="hz")
FIFTY = DefinedGammaZ0(FREQUENCY, z0_port=50.0, z0=50.0, gamma=2j * np.pi * F / 3e8)
LOSSY = """
schema = 1
name = "lossy"
source = "test"
standing = "from-memory"
[open]
capacitance_farad = [50e-15, -300e-27, 25e-36, -0.6e-45]
offset = { delay_ps = 30.0, loss_gohm_per_s = 2.5, z0_ohm = 50.5 }
[short]
inductance_henry = [2e-12, -100e-24, 2e-33, -10e-42]
offset = { delay_ps = 32.0, loss_gohm_per_s = 2.5, z0_ohm = 49.5 }
[load]
resistance_ohm = 49.2
inductance_henry = [5e-12]
[thru.offset]
delay_ps = 120.0
loss_gohm_per_s = 3.0
z0_ohm = 51.0
"""


def line(delay_s: float, loss: float, z0: float) -> skrf.Network:
    """A line with skin-effect loss as scikit-rf's media give it, between 50 ohm ports."""
    root = loss * 1e9 * np.sqrt(F / 1e9)
    attenuation = delay_s * root / (2 * z0)
    gamma = attenuation + 1j * (2 * np.pi * F * delay_s + attenuation)
    impedance = z0 + (1 - 1j) * root / (4 * np.pi * F)
    return DefinedGammaZ0(FREQUENCY, z0_port=50.0, z0=impedance, gamma=gamma).line(1.0, "m")


def polynomial(*coefficients: float) -> np.ndarray:
    return sum(c * F**n for n, c in enumerate(coefficients))


def test_standards_with_offsets_and_polynomials_equal_scikit_rf_media() -> None:
    kit = validate_model(LOSSY, Kit, where="test")
    ours = ideal_reflections(kit, F)
    capacitance = polynomial(50e-15, -300e-27, 25e-36, -0.6e-45)
    inductance = polynomial(2e-12, -100e-24, 2e-33, -10e-42)
    expected = {
        "open": line(30e-12, 2.5, 50.5) ** FIFTY.shunt_capacitor(capacitance) ** FIFTY.open(),
        "short": line(32e-12, 2.5, 49.5) ** FIFTY.inductor(inductance) ** FIFTY.short(),
        "load": FIFTY.inductor(5e-12) ** FIFTY.resistor(49.2) ** FIFTY.short(),
    }
    for name, network in expected.items():
        np.testing.assert_allclose(ours[name], network.s[:, 0, 0], atol=1e-9, err_msg=name)
    np.testing.assert_allclose(ideal_thru(kit, F), line(120e-12, 3.0, 51.0).s, atol=1e-9)


def test_shipped_kit_of_the_simulated_bench_has_the_standards_of_that_bench(model) -> None:
    kit = load_kit("simulated-contacts")
    truth = model.standards(F)
    for name, gamma in ideal_reflections(kit, F).items():
        np.testing.assert_allclose(gamma, truth[name], atol=1e-14, err_msg=name)
    np.testing.assert_allclose(ideal_thru(kit, F), truth["thru"], atol=1e-14)


def test_ideal_kit_is_ideal() -> None:
    kit = load_kit("ideal")
    reflections = ideal_reflections(kit, F)
    assert np.all(reflections["open"] == 1.0)
    assert np.all(reflections["short"] == -1.0)
    assert np.all(reflections["load"] == 0.0)
    np.testing.assert_allclose(ideal_thru(kit, F)[:, 1, 0], 1.0, atol=1e-15)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("resistance_ohm = 49.2", "resistance_ohm = -1.0", "load.resistance_ohm"),
        ("resistance_ohm = 49.2", "resistance_ohms = 49.2", "load.resistance_ohm"),
        ("[5e-12]", "[]", "load.inductance_henry"),
        ("[5e-12]", "[nan]", "load.inductance_henry"),
        ("[5e-12]", "[0.0, 0.0, 0.0, 0.0, 1.0]", "load.inductance_henry"),
        ("delay_ps = 120.0", "delay_ps = -1.0", "thru.offset.delay_ps"),
        ('standing = "from-memory"', 'standing = "guessed"', "standing"),
        ("schema = 1", "schema = 2", "schema"),
        ('source = "test"', "", "source"),
    ],
)
def test_a_wrong_kit_file_is_refused_by_file_and_key(tmp_path: Path, old: str, new: str, key: str) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(LOSSY.replace(old, new), encoding="utf-8")
    with pytest.raises(DefinitionError) as caught:
        load_kit(str(path))
    assert "wrong.toml" in caught.value.message
    assert key in caught.value.message
    assert "\n" not in caught.value.message


def test_an_unknown_kit_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(UnknownName, match="simulated-contacts"):
        load_kit("no-such-kit")


def measured_kit(folder: Path, f: np.ndarray, reference: float = 50.0) -> Path:
    """A kit whose load and thru are files, written by scikit-rf."""
    frequency = skrf.Frequency.from_f(f, unit="hz")
    load = 0.02 * np.exp(2j * np.pi * f * 1e-10)
    thru = np.zeros((f.size, 2, 2), dtype=complex)
    thru[:, 0, 0], thru[:, 1, 1] = 0.01, -0.02j
    thru[:, 0, 1] = thru[:, 1, 0] = 0.99 * np.exp(-2j * np.pi * f * 50e-12)
    for name, s in (("load", load), ("thru", thru)):
        network = skrf.Network(frequency=frequency, s=s, z0=reference)
        network.write_touchstone(name, dir=str(folder), form="ri", r_ref=reference)
    text = """
schema = 1
name = "measured"
source = "test"
standing = "from-memory"
[open]
[short]
[load]
touchstone = "load.s1p"
same_piece = false
uncertainty = { real = { constant = 1e-3, per_ghz = 2e-3 } }
[thru]
touchstone = "thru.s2p"
"""
    path = folder / "measured.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_standards_from_files_are_taken_at_their_points_and_never_interpolated(tmp_path: Path) -> None:
    f = np.linspace(1e6, 500e6, 500)
    kit = load_kit(str(measured_kit(tmp_path, f)))
    some = f[[0, 3, 499]] * (1.0 + 2e-10)  # text loses digits
    np.testing.assert_allclose(
        ideal_reflections(kit, some, ("load",))["load"], 0.02 * np.exp(2j * np.pi * some * 1e-10), atol=1e-9
    )
    thru = ideal_thru(kit, some)
    np.testing.assert_allclose(thru[:, 1, 1], -0.02j, atol=1e-12)
    np.testing.assert_allclose(thru[:, 1, 0], 0.99 * np.exp(-2j * np.pi * some * 50e-12), atol=1e-9)
    other = np.array([1e6, 2.5e6, 3e6])
    with pytest.raises(CalibrationMismatch) as caught:
        ideal_reflections(kit, other, ("load",))
    assert "load.s1p has 500 points from 1 to 500 MHz, swept were 3 points from 1 to 3 MHz" in str(
        caught.value
    )
    assert "1 of them are not in the file, the first at 2.5 MHz" in str(caught.value)
    with pytest.raises(CalibrationMismatch, match="the first at 501 MHz"):
        ideal_thru(kit, np.array([500e6, 501e6]))


def test_other_data_make_another_kit(tmp_path: Path) -> None:
    """A job that is resumed compares the kit as text."""
    f = np.linspace(1e6, 500e6, 5)
    first = load_kit(str(measured_kit(tmp_path, f))).model_dump_json()
    again = load_kit(str(measured_kit(tmp_path, f))).model_dump_json()
    text = (tmp_path / "load.s1p").read_text(encoding="utf-8")
    (tmp_path / "load.s1p").write_text(text.replace("0.0199", "0.0198", 1), encoding="utf-8")
    changed = load_kit(str(tmp_path / "measured.toml")).model_dump_json()
    assert first == again
    assert first != changed


def test_a_calibration_with_files_brings_a_specimen_back(tmp_path: Path, model: Any) -> None:
    f = np.linspace(1e6, 500e6, 7)
    kit = load_kit(str(measured_kit(tmp_path, f)))
    bench = model.Bench.random(3, 7, seed=5)
    known = model.standards(f, ideal=True)
    known["load"] = ideal_reflections(kit, f, ("load",))["load"]
    known["thru"] = ideal_thru(kit, f)
    pairs = {(1, 2): ("thru",), (1, 3): ("thru",)}
    hookups = model.hookups_of(bench, known, ("open", "short", "load"), pairs, ratios=False)
    calibration = solve(kit, hookups, settings=model.settings, **model.meta)
    truth = model.random_specimen(7, 3, seed=2)
    np.testing.assert_allclose(apply(calibration.terms, bench.sweep(truth, (1, 2, 3))), truth, atol=1e-9)
    (term,) = [term for term in calibration.standard_terms if np.any(term.real) or np.any(term.imaginary)]
    assert (term.standard, term.quantity, term.same_piece) == ("load", "reflection", False)
    np.testing.assert_allclose(term.real, 1e-3 + 2e-3 * f / 1e9, rtol=1e-12)
    np.testing.assert_array_equal(term.imaginary, 0.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"load.s1p"', '"missing.s1p"', r"load\.touchstone: .*missing\.s1p cannot be read"),
        ('"load.s1p"', '"thru.s2p"', r"load\.touchstone: .*thru\.s2p has 2 ports, the standard 1"),
        ('"thru.s2p"', '"load.s1p"', r"thru\.touchstone: .*load\.s1p has 1 ports, the standard 2"),
        ('"load.s1p"', '"measured.toml"', r"load\.touchstone: .*measured\.toml cannot be read"),
    ],
)
def test_a_file_that_is_no_standard_is_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = measured_kit(tmp_path, np.linspace(1e6, 5e6, 5))
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DataFileError, match=words) as caught:
        load_kit(str(path))
    assert caught.value.hint


def test_files_with_wrong_numbers_are_refused(tmp_path: Path) -> None:
    f = np.linspace(1e6, 5e6, 5)
    with pytest.raises(DataFileError, match="is referred to 75 ohm, standards are referred to 50 ohm"):
        load_kit(str(measured_kit(tmp_path, f, reference=75.0)))
    path = measured_kit(tmp_path, f)
    (tmp_path / "load.s1p").write_text("# MHz S RI R 50\n1 1.2 0\n2 0 0\n", encoding="utf-8")
    with pytest.raises(DataFileError, match="gives back more power than goes in"):
        load_kit(str(path))
    (tmp_path / "load.s1p").write_text("# MHz S RI R 50\n1 nan 0\n2 0 0\n", encoding="utf-8")
    with pytest.raises(DataFileError, match=r"no numbers|cannot be read"):
        load_kit(str(path))
    (tmp_path / "load.s1p").write_text("# MHz S RI R 50\n1 0 0\n", encoding="utf-8")
    with pytest.raises(DataFileError, match="fewer than two frequencies"):
        load_kit(str(path))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "[5e-12]",
            '[5e-12]\ntouchstone = "x.s1p"',
            "touchstone: the file takes the place of inductance_henry",
        ),
        ("resistance_ohm = 49.2", "", "resistance_ohm: this key is missing"),
        ("[thru.offset]", "[line.0]\n[thru.offset]", "line.0"),
        ("[thru.offset]", "[line.one]\n[thru.offset]", "line.one"),
        ("[thru.offset]", '[reflect]\nnear = "load"\n[thru.offset]', "reflect.near"),
        (
            "[thru.offset]",
            "[open.uncertainty]\nresistance_ohm = 1.0\n[thru.offset]",
            "open.uncertainty.resistance",
        ),
        ("[thru.offset]", "[thru.uncertainty]\ndelay_ps = -1.0\n[thru.offset]", "thru.uncertainty.delay_ps"),
        (
            "[thru.offset]",
            "[load.uncertainty.real]\nper_mhz = 1.0\n[thru.offset]",
            "load.uncertainty.real.per_mhz",
        ),
        ("schema = 1", 'schema = 1\nmethod = "solt"', "method"),
        (
            "schema = 1",
            'schema = 1\nmethod = "multiline"',
            "multiline needs line-1, which the kit does not have",
        ),
        ("[thru.offset]", "[exchange]\ndelay_ps = 1.0\n[thru.offset]", "exchange.delay_ps: unknown key"),
    ],
)
def test_a_wrong_key_of_the_new_tables_is_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(LOSSY.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DefinitionError) as caught:
        load_kit(str(path))
    assert words in caught.value.message
    assert "wrong.toml" in caught.value.message


@pytest.mark.parametrize("name", list_definitions("kits"))
def test_shipped_kits_are_sound(name: str) -> None:
    kit = load_kit(name)
    assert kit.name == name
    assert needed_standards(kit).one_port


def test_uncertainties_of_the_simulated_kits_are_those_of_the_bench(model: Any) -> None:
    """One standard deviation of each, moved by hand through the formulas of conftest."""
    f = np.linspace(1e6, 500e6, 5)
    w = 2j * np.pi * f

    def gamma(z: np.ndarray) -> np.ndarray:
        return (z - 50.0) / (z + 50.0)

    kit = load_kit("simulated-contacts")
    expected = {
        "open": [(gamma(1 / (w * 32e-15)) - gamma(1 / (w * 28e-15))) / 2],
        "short": [(gamma(w * 53e-12) - gamma(w * 47e-12)) / 2],
        "load": [
            (gamma(51.0 + w * 32e-12) - gamma(51.0 + w * 28e-12)) / 2,
            (gamma(51.05 + w * 30e-12) - gamma(50.95 + w * 30e-12)) / 2,
        ],
    }
    for name, changes in expected.items():
        found = deviations(getattr(kit, name), "reflection", f)
        np.testing.assert_allclose(found, changes, atol=1e-13, err_msg=name)
    (delay,) = deviations(kit.thru, "transmission", f)
    np.testing.assert_allclose(delay, -w * 0.2e-12 * np.exp(-w * 30e-12), rtol=1e-6)
    assert deviations(kit.thru, "reflection", f) == []
