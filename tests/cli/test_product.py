"""Of what product a specimen is: told, corrected, found, shown, reported."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

Run = Callable[..., Any]
WHY = ("--by", "R. Lind", "--reason", "label read wrong")


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
