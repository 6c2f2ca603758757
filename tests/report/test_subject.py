"""One measurement, many requirements: drawn once, told side by side, with what else was found out."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import AlienShare, Fault, Origin, Outcome, Parameter, Trace, Verdict
from benchsweep.report import (
    BestCategory,
    Findings,
    LengthRule,
    ReportItem,
    requirement_table,
    verdict_table,
    write_html,
)

HOSTILE = "<script>alert(1)</script>\"'&\u202e\x00{{ 7*7 }}"
FEW = (Parameter.RETURN_LOSS, Parameter.NEXT)
FAULTS = (
    Fault(
        "untwist", "B", ("36", "45"), (3, 4, 5, 6), 1.9, 2.0, "pairs 3-6 and 4-5 are untwisted", ("21 dB",)
    ),
    Fault("crush", None, ("12",), (1, 2), 0.7, 0.9, "pair 1-2 is crushed between 0.7 and 0.9 m", ()),
)


def few(item: ReportItem, **changes: object) -> ReportItem:
    """The item with traces and rows of two parameters only: drawings take their time."""
    rows = tuple(row for row in item.verdict.rows if row.parameter in FEW)
    worst = Outcome.FAIL if any(row.outcome is Outcome.FAIL for row in rows) else Outcome.PASS
    changes = {
        "traces": [trace for trace in item.traces if trace.parameter in FEW],
        "verdict": dataclasses.replace(item.verdict, rows=rows, outcome=worst),
        "limits": {key: curve for key, curve in item.limits.items() if key in FEW},
    } | changes
    return dataclasses.replace(item, **changes)


def against(item: ReportItem, name: str, easier_db: float) -> ReportItem:
    """The same measurement against limits that are so much easier."""
    rows = tuple(
        dataclasses.replace(
            row,
            worst_margin_db=row.worst_margin_db + easier_db,
            limit=row.limit - easier_db,
            outcome=Outcome.PASS if row.worst_margin_db + easier_db >= 0 else Outcome.FAIL,
        )
        for row in item.verdict.rows
    )
    outcome = Outcome.FAIL if any(row.outcome is Outcome.FAIL for row in rows) else Outcome.PASS
    verdict = dataclasses.replace(item.verdict, requirement=name, rows=rows, outcome=outcome)
    limits = {
        key: dataclasses.replace(curve, value=curve.value - easier_db) for key, curve in item.limits.items()
    }
    return dataclasses.replace(item, verdict=verdict, limits=limits)


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page[page.index("<body") :]).split())


@pytest.fixture(scope="module")
def failing(build: SimpleNamespace) -> ReportItem:
    return few(build.item(points=60, fault_db=11.0))


def test_a_measurement_is_drawn_once_with_every_limit(failing: ReportItem, tmp_path: Path) -> None:
    items = [failing, against(failing, "easy", 30.0), against(failing, "easier", 40.0)]
    best = BestCategory("TIA cord", "easy", (("tia-6a-cord", Outcome.FAIL), ("easy", Outcome.PASS)))
    items[0] = dataclasses.replace(items[0], findings=Findings(faults=FAULTS, best=[best]))
    page = write_html(tmp_path / "r.html", items, title="t").read_text(encoding="utf-8")
    text = text_of(page)
    assert page.count("<article") == 1
    assert page.count("<figure>") == len(FEW)
    assert "One measurement, 3 requirements" in text
    rows = re.findall(r"<tr>(.*?)</tr>", page[: page.index("Traces")], re.DOTALL)
    told = [" ".join(re.sub(r"<[^>]*>", " ", row).split()) for row in rows]
    assert "1 tia-6a-cord fail wiring: split, pairs 36 and 45" in told
    assert any(re.fullmatch(r"3 easier pass .* inside the limit .*", row) for row in told), told
    assert "TIA cord easy tia-6a-cord fail, easy pass" in told
    # The table comes before everything else, then the faults, then each verdict.
    order = ["One measurement", "Highest category", "What is wrong", "1: against", "3: against", "Traces"]
    assert [text.index(words) for words in order] == sorted(text.index(words) for words in order)
    names = re.findall(r' id="([^"]*)"', page)
    assert set(re.findall(r'href="#(item-[^"]*)"', page)) <= set(names)
    assert len(set(names)) == len(names)


def test_faults_stand_under_a_failing_verdict(failing: ReportItem, tmp_path: Path) -> None:
    bad = dataclasses.replace(failing, findings=Findings(faults=FAULTS), traces=())
    text = text_of(write_html(tmp_path / "r.html", [bad], title="t").read_text(encoding="utf-8"))
    assert text.index("graded traces") < text.index("What is wrong, and where") < text.index("wiring wrong")
    assert text.index(FAULTS[0].words) < text.index("21 dB") < text.index(FAULTS[1].words)
    origin = Origin(Parameter.NEXT, "B", ("36", "45"), 2e8, (1e8, 3e8), "B", 1.9, 2.0, 0.9, "end B, 90 %")
    nameless = dataclasses.replace(bad, findings=Findings(origins=[origin], why_no_profiles="too coarse"))
    text = text_of(write_html(tmp_path / "r.html", [nameless], title="t").read_text(encoding="utf-8"))
    assert "No fault was found that has a name. This sweep does not tell places: too coarse ." in text
    assert "What fails comes from: NEXT, end B, pairs 36-45, near 200.00 MHz: end B, 90 %" in text
    good = dataclasses.replace(against(bad, "easy", 30.0), findings=bad.findings)
    text = text_of(write_html(tmp_path / "r.html", [good], title="t").read_text(encoding="utf-8"))
    assert "What is wrong" not in text
    assert text.index("Over the distance") < text.index("What stands out") < text.index(FAULTS[0].words)


def test_what_hinders_and_what_is_usual_is_said(failing: ReportItem, tmp_path: Path) -> None:
    grid = failing.traces[0].frequency_hz
    alien = [Trace(Parameter.PS_ANEXT, "A", (pair,), grid, np.full(grid.size, 60.0)) for pair in ("12", "36")]
    shares = [
        AlienShare(Parameter.PS_ANEXT, "A", "12", cable, None, 1e8, part, 61.5, part)
        for cable, part in ((1, 0.25), (2, 0.75))
    ]
    findings = Findings(
        why_no_profiles="the first frequency is above the step",
        length_m=97.0,
        length_rules=[LengthRule("tia-6a-permanent-link", 90.0, "common-practice")],
        shares=shares,
        enough_disturbers="2 disturbing cables are not enough",
    )
    item = dataclasses.replace(failing, findings=findings, traces=alien)
    page = write_html(tmp_path / "r.html", [item], title="t").read_text(encoding="utf-8")
    text = text_of(page)
    assert "not drawn the first frequency is above the step" in text
    assert "tia-6a-permanent-link 90 m longer by 7.0 m common practice in the trade" in text
    assert "2 disturbing cables are not enough" in text
    assert text.index("2 75 % 75 % A, 12 100.00 61.50") < text.index("1 25 % 25 % A, 12")
    # Alien traces are drawn beside their table, not among the others.
    assert page.index("Alien crosstalk") < page.index("<figcaption>PS ANEXT")


def test_hostile_findings_are_harmless(failing: ReportItem, tmp_path: Path) -> None:
    findings = Findings(
        faults=[dataclasses.replace(FAULTS[0], words=HOSTILE, evidence=(HOSTILE,))],
        why_no_profiles=HOSTILE,
        electrical_length_m=1.0,
        length_rules=[LengthRule(HOSTILE, 90.0, HOSTILE)],
        enough_disturbers=HOSTILE,
        best=[BestCategory(HOSTILE, HOSTILE, ((HOSTILE, Outcome.PASS),))],
    )
    item = dataclasses.replace(failing, traces=(), findings=findings)
    page = write_html(tmp_path / "r.html", [item], title="t").read_text(encoding="utf-8")
    assert "<script" not in page
    assert not set(page) & {"\u202e", "\x00"}
    assert page.count("{{ 7*7 }}") >= 7


def test_the_terminal_tells_faults_below_the_wiring(failing: ReportItem) -> None:
    lines = verdict_table(failing.verdict, faults=FAULTS).splitlines()
    (at,) = [place for place, line in enumerate(lines) if line.startswith("faults ")]
    assert lines[at].split(maxsplit=1)[1] == FAULTS[0].words
    assert lines[at + 1].strip() == FAULTS[1].words
    assert any(line.startswith("wiring ") for line in lines[:at])
    # A sentence of the wiring check is not told twice.
    twice = dataclasses.replace(FAULTS[0], words="pairs 3-6 and 4-5 are split at end B")
    assert verdict_table(failing.verdict, faults=[twice]).count(twice.words) == 1
    assert "faults " not in verdict_table(failing.verdict)


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_requirements_side_by_side(width: int, failing: ReportItem) -> None:
    undecided = Verdict(
        "a", "b", "iso-ea-channel", "simple", None, Outcome.UNDECIDED, (), None, ("no length",)
    )
    verdicts = [failing.verdict, against(failing, "easy", 30.0).verdict, undecided]
    text = requirement_table(verdicts, width=width)
    assert all(len(line) <= width for line in text.splitlines())
    joined = " ".join(text.split())
    assert joined.index("tia-6a-cord") < joined.index("easy") < joined.index("iso-ea-channel")
    assert "no length" in joined
    if width == 80:
        assert re.search(r"^tia-6a-cord +fail +wiring: split, pairs 36", text, re.MULTILINE)
        assert re.search(r"^easy +pass +NEXT, .* inside", text, re.MULTILINE)
