"""The demo, and what else a technician does first; also with an installed package, far from its sources."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import h5py
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


def python_of_the_readme(section: str) -> str:
    """The first Python block after that heading."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    code = re.search(r"```python\n(.*?)```", readme.partition(f"\n{section}\n")[2], re.DOTALL)
    assert code is not None
    return code[1]


def test_the_python_in_the_readme_reads_a_record(demo_folder: tuple[Path, dict[str, Any]]) -> None:
    _, document = demo_folder
    text = python_of_the_readme("## Record layout").replace("record.h5", document["records"][0])
    done = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, timeout=300, check=True
    )
    assert done.stdout == "T118-01 (500, 16, 16) 1 to 500 MHz (500,)\n"


def test_the_python_in_the_readme_hands_a_record_over(demo_folder: tuple[Path, dict[str, Any]]) -> None:
    pytest.importorskip("pandas")
    pytest.importorskip("xarray")
    _, document = demo_folder
    text = python_of_the_readme("### Hand over").replace("archive/RECORD.h5", document["records"][0])
    scope: dict[str, Any] = {}
    exec(text, scope)
    assert scope["traces"].index.size == scope["data"].sizes["frequency_hz"] == 500


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
