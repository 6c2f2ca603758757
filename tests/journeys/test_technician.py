"""What a technician types, through the real entry point and a real link."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import read_record
from tests.conftest import Run


@pytest.fixture
def station(coarse_station: Callable[[int], Path]) -> str:
    """The simulated station with a coarser grid: what is looked for here is in every grid."""
    return str(coarse_station(200))


@contextmanager
def simulate(*arguments: str) -> Iterator[str]:
    """Run `benchsweep simulate` as its own process; give its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "benchsweep", "simulate", *arguments], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        document = json.loads(process.stdout.readline())
        assert document["schema"] == "benchsweep.bench/1"
        yield document["addresses"]["analyzer"]
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=60) == 0
        if process.stdout is not None:
            process.stdout.close()


def test_a_touchstone_file_as_specimen_gives_what_reducing_the_file_gives(run: Run, tmp_path: Path) -> None:
    import skrf

    from benchsweep.simulator.specimen import load_specimen

    grid = np.linspace(5e6, 500e6, 100)
    s = load_specimen("cord-2m", seed=8).scatter(grid)
    file = tmp_path / "measured.s16p"
    skrf.Network(f=grid, f_unit="Hz", s=s, z0=50).write_touchstone(str(file.with_suffix("")), form="ri")
    with simulate("--specimen", str(file), "--noiseless") as address:
        bench = run(
            "qualify", "--station", "simulated", "--address", address, "--specimen", "from file",
            "--against", "tia-6a-cord", "--length-m", 2, "--lot", "26-117", "--json",
        )  # fmt: skip
    shown = run("show", bench.json["record"], "--json").json
    assert shown["lot"] == "26-117"
    (kept,) = shown["gradings"]
    assert (kept["grading"], kept["outcome"]) == (bench.json["grading"], bench.json["outcome"])
    imported = run("import", file, "--specimen", "from file", "--length-m", 2, "--lot", "26-118", "--json")
    assert run("show", imported.json["record"], "--json").json["lot"] == "26-118"
    direct = run("grade", imported.json["record"], "--against", "tia-6a-cord", "--json")
    assert bench.json["rows"]
    for ours, theirs in zip(bench.json["rows"], direct.json["rows"], strict=True):
        assert (ours["parameter"], ours["end"], ours["pairs"]) == (
            theirs["parameter"],
            theirs["end"],
            theirs["pairs"],
        )
        assert ours["worst_margin_db"] == pytest.approx(theirs["worst_margin_db"], abs=1e-6)
    assert bench.json["outcome"] == direct.json["outcome"]


def test_a_killed_run_continues_and_equals_the_uninterrupted_one(
    run: Run, tmp_path: Path, station: str
) -> None:
    arguments = [
        "--station",
        station,
        "--specimen",
        "cord 7",
        "--against",
        "tia-6a-cord",
        "--length-m",
        "2",
    ]
    with simulate("--ports", "4", "--noiseless") as address:
        arguments += ["--address", address]
        whole = run("qualify", *arguments, "--archive", tmp_path / "whole", "--json")
        for attempt in range(5):
            cut = tmp_path / f"cut-{attempt}"
            process = subprocess.Popen(
                [sys.executable, "-m", "benchsweep", "qualify", *arguments, "--archive", str(cut)],
                stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip
            while len(list(cut.glob("unfinished/*/hookup-*.h5"))) < 5 and process.poll() is None:
                time.sleep(0.005)
            process.kill()
            process.wait(timeout=60)
            kept = len(list(cut.glob("unfinished/*/hookup-*.h5")))
            if 5 <= kept < 28 and not list(cut.glob("*.h5")):
                break  # else the kill came too late: this machine had other things to do
        assert 5 <= kept < 28
        resumed = run("qualify", *arguments, "--archive", cut, "--json")
    assert resumed.code == whole.code
    one, two = read_record(Path(whole.json["record"])), read_record(Path(resumed.json["record"]))
    assert np.array_equal(one.corrected.s, two.corrected.s)
    assert len(two.hookups) == 28
    assert resumed.json["rows"] == [dict(row) for row in whole.json["rows"]]
    assert len(list(cut.glob("*.h5"))) == 1


def test_ctrl_c_says_that_the_same_command_continues(tmp_path: Path, station: str) -> None:
    command = [
        sys.executable,
        "-m",
        "benchsweep",
        "qualify",
        "--station",
        station,
        "--specimen",
        "cord 8",
    ]
    with simulate("--ports", "4", "--noiseless") as address:
        base = [*command, "--against", "tia-6a-cord", "--length-m", "2", "--address", address]
        for attempt in range(5):
            archive = tmp_path / f"archive-{attempt}"
            command = [*base, "--archive", str(archive)]
            process = subprocess.Popen(
                command,
                stderr=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                # Whoever runs the tests in the background of a shell has SIGINT ignored.
                preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
            )
            assert process.stderr is not None
            for line in process.stderr:
                if line.startswith("hookup 4 of 28"):
                    break
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=100)
            if process.returncode not in (0, 1):
                break  # else the run had ended before anybody here saw its fourth hookup
        assert process.returncode == 130
        assert "the same command continues" in err
        assert "Traceback" not in err
        assert out == ""
        again = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert again.returncode in (0, 1)
    assert "continuing an interrupted run" in again.stderr
    assert len(list(archive.glob("*.h5"))) == 1
