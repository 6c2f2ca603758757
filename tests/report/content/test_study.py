"""The report on a study: the worst of each parameter first, each trace only in full, practice said."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.report import english, study_document, write_pdf
from benchsweep.report.document import Box, Document, Section, plain
from tests.report.content.comparisons_made import large_study, study_item
from tests.report.content.told import section_in, tables_of, text_of

TEXTS = english()


def whole(document: Document) -> Section:
    return Section(document.title, document.blocks)


def box_of(document: Document) -> Box:
    (box,) = [block for block in document.blocks if isinstance(block, Box)]
    return box


def test_the_cover_names_the_worst_by_the_terms_of_the_field() -> None:
    items = [plain(line) for line in box_of(study_document(large_study(), TEXTS)).items]
    assert len(items) == 8
    shares = [int(item.split("makes ")[1].split()[0]) for item in items]
    assert shares == sorted(shares, reverse=True)
    assert "ACR-F B 45-78: the gauge makes 80 %" in items
    assert not any("_" in item for item in items)


def test_each_parameter_has_one_line_and_what_a_statement_takes() -> None:
    section = section_in(whole(study_document(large_study(), TEXTS)), "Each parameter by its worst trace")
    rows, matings = tables_of(section)
    assert [len(rows), len(matings)] == [9, 9]
    assert rows[1] == ["ACR-F", "B 45-78", "0.100", "0.200", "80.0", "3", "dB"]
    assert matings[1] == ["ACR-F", "0.250", "dB", "pooled over 24 traces", "6", "0.400", "A 12-36"]


def test_each_trace_is_told_only_in_full(tmp_path: Path) -> None:
    study = large_study()
    brief = study_document(study, TEXTS)
    assert "Analysis of variance" not in text_of(whole(brief))
    assert "192 traces are left out" in text_of(whole(brief))
    pymupdf = pytest.importorskip("pypdf", reason="counts pages")
    assert len(pymupdf.PdfReader(write_pdf(tmp_path / "brief.pdf", brief)).pages) <= 8
    full = text_of(whole(study_document(study, TEXTS, detail="full")))
    assert full.count("by analysis of variance") == 192
    assert "by analysis of variance" in text_of(whole(study_document(study_item(), TEXTS)))
    assert "by analysis of variance" not in text_of(
        whole(study_document(study_item(), TEXTS, detail="brief"))
    )


@pytest.mark.parametrize(
    ("simulated", "words"),
    [
        (12, "simulated bench or simulated tester: for practice"),
        (3, "3 of 12 runs are of the simulated bench or a simulated tester"),
    ],
)
def test_practice_is_said_on_the_cover_and_on_each_page(simulated: int, words: str) -> None:
    document = study_document(large_study(simulated=simulated), TEXTS)
    assert any(words in plain(line) for line in box_of(document).lines)
    assert words in plain(document.running)
    assert not study_document(large_study(), TEXTS).running
