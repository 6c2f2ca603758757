"""Several requirements side by side, faults below the wiring, and what tables do not need."""

from __future__ import annotations

import dataclasses
import json
import re
import subprocess
import sys
from types import SimpleNamespace

import pytest

from benchsweep.records import Fault, Outcome, Verdict
from benchsweep.report import requirement_table, verdict_table

FAULTS = (
    Fault(
        "untwist", "B", ("36", "45"), (3, 4, 5, 6), 1.9, 2.0, "pairs 3-6 and 4-5 are untwisted", ("21 dB",)
    ),
    Fault("crush", None, ("12",), (1, 2), 0.7, 0.9, "pair 1-2 is crushed between 0.7 and 0.9 m", ()),
)


@pytest.fixture(scope="module")
def failing(build: SimpleNamespace) -> Verdict:
    return build.item(points=40, fault_db=11.0).verdict


def easier(verdict: Verdict, name: str, by_db: float) -> Verdict:
    rows = tuple(
        dataclasses.replace(row, worst_margin_db=row.worst_margin_db + by_db, outcome=Outcome.PASS)
        for row in verdict.rows
    )
    return dataclasses.replace(verdict, requirement=name, rows=rows, outcome=Outcome.PASS)


def test_faults_are_told_below_the_wiring(failing: Verdict) -> None:
    lines = verdict_table(failing, faults=FAULTS).splitlines()
    (at,) = [place for place, line in enumerate(lines) if line.startswith("faults ")]
    assert lines[at].split(maxsplit=1)[1] == FAULTS[0].words
    assert lines[at + 1].strip() == FAULTS[1].words
    assert any(line.startswith("wiring ") for line in lines[:at])
    # A sentence of the wiring check is not told twice.
    twice = dataclasses.replace(FAULTS[0], words="pairs 3-6 and 4-5 are split at end B")
    assert verdict_table(failing, faults=[twice]).count(twice.words) == 1
    assert "faults " not in verdict_table(failing)


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_requirements_stand_side_by_side(width: int, failing: Verdict) -> None:
    undecided = Verdict(
        "a", "b", "iso-ea-channel", "simple", None, Outcome.UNDECIDED, (), None, ("no length",)
    )
    text = requirement_table([failing, easier(failing, "easy", 30.0), undecided], width=width)
    assert all(len(line) <= width for line in text.splitlines())
    joined = " ".join(text.split())
    assert joined.index("tia-6a-cord") < joined.index("easy") < joined.index("iso-ea-channel")
    assert "no length" in joined
    if width == 80:
        assert re.search(r"^tia-6a-cord +fail +wiring: split, pairs 36", text, re.MULTILINE)
        assert re.search(r"^easy +pass +[A-Z]", text, re.MULTILINE)
        assert re.search(r"easy pass [A-Z-]+, end B, pairs \d\d-\d\d: 2\d\.\d\d dB inside the limit", joined)


def test_tables_need_nothing_that_writes_files() -> None:
    code = (
        "import benchsweep.report as report, json, sys; report.verdict_table, report.trace_plot; "
        "print(json.dumps(sorted(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(json.loads(done.stdout))
    assert "benchsweep.report.terminal" in loaded
    others = {f"benchsweep.report.{room}" for room in ("content", "html", "pdf")}
    assert not loaded & ({"jinja2", "typst"} | others)
