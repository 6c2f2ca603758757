"""``benchsweep simulate-tester``: a file that is read back, of every shape; what cannot be is code 2."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchsweep.cli._simulate_tester import Shape
from benchsweep.simulator.specimen import load_specimen
from benchsweep.simulator.tester import SHAPES
from benchsweep.testers import load_mapping, mappings, read_results
from tests.conftest import Answer

Run = Callable[..., Answer]
CORD = ("--specimen", "cord-2m", "--against", "tia-6-cord", "--length-m", "2", "--points", "20")


def test_shapes_files_and_mappings_have_the_same_names() -> None:
    assert {shape.value for shape in Shape} == set(SHAPES)
    assert set(SHAPES) <= set(mappings())


@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_every_shape_is_read_back(run: Run, tmp_path: Path, shape: str) -> None:
    path = tmp_path / "told.csv"
    answer = run("simulate-tester", *CORD, "--shape", shape, "--tester", 'FT "3", new', "-o", path, "--json")
    assert answer.code == 0
    document = answer.json
    assert document["schema"] == "benchsweep.simulated-tester/1"
    assert (document["file"], document["shape"], document["faults"]) == (str(path), shape, {})
    found = read_results(path, load_mapping(shape))
    assert (found.tester, found.channel) == ('FT "3", new', "cord-2m")
    assert document["at"][:16] == found.at[:16]
    told = {str(each.parameter) for each in (*found.traces, *found.points)}
    assert {"return_loss", "next"} <= told
    assert bool(found.points) == (shape == "worst-margins")
    for trace in found.traces:
        assert trace.frequency_hz[0] >= 1e6
        assert trace.frequency_hz[-1] == 250e6


def test_day_fault_and_mating_come_through(run: Run, tmp_path: Path) -> None:
    def told(*more: str) -> np.ndarray:
        path = tmp_path / f"{len(list(tmp_path.iterdir()))}.csv"
        assert run("simulate-tester", *CORD, *more, "-o", path).code == 0
        return np.concatenate(
            [
                trace.value
                for trace in read_results(path, load_mapping("wide-values")).traces
                if str(trace.parameter) == "insertion_loss"
            ]
        )

    plain = told()
    # Both are rounded to 0.01 dB in the file.
    np.testing.assert_allclose(told("--fault", "offset=-0.5") - plain, -0.5, atol=0.0101)
    old, drifted = told("--day", "50"), told("--day", "50", "--fault", "drift=4", "--fault", "offset=1")
    np.testing.assert_allclose(drifted - old, 2.0 + 1.0, atol=0.0101)
    assert (told("--seed", "2") != plain).any()


def test_a_file_of_a_band_that_ends_with_the_sweep_is_measured(run: Run, tmp_path: Path) -> None:
    frequency = np.linspace(1e6, 250e6, 84)
    matrix = load_specimen("cord-2m", seed=1).scatter(frequency)
    rows = ["# Hz S RI R 50"]
    for hertz, at in zip(frequency, matrix, strict=True):
        numbers = " ".join(f"{part:.9e}" for value in at.ravel() for part in (value.real, value.imag))
        rows.append(f"{hertz:.0f} {numbers}")
    file = tmp_path / "cord.s16p"
    file.write_text("\n".join(rows) + "\n")
    path = tmp_path / "told.csv"
    answer = run("simulate-tester", *CORD[2:], "--specimen", file, "-o", path)
    assert (answer.code, answer.err) == (0, "")
    own = tmp_path / "own.csv"
    assert run("simulate-tester", *CORD, "-o", own).code == 0
    first, second = (read_results(each, load_mapping("wide-values")) for each in (path, own))
    for one, other in zip(first.traces, second.traces, strict=True):
        if str(one.parameter) in ("insertion_loss", "delay"):
            # Between the points of the file its matrix is interpolated.
            np.testing.assert_allclose(one.value, other.value, atol=0.05)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--fault", "crooked"), "crooked"),
        (("--fault", "offset=much"), "'much' is no number"),
        (("--fault", "offset=nan"), "cannot be of nan dB"),
        (("--fault", "tilt=1e9"), "cannot be of 1e+09 dB"),
        (("--fault", "swapped-ends=2"), "has no size"),
        (("--day", "nan"), "nan is no day"),
        (("--day", "1e12"), "is no day"),
        (("--against", "tia-6*"), "stands for"),
        (("--against", "of-my-own"), "of-my-own"),
        (("--specimen", "cord-9m"), "cord-9m"),
        (("--tester", "FT\udcff"), "cannot be written"),
        (("--shape", "round"), "round"),
        (("--points", "1"), "--points"),
    ],
)
def test_what_cannot_be_is_code_2_and_leaves_no_file(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    path = tmp_path / "told.csv"
    answer = run("simulate-tester", *CORD, *arguments, "-o", path)
    assert (answer.code, answer.out) == (2, "")
    assert words in " ".join(answer.err.split())
    assert "Traceback" not in answer.err
    assert not path.exists()


def test_a_file_that_is_there_is_kept(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "told.csv"
    path.write_text("mine")
    answer = run("simulate-tester", *CORD, "-o", path)
    assert answer.code == 2
    assert "is there already" in answer.err
    assert path.read_text() == "mine"


def test_when_it_measured_is_told(run: Run, tmp_path: Path) -> None:
    asked = ("simulate-tester", *CORD, "--day", "90", "--json", "-o")
    found = run(*asked, tmp_path / "a.csv", "--adjusted", "2026-01-05")
    assert found.json["at"] == "2026-04-05T00:00:00+00:00"
    assert "2026-04-05" in (tmp_path / "a.csv").read_text()
    now = datetime.fromisoformat(run(*asked, tmp_path / "b.csv").json["at"])
    assert abs(datetime.now(UTC) - now) < timedelta(minutes=10)
    for wrong in ("yesterday", "9999-12-31"):
        assert run(*asked, tmp_path / "c.csv", "--adjusted", wrong).code == 2
