"""The pick list: which reels to fetch, in the order of the draw, and how not to get hurt."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from benchsweep.records import ReelExcluded
from benchsweep.report import english, load_texts, pick_list_document, write_html, write_pdf
from benchsweep.report.document import Document, Section, plain
from tests.report.content.lots_made import state_of_lot
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


def whole(document: Document) -> Section:
    return Section(document.title, document.blocks)


def test_reels_stand_in_the_order_of_the_draw_with_a_box() -> None:
    state, _ = state_of_lot(tested=2)
    document = pick_list_document(state, TEXTS)
    assert plain(document.title) == "Pick list of the lot 26-118"
    assert document.end.startswith("End of list ")
    table = tables_of(whole(document))[0]
    assert [row[2] for row in table[1:]] == list(state.sample)
    assert [row[0] for row in table[1:]] == ["[ x ]"] * 2 + ["[   ]"] * 18
    assert [row[3] for row in table[1:4]] == ["100.2 m", "100.2 m", "100 m"]
    assert table[2][-1] == "fail"
    facts = facts_of(whole(document))
    assert facts["plan"] == ["20 of 60 reels are tested; accepted with 1 or fewer nonconforming (Ac 1, Re 2)"]
    assert facts["draw"] == ["at random from the seed 7f3a-19 (made by chance)"]
    other = pick_list_document(state, TEXTS, length_m=50.0)
    assert "Take 50 m from the outer end" in text_of(whole(other))


def test_the_next_in_the_order_stand_ready() -> None:
    state, _ = state_of_lot(tested=0)
    section = section_in(whole(pick_list_document(state, TEXTS)), "If one of them cannot be tested")
    table = tables_of(section)[0]
    assert [row[2] for row in table[1:]] == list(state.order[20:25])
    assert [row[1] for row in table[1:]] == ["21", "22", "23", "24", "25"]
    assert "there are 40 left" in text_of(section)
    # One is excluded: the sample took the next, and neither of both is a spare.
    gone = state.sample[3]
    sample = (*(reel for reel in state.sample if reel != gone), state.order[20])
    excluded = (ReelExcluded("2026-03-03T08:00:00+00:00", "I. Vogt", gone, "crushed"),)
    state = replace(state, sample=sample, excluded=excluded)
    section = section_in(whole(pick_list_document(state, TEXTS)), "If one of them cannot be tested")
    rows = tables_of(section)[0][1:]
    assert [row[2] for row in rows] == list(state.order[21:26])
    assert rows[0][1] == "22"
    everything = replace(state, sample=state.order, excluded=())
    assert "Every reel of the lot is drawn" in text_of(whole(pick_list_document(everything, TEXTS)))


def test_cautions_for_lifting_and_cutting_are_on_it() -> None:
    state, _ = state_of_lot(tested=0)
    told = text_of(section_in(whole(pick_list_document(state, TEXTS)), "Cautions"))
    for word in ("weight", "trolley", "wedges", "gloves", "eye protection", "come first"):
        assert word in told


def test_words_of_ours_and_of_others(tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    state, _ = state_of_lot(tested=0)
    opened = replace(state.opened, supplier=HOSTILE, product=HOSTILE, lot=HOSTILE, by=HOSTILE, seed=HOSTILE)
    state = replace(state, opened=opened, sample=(HOSTILE, *state.sample[1:]))
    document = pick_list_document(state, texts)
    assert not re.findall(r"[^\W\d_]{2,}", outside_marks(ours(whole(document))))
    page = write_html(tmp_path / "pick.html", document).read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert write_pdf(tmp_path / "pick.pdf", document).read_bytes().startswith(b"%PDF")
