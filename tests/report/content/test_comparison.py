"""The report on a field tester: outcome first, what does not fit, numbers as they are, provenance."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep.records import Agreement
from benchsweep.report import (
    ComparisonItem,
    Particulars,
    StudyItem,
    comparison_document,
    english,
    load_texts,
    study_document,
    write_html,
    write_pdf,
)
from benchsweep.report.document import Box, Document, Drawn, Section, Table, plain
from tests.report.content.comparisons_made import comparison_item, study_item, suspicious
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


def whole(document: Document) -> Section:
    return Section(document.title, document.blocks)


def box_of(document: Document) -> Box:
    (box,) = [block for block in document.blocks if isinstance(block, Box)]
    return box


def told_of(item: ComparisonItem) -> Section:
    return whole(comparison_document(item, TEXTS))


def test_the_outcome_comes_first_with_its_reason() -> None:
    box = box_of(comparison_document(replace(comparison_item(), drift=None), TEXTS))
    assert (box.word, box.emphasis, box.items) == ("agrees", "", ())
    assert [plain(line) for line in box.lines] == [
        "field tester FT-07 on the reference channel reference 2",
        "all results agree",
        "8 results compared, 8 decided, 0 beyond both uncertainties",
        "margins counted against tia-6-channel",
        "compared by I. Vogt on 2026-06-12",
    ]


def test_what_stands_against_agreement_is_named_the_furthest_first() -> None:
    box = box_of(comparison_document(comparison_item(bad=(3, 5)), TEXTS))
    assert (box.word, box.emphasis) == ("disagrees", "fail")
    told = [plain(line) for line in box.items]
    assert [line.split(":")[0] for line in told] == [
        "return loss, end B, pair 36",
        "NEXT, end A, pairs 36-45",
    ]
    numbers = [float(re.search(r"E_n ([+-][\d.]+)", line).group(1)) for line in told]  # type: ignore[union-attr]
    assert numbers == sorted(numbers, reverse=True)
    assert all(number > 1.0 for number in numbers)


def test_what_does_not_fit_and_drift_stand_among_the_doubts() -> None:
    item = suspicious(comparison_item())
    document = comparison_document(replace(item, repairs="new plugs"), TEXTS)
    assert box_of(document).word == "undecided"
    doubts = text_of(section_in(whole(document), "What makes it doubtful"))
    for words in ("pairs 12 and 36 look exchanged", "new plugs", "drifts: EWMA beyond its limits"):
        assert words in doubts
    assert "Nothing could be compared" in text_of(whole(document))


def test_every_row_is_told_with_its_numbers() -> None:
    item = comparison_item(bad=(5,))
    section = section_in(told_of(item), "All 8 results")
    heads, *rows = tables_of(section)[0]
    assert len(rows) == 8
    at = {head: place for place, head in enumerate(heads)}
    for row in item.comparison.rows:
        point = row.decisive
        assert point is not None
        (cells,) = [
            told
            for told in rows
            if told[at["pairs"]] == "-".join(row.pairs)
            and told[at["end"]] == (row.end or "")
            and told[0].replace(" ", "_").lower() == row.parameter.value
        ]
        assert cells[at["bench"]] == f"{point.bench:.2f}"
        assert cells[at["tester"]] == f"{point.tester:.2f}"
        assert cells[at["difference"]] == f"{point.difference:+.2f}"
        assert cells[at["E_n"]] == f"{point.e_n:+.2f}"
        assert cells[at["outcome"]] == row.outcome.value
    (table,) = [
        block
        for block in section.blocks
        if isinstance(block, Table) and any(column.title == "E_n" for column in block.columns)
    ]
    assert [row.emphasis for row in table.rows].count("fail") == 1


def test_the_parts_of_the_uncertainty_add_up_to_what_is_told() -> None:
    section = section_in(told_of(comparison_item()), "Uncertainty")
    (table,) = tables_of(section)
    for row in table[1:]:
        *parts, together = map(float, row[3:8])
        # Root of the sum of squares (JCGM 100:2008, 5.1.2), of parts that are rounded to two decimals.
        assert together == pytest.approx(float(np.sqrt(np.sum(np.square(parts)))), abs=0.01)


def test_head_as_of_a_certificate_and_what_nobody_stated() -> None:
    given = Particulars(laboratory="Cabling laboratory", number="T-17", authorised_by="I. Vogt")
    document = comparison_document(comparison_item(), TEXTS, particulars=given)
    assert document.number == "T-17"
    told = facts_of(whole(document))
    assert told["field tester"] == ["FT-07", "store 2"]
    assert told["reference channel"][:2] == ["reference 2", "2 m cord R2-A"]
    assert told["its declared accuracy"] == ["demonstration"]
    assert told["ambient conditions"] == ["temperature 21.4 °C"]
    assert "Not stated: its address" in text_of(whole(document))
    derived = [
        comparison_document(item, TEXTS).number for item in (comparison_item(), comparison_item(bad=(1,)))
    ]
    assert len(set(derived)) == 2


def test_practice_is_said_at_the_head_of_every_page() -> None:
    item = replace(comparison_item(), simulated=True)
    assert "simulated bench" in plain(comparison_document(item, TEXTS).running)
    assert plain(comparison_document(comparison_item(), TEXTS).running) == ""


def test_charts_hold_all_points_and_mark_the_one_that_decides() -> None:
    section = section_in(told_of(comparison_item(bad=(5,))), "Tester less bench")
    drawn = [block for block in section.blocks if isinstance(block, Drawn)]
    assert [each.picture.name for each in drawn] == [
        "comparison-difference-insertion-loss",
        "comparison-difference-return-loss",
        "comparison-difference-next",
    ]
    # Whose band and ring it is stands in the title: nothing is written where points are.
    assert "difference, end A; ring and band: 36-45, E_n +1.78" in drawn[-1].picture.svg
    assert "furthest 36-45 +1.80 dB at 64.194 MHz" in drawn[-1].picture.words


def test_over_time_and_due() -> None:
    section = section_in(told_of(comparison_item()), "Over time")
    (table,) = tables_of(section)
    assert [row[0] for row in table[1:]] == ["1", "2", "3", "4", "5", "6"]
    due = text_of(section_in(told_of(comparison_item()), "When it is due"))
    assert "2026-09-10, overdue" in due
    assert "2026-07-06" in due
    lonely = replace(comparison_item(earlier=0), drift=None, due=())
    assert not [block for block in told_of(lonely).blocks if getattr(block, "anchor", "") == "over-time"]


def test_provenance_names_all_it_was_made_from() -> None:
    item = comparison_item()
    told = text_of(section_in(told_of(item), "Provenance"))
    for words in (
        item.comparison.record_digest,
        item.comparison.source_digest,
        item.comparison.requirement_digest,
        item.digest,
        "wide-values",
    ):
        assert words in told


def test_a_study_tells_design_results_and_runs() -> None:
    document = study_document(study_item(), TEXTS)
    box = box_of(document)
    assert (box.word, [plain(line) for line in box.items]) == ("complete", ["NEXT A 36-45: conditional"])
    told = text_of(whole(document))
    for words in (
        "0.1999",
        "96.04",
        "4 distinct categories",
        "+0.700",
        "0.300 dB",
        "run 3 was measured after",
    ):
        assert words in told
    runs = tables_of(section_in(whole(document), "Runs"))[0][1:]
    assert len(runs) == 12
    open_study = study_document(study_item(done=5), TEXTS)
    assert (box_of(open_study).word, box_of(open_study).emphasis) == ("not complete", "undecided")


@pytest.mark.parametrize("made", ["comparison", "study"])
def test_no_word_of_ours_stands_outside_the_catalogue(made: str, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    if made == "comparison":
        document = comparison_document(comparison_item(bad=(5,)), texts)
    else:
        document = study_document(study_item(), texts)
    words = set(re.findall(r"[^\W\d_]{3,}", outside_marks(ours(whole(document)))))
    assert words <= set()


def test_hostile_names_are_printed_as_words(tmp_path: Path) -> None:
    item = comparison_item(bad=(5,))
    found = replace(item.comparison, tester=HOSTILE, channel=HOSTILE, words=HOSTILE, doubts=(HOSTILE,))
    path = tmp_path / "report.html"
    write_html(path, comparison_document(replace(item, comparison=found, repairs=HOSTILE), TEXTS))
    page = path.read_text()
    assert "<script>alert(1)" not in page
    assert "\u202e" not in page
    assert "alert(1)" in page


@pytest.mark.parametrize("made", ["agrees", "disagrees", "undecided", "study"])
def test_it_is_printed_as_page_and_as_pdf(made: str, tmp_path: Path) -> None:
    items: dict[str, ComparisonItem] = {
        "agrees": comparison_item(),
        "disagrees": comparison_item(bad=(3, 5)),
        "undecided": suspicious(comparison_item()),
    }
    study: StudyItem = study_item()
    document = study_document(study, TEXTS) if made == "study" else comparison_document(items[made], TEXTS)
    write_html(tmp_path / "report.html", document)
    write_pdf(tmp_path / "report.pdf", document)
    assert document.number in (tmp_path / "report.html").read_text()
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_outcomes_are_words_for_each() -> None:
    assert {TEXTS(f"agreement.{outcome.value}") for outcome in Agreement} == {
        "agrees",
        "disagrees",
        "undecided",
    }
