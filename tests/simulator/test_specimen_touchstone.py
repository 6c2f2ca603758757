"""Touchstone files as specimens, against scikit-rf's writer; broken files, each a named error."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import skrf
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.errors import DataFileError, UsageError
from benchsweep.simulator.specimen import load_specimen

UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


def random_network(ports: int, *, points: int = 7, z0: float = 50.0, seed: int = 5) -> skrf.Network:
    rng = np.random.default_rng(seed)
    s = 0.2 * (rng.normal(size=(points, ports, ports)) + 1j * rng.normal(size=(points, ports, ports)))
    frequency = skrf.Frequency.from_f(np.linspace(1e6, 301e6, points), unit="Hz")
    return skrf.Network(frequency=frequency, s=s, z0=z0)


def write_v1(
    path: Path, network: skrf.Network, *, unit: str = "MHz", form: str = "RI", r: float = 50.0
) -> Path:
    """Write version 1 by hand: four numbers pairs to a line, each row of the matrix on a line of its own."""
    lines = ["! made for a test", f"# {unit} S {form} R {r:g}"]
    for f, matrix in zip(network.f, network.s, strict=True):
        for row, values in enumerate(matrix):
            pairs = []
            for value in values:
                one, two = value.real, value.imag
                if form != "RI":
                    one, two = abs(value), np.angle(value, deg=True)
                if form == "DB":
                    one = 20 * np.log10(one)
                pairs.append(f"{one:.17g} {two:.17g}")
            for start in range(0, len(pairs), 4):
                head = f"{f / UNITS[unit]:.15g} " if row == start == 0 else "  "
                lines.append(head + " ".join(pairs[start : start + 4]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("ports", [4, 8, 16])
@pytest.mark.parametrize("form", ["ri", "ma", "db"])
def test_files_of_scikit_rf_come_back(tmp_path: Path, ports: int, form: str) -> None:
    network = random_network(ports)
    network.write_touchstone("part", dir=str(tmp_path), form=form)
    specimen = load_specimen(str(tmp_path / f"part.s{ports}p"), seed=1)
    assert specimen.grid == (1e6, 301e6, 7)
    assert np.max(np.abs(specimen.scatter(network.f) - network.s)) < 1e-9


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("form", ["RI", "MA", "DB"])
def test_units_and_formats(tmp_path: Path, unit: str, form: str) -> None:
    network = random_network(4)
    specimen = load_specimen(str(write_v1(tmp_path / "a.s4p", network, unit=unit, form=form)), seed=1)
    assert specimen.grid == pytest.approx((1e6, 301e6, 7))
    assert np.max(np.abs(specimen.scatter(network.f) - network.s)) < 1e-12


def test_another_reference_is_changed_to_fifty_ohm(tmp_path: Path) -> None:
    network = random_network(8, z0=75.0)
    specimen = load_specimen(str(write_v1(tmp_path / "a.s8p", network, r=75.0)), seed=1)
    network.renormalize(50.0)
    assert np.max(np.abs(specimen.scatter(network.f) - network.s)) < 1e-12


def test_conductors_are_those_of_the_file(tmp_path: Path) -> None:
    named = {ports: write_v1(tmp_path / f"a.s{ports}p", random_network(ports)) for ports in (4, 8, 16)}
    assert load_specimen(str(named[4]), seed=1).conductors == ("A1", "A2", "B1", "B2")
    assert load_specimen(str(named[8]), seed=1).conductors[:5] == ("A1", "A2", "A3", "A6", "B1")
    assert load_specimen(str(named[16]), seed=1).conductors[-1] == "B8"


def test_version_two_with_references_of_each_port(tmp_path: Path) -> None:
    network = random_network(4, points=3)
    body = write_v1(tmp_path / "a.s4p", network).read_text(encoding="utf-8").splitlines()
    references = np.array([40.0, 60.0, 75.0, 50.0])
    text = [
        "[Version] 2.0",
        "# MHz S RI R 50",
        "[Number of Ports] 4",
        "[Number of Frequencies] 3",
        "[Reference] 40 60",
        "75 50",
        "[Matrix Format] Full",
        "[Begin Information]",
        "what people write [here",
        "[End Information]",
        "[Network Data]",
        *body[2:],
        "[End]",
    ]
    path = tmp_path / "b.s4p"
    path.write_text("\n".join(text), encoding="utf-8")
    expected = skrf.Network(frequency=network.frequency, s=network.s, z0=references)
    expected.renormalize(50.0)
    assert np.max(np.abs(load_specimen(str(path), seed=1).scatter(network.f) - expected.s)) < 1e-12


def test_points_of_the_file_are_exact_and_others_follow_a_delayed_resonance(tmp_path: Path) -> None:
    # A 20 ns line turns by 36 degrees from point to point here; a closed form checks what lies between.
    def through(f: np.ndarray) -> np.ndarray:
        return np.exp(-2j * np.pi * f * 20e-9) / (1 + 1j * f / 300e6)

    f = np.linspace(5e6, 500e6, 100)
    s = np.zeros((100, 4, 4), dtype=complex)
    s[:, 2, 0] = s[:, 0, 2] = through(f)
    network = skrf.Network(frequency=skrf.Frequency.from_f(f, unit="Hz"), s=s)
    specimen = load_specimen(str(write_v1(tmp_path / "a.s4p", network)), seed=1)
    assert np.array_equal(specimen.scatter(f + 0.4), specimen.scatter(f))
    between = np.linspace(20e6, 480e6, 777)
    assert np.max(np.abs(specimen.scatter(between)[:, 2, 0] - through(between))) < 1e-6


def test_a_line_of_half_a_microsecond_is_interpolated_from_steps_of_one_megahertz(tmp_path: Path) -> None:
    # 515 ns at 1 MHz: more than half a turn from point to point, so plain unwrapping would take the wrong
    # delay.
    f = np.arange(1e6, 301e6, 1e6)
    s = np.zeros((300, 4, 4), dtype=complex)
    s[:, 2, 0] = s[:, 0, 2] = 0.3 * np.exp(-2j * np.pi * f * 515e-9)
    network = skrf.Network(frequency=skrf.Frequency.from_f(f, unit="Hz"), s=s)
    specimen = load_specimen(str(write_v1(tmp_path / "a.s4p", network)), seed=1)
    at = np.array([10.5e6, 99.25e6])
    expected = 0.3 * np.exp(-2j * np.pi * at * 515e-9)
    assert np.max(np.abs(specimen.scatter(at)[:, 2, 0] - expected)) < 1e-9


def test_a_logarithmic_file_presets_a_linear_grid_and_is_interpolated(tmp_path: Path) -> None:
    f = np.geomspace(1e6, 500e6, 400)
    s = np.zeros((400, 4, 4), dtype=complex)
    s[:, 2, 0] = s[:, 0, 2] = np.exp(-2j * np.pi * f * 10e-9)
    network = skrf.Network(frequency=skrf.Frequency.from_f(f, unit="Hz"), s=s)
    specimen = load_specimen(str(write_v1(tmp_path / "a.s4p", network)), seed=1)
    assert specimen.grid == pytest.approx((1e6, 500e6, 400))
    grid = np.linspace(*specimen.grid)
    assert np.max(np.abs(specimen.scatter(grid)[:, 2, 0] - np.exp(-2j * np.pi * grid * 10e-9))) < 1e-6


def test_outside_the_file_is_an_error(tmp_path: Path) -> None:
    specimen = load_specimen(str(write_v1(tmp_path / "a.s4p", random_network(4))), seed=1)
    with pytest.raises(DataFileError, match=r"302 MHz is outside the file, which holds 1 to 301 MHz"):
        specimen.scatter(np.array([2e6, 302e6]))
    with pytest.raises(UsageError):
        specimen.scatter(np.array([np.nan]))


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (lambda t: t.replace("# MHz S RI R 50", "# MHz Y RI R 50"), "line 2: 'Y' in the option line"),
        (lambda t: t.replace("# MHz S RI R 50", "# MHz S RI R -5"), "line 2: the reference impedance -5"),
        (lambda t: t.replace("# MHz S RI R 50", "# MHz S RI R"), "line 2: 0 reference impedances"),
        (lambda t: t.replace("# MHz S RI R 50\n", ""), "line 2: numbers before the option line"),
        (lambda t: t.replace("51 ", "x51 ", 1), "line 7: 'x51' is not a number"),
        (lambda t: t.replace("51 ", "nan ", 1), "line 7: 'nan' is not a finite number"),
        (lambda t: t.replace("51 ", "1 ", 1), "line 7: frequencies must rise"),
        (lambda t: t.replace("51 ", "1e99 ", 1), r"line 7: a frequency of 1e\+105 Hz"),
        (
            lambda t: re.sub(r"(\n51) \S+", r"\1 1e9", t, count=1),
            r"line 7: the point from here holds 1e\+09, which is no S-parameter",
        ),
        (lambda t: t.replace("51 ", "", 1), "line 11: a point"),
        (lambda t: "\n".join(t.splitlines()[:-1]), "line 29: the point from line 27 has 25 numbers, not 33"),
        (lambda t: "\n".join(t.splitlines()[:2]), "line 2: the file ends without any data"),
        (lambda t: "[Mixed-Mode Order] D1,2\n" + t, r"line 1: the keyword \[MIXED-MODE ORDER\] is not read"),
        (lambda t: "[Number of Ports] 2\n" + t, r"line 1: \[NUMBER OF PORTS\] 2: only 4"),
        (lambda t: "[Number of Frequencies] 9\n" + t, "7 points, but .* says 9"),
    ],
)
def test_a_broken_file_is_an_error_that_names_the_line(tmp_path: Path, edit: object, message: str) -> None:
    path = write_v1(tmp_path / "a.s4p", random_network(4))
    path.write_text(edit(path.read_text(encoding="utf-8")), encoding="utf-8")  # type: ignore[operator]
    with pytest.raises(DataFileError, match=message) as caught:
        load_specimen(str(path), seed=1)
    assert str(path) in caught.value.message
    assert caught.value.hint


def test_a_missing_file_and_a_wrong_number_of_ports(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match=r"none\.s16p: cannot be read"):
        load_specimen(str(tmp_path / "none.s16p"), seed=1)
    with pytest.raises(DataFileError, match="4, 8 or 16 ports, not 2"):
        load_specimen(str(tmp_path / "a.s2p"), seed=1)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damage_never_escapes_as_anything_but_a_data_file_error(tmp_path: Path, data: st.DataObject) -> None:
    form = data.draw(st.sampled_from(["RI", "MA", "DB"]))
    path = write_v1(tmp_path / "a.s4p", random_network(4, points=2), form=form)
    text = path.read_text(encoding="utf-8")
    start = data.draw(st.integers(0, len(text)))
    stop = data.draw(st.integers(start, min(len(text), start + 40)))
    middle = data.draw(
        st.text(max_size=12) | st.sampled_from(["[", "#", "[Reference] ", "\n# Hz\n", "1e999", "!"])
    )
    path.write_text(text[:start] + middle + text[stop:], encoding="utf-8", errors="surrogateescape")
    try:
        specimen = load_specimen(str(path), seed=1)
    except DataFileError:
        return
    assert specimen.grid is not None
    assert np.all(np.isfinite(specimen.scatter(np.array([specimen.grid[0]]))))
