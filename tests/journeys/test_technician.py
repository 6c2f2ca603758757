"""What a technician types, through the real entry point and a real link."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from benchsweep.archive import read_record, write_record
from benchsweep.simulator import BenchOptions, running_bench
from tests.conftest import Run


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "-m", "benchsweep", "demo", "--output", str(folder), "--json"],
        capture_output=True,
        text=True,
        timeout=500,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    return folder, json.loads(done.stdout)


def test_the_demo_passes_the_good_cord_and_fails_the_other_at_the_right_place(
    demo_folder: tuple[Path, dict[str, Any]],
) -> None:
    _, document = demo_folder
    good, bad = document["verdicts"]
    assert good["outcome"] == "pass"
    assert good["wiring"]["right"]
    assert bad["outcome"] == "fail"
    assert bad["wiring"]["right"]
    failed = [row for row in bad["rows"] if row["outcome"] == "fail"]
    worst = min(failed, key=lambda row: row["worst_margin_db"])
    assert (worst["parameter"], worst["end"], worst["pairs"]) == ("next", "B", ["36", "45"])
    assert {tuple(row["pairs"]) for row in failed} == {("36", "45")}


def test_the_demo_leaves_records_that_h5py_alone_can_read_and_one_page(
    demo_folder: tuple[Path, dict[str, Any]],
) -> None:
    folder, document = demo_folder
    for name in document["records"]:
        with h5py.File(name) as file:
            assert file["corrected/s"].shape == (500, 16, 16)
    page = Path(document["report"]).read_text(encoding="utf-8")
    assert not re.search(r'(?:src|href)="(?!#|data:)', page)
    assert "T118-02" in page
    assert not list(folder.rglob("unfinished/*"))


def test_the_python_in_the_readme_reads_a_record(demo_folder: tuple[Path, dict[str, Any]]) -> None:
    _, document = demo_folder
    readme = Path(__file__).parents[2] / "README.md"
    code = re.search(r"```python\n(.*?)```", readme.read_text(encoding="utf-8"), re.DOTALL)
    assert code is not None
    text = code[1].replace("record.h5", document["records"][0])
    done = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, timeout=300, check=True
    )
    assert done.stdout == "T118-01 (500, 16, 16) 1 to 500 MHz (500,)\n"


def test_grade_show_and_report_read_the_record_again(
    demo_folder: tuple[Path, dict[str, Any]], run: Run, tmp_path: Path
) -> None:
    _, document = demo_folder
    good, bad = document["records"]
    again = run("grade", bad, "--against", "tia-6a-cord", "--json")
    assert again.code == 1
    assert again.json["rows"] == document["verdicts"][1]["rows"]
    several = run("grade", good, "--against", "tia-6a-cord", "--against", "tia-5e-cord", "--json")
    assert [item["requirement"] for item in several.json] == ["tia-6a-cord", "tia-5e-cord"]
    assert run("show", good, "--json").json["specimen"] == "T118-01"
    text = run("show", good)
    assert text.code == 0
    assert max(map(len, text.out.splitlines())) <= 100
    page = tmp_path / "r.html"
    assert run("report", good, bad, "--against", "tia-6a-cord", "-o", page).code == 0
    assert page.stat().st_size < 4_000_000


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

    grid = np.linspace(2e6, 500e6, 250)
    s = load_specimen("cord-2m", seed=8).scatter(grid)
    file = tmp_path / "measured.s16p"
    skrf.Network(f=grid, f_unit="Hz", s=s, z0=50).write_touchstone(str(file.with_suffix("")), form="ri")
    with simulate("--specimen", str(file), "--noiseless") as address:
        bench = run(
            "qualify", "--station", "simulated", "--address", address, "--specimen", "from file",
            "--against", "tia-6a-cord", "--length-m", 2, "--json",
        )  # fmt: skip
    imported = run("import", file, "--specimen", "from file", "--length-m", 2, "--json")
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


def test_a_killed_run_continues_and_equals_the_uninterrupted_one(run: Run, tmp_path: Path) -> None:
    arguments = [
        "--station",
        "simulated",
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


def test_ctrl_c_says_that_the_same_command_continues(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "benchsweep",
        "qualify",
        "--station",
        "simulated",
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


def test_identify_and_plan_answer_as_documented(run: Run) -> None:
    with running_bench(BenchOptions(ports=8)) as served:
        identity = run("identify", served.address, "--json")
        plan = run(
            "plan",
            "--station",
            "simulated",
            "--address",
            served.address,
            "--against",
            "tia-6a-cord",
            "--json",
        )
    assert identity.code == 0
    assert identity.json["schema"] == "benchsweep.identity/1"
    assert (identity.json["family"], identity.json["ports"]) == ("named-measurement", 8)
    assert identity.json["evidence"]
    assert all(set(item) == {"probe", "answer"} for item in identity.json["evidence"])
    assert plan.json["schema"] == "benchsweep.plan/1"
    assert len(plan.json["hookups"]) == 6
    assert plan.json["hookups"][0]["connections"]["1"] == "A:12.1"


def test_a_damaged_record_is_refused_with_code_6(
    demo_folder: tuple[Path, dict[str, Any]], run: Run, tmp_path: Path
) -> None:
    _, document = demo_folder
    copy = write_record(read_record(Path(document["records"][0])), tmp_path)
    data = bytearray(copy.read_bytes())
    data[len(data) // 2] ^= 1
    copy.write_bytes(data)
    answer = run("grade", copy, "--against", "tia-6a-cord")
    assert answer.code == 6
    assert str(copy) in answer.err
    assert answer.out == ""
