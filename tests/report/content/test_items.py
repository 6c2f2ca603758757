"""What the command hands to the report: a defective cord and a channel, from their matrix to the charts."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import write_record
from benchsweep.cli._items import report_items
from benchsweep.cli._verdicts import verdict_texts
from benchsweep.qualification import (
    Graded,
    Qualified,
    correct,
    evaluate,
    grade_evaluation,
    grade_record,
    keep_grading,
    load_requirements,
    record_hash,
)
from benchsweep.records import Outcome, Parameter, SMatrix, Specimen, balanced_ports
from benchsweep.report.content import subject_section
from benchsweep.report.text import english
from benchsweep.simulator.specimen import load_specimen
from tests.report.content.conftest import measured
from tests.report.content.told import text_of

LEGS = tuple(leg for port in balanced_ports() for leg in port.legs)


def qualified(build: SimpleNamespace, name: str, grid: np.ndarray, against: list[str], length_m: float):
    """Grade a simulated specimen as if it had been measured without any error."""
    specimen = load_specimen(name, seed=3)
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in LEGS]
    s = specimen.scatter(grid)[:, order][:, :, order]
    corrected = SMatrix(grid, s, tuple(map(str, LEGS)), (50.0,) * 16)
    measurement = dataclasses.replace(
        build.item(points=2).measurement,
        specimen=Specimen(name, length_m),
        corrected=corrected,
        fixture_toml="",
    )
    evaluation = evaluate(measurement)
    requirements = load_requirements(against)
    graded = tuple(Graded(*grade_evaluation(evaluation, requirement)) for requirement in requirements)
    return Qualified(Path("x.h5"), evaluation, graded), requirements


def test_a_defective_cord_is_told_and_drawn_with_its_place(
    build: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchsweep.qualification.record_hash", lambda _: "ab" * 32)
    grid = np.arange(1, 51) * 10e6
    result, requirements = qualified(build, "cord-2m-open", grid, ["tia-6a-cord"], 2.0)
    (item,) = report_items(result, requirements)
    assert item.findings is not None
    assert {trace.kind for trace in item.findings.profiles} == {"reflection", "crosstalk", "impedance"}
    (fault,) = [fault for fault in item.findings.faults if fault.kind == "open"]
    words = text_of(subject_section([item], english(), place=1))
    assert (
        words.index("What is wrong, and where") < words.index(fault.words) < words.index("return loss over")
    )
    assert "open" in fault.words
    assert not item.findings.constants
    assert (fault.end, fault.pairs) == ("B", ("45",))
    # The terminal tells the same sentence, wrapped.
    (text,) = verdict_texts(result, width=80)
    assert fault.words in " ".join(text.split())


def test_a_channel_against_two_bodies_shows_what_does_not_count(
    build: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchsweep.qualification.record_hash", lambda _: "")
    grid = np.geomspace(1e6, 500e6, 30)
    result, requirements = qualified(
        build, "channel-100m", grid, ["iso-ea-channel", "tia-6a-channel", "tia-6-channel"], 100.0
    )
    iso, tia, _ = report_items(result, requirements)
    # 4 dB of insertion loss for NEXT is a rule of ISO only (facts on limits, their clause from memory).
    loss = {
        t.pairs[0]: t.value for t in iso.traces if (t.parameter, t.end) == (Parameter.INSERTION_LOSS, "A")
    }
    below = iso.not_counting[Parameter.NEXT, "A", ("12", "36")]
    assert np.array_equal(below, (loss["12"] < 4.0) & (loss["36"] < 4.0))
    assert (Parameter.NEXT, "A", ("12", "36")) not in tia.not_counting
    assert iso.limits[Parameter.NEXT].held is not None
    assert iso.findings is tia.findings
    assert iso.findings is not None
    # A logarithmic grid must not be turned into time.
    assert iso.findings.why_no_profiles
    assert not iso.findings.profiles
    assert {rule.maximum_m for rule in iso.findings.length_rules} == {100.0}
    assert (tia.title, tia.edition) == (requirements[1].title, requirements[1].edition)
    # One class of ISO was graded: nothing is the highest of one.
    (of_tia,) = iso.findings.best
    assert of_tia.family == "TIA channel"
    assert [name for name, _ in of_tia.outcomes] == ["tia-6a-channel", "tia-6-channel"]
    texts = verdict_texts(result, width=80)
    assert texts[0].startswith("requirement")
    assert len(texts) == 4
    assert all(outcome in Outcome for _, outcome in of_tia.outcomes)


def test_kept_gradings_come_along_and_those_that_say_something_else_are_told(tmp_path: Path) -> None:
    path = write_record(measured("cord-5m", 2.0, 40), tmp_path)
    requirements = load_requirements(["tia-6a-cord", "tia-6-cord"])
    strict = grade_record(path, requirements[:1], decision_rule="guard-band 10")
    assert strict.verdicts[0].outcome is Outcome.FAIL
    keep_grading(strict, record_hash(path), requirements[:1])
    result = grade_record(path, requirements)
    for detail in ("full", "brief"):
        first, other = report_items(result, requirements, detail=detail)
        assert first.verdict.outcome is Outcome.PASS
        (kept,) = first.kept
        assert (kept.outcome, kept.decision_rule) == (Outcome.FAIL, "guard-band 10")
        assert kept.edition == first.edition == requirements[0].edition
        assert other.kept == []
        words = text_of(subject_section([first], english(), place=1, detail=detail))
        assert f"kept on {kept.made_at[:10]} says fail, by the decision rule guard-band 10" in words
    # What was graded before a correction that changes outcomes is outdated: it differs for that reason.
    correct(path, {"length_m": 2.5}, reason="wrong label", by="R. Lind")
    assert report_items(grade_record(path, requirements), requirements)[0].kept == []
