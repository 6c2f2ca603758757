from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0

from benchsweep.calibration import Kit, load_kit
from benchsweep.calibration._standards import ideal_reflections, ideal_thru
from benchsweep.definitions import validate_model
from benchsweep.errors import DefinitionError, UnknownName

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
