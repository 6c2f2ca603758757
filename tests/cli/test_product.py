"""Of what product a specimen is: told, corrected, found, shown, reported."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep.simulator.specimen import load_specimen

Run = Callable[..., Any]
WHY = ("--by", "R. Lind", "--reason", "label read wrong")


@pytest.fixture
def touchstone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    grid = np.linspace(1e6, 100e6, 12)
    s = load_specimen("cord-2m", seed=1).scatter(grid)
    lines = ["# Hz S RI R 50"]
    for f, matrix in zip(grid, s, strict=True):
        cells = [f"{v.real:.17g} {v.imag:.17g}" for v in matrix.ravel()]
        rows = [" ".join(cells[k : k + 4]) for k in range(0, 256, 4)]
        lines += [f"{f:.17g} {rows[0]}", *rows[1:]]
    path = tmp_path / "cord.s16p"
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return path


def test_a_product_is_told_corrected_found_and_reported(touchstone: Path, run: Run) -> None:
    imported = run(
        "import", touchstone, "--specimen", "T1", "--length-m", "2", "--product", "TM 5e U/UTP", "--json"
    )
    assert imported.code == 0, imported.err
    record = imported.json["record"]
    assert run("show", record, "--json").json["product"] == "TM 5e U/UTP"
    assert run("archive", "correct", record, *WHY, "--product", "TM 6 U/UTP").code == 0
    assert run("show", record, "--json").json["product"] == "TM 6 U/UTP"
    shown = " ".join(run("show", record).out.split())
    assert "product TM 6 U/UTP" in shown
    assert "product 'TM 6 U/UTP' instead of 'TM 5e U/UTP'" in shown
    assert [
        one["product"] for one in run("archive", "find", "--product", "TM 6*", "--json").json["found"]
    ] == ["TM 6 U/UTP"]
    assert run("archive", "find", "--product", "TM 5e*", "--json").json["found"] == []
    assert run("archive", "find", "--product", "", "--json").json["found"] == []
    again = run("archive", "correct", record, *WHY, "--product", "TM 6 U/UTP")
    assert again.code == 2, "it changes nothing"
    assert run("report", record, "--against", "tia-5e-cord", "-o", "r.html", "-q").code == 0
    assert "TM 6 U/UTP" in Path("r.html").read_text(encoding="utf-8")
    assert run("archive", "check", "--json").json["damaged"] == []


def test_a_product_without_control_characters(touchstone: Path, run: Run) -> None:
    answer = run("import", touchstone, "--specimen", "T1", "--product", "TM\x1b[31m")
    assert answer.code == 2
    assert "product" in answer.err


def test_records_without_one_are_found_by_nothing(touchstone: Path, run: Run) -> None:
    assert run("import", touchstone, "--specimen", "T2").code == 0
    found = run("archive", "find", "--product", "", "--json").json["found"]
    assert [one["specimen"] for one in found] == ["T2"]
    assert found[0]["product"] == ""
