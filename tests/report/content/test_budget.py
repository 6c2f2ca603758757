"""The uncertainty budget, as the report tells it."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.records import BudgetRow, Contribution, Parameter
from benchsweep.report.content._budget import budget_rows, budget_section, share_words, size_words
from benchsweep.report.content._item import ReportItem
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()
TERMS = (
    Contribution("load of the kit", 0.2, 0.9, "published", "certificate 7"),
    Contribution("noise", 0.0004, 0.0004, "from-memory", "IEC 61935-1"),
    Contribution("mating", 0.05, 0.1, "hearsay", "somebody"),
)
NEXT = BudgetRow(Parameter.NEXT, "A", ("36", "45"), 212.5e6, 38.25, 0.4, 0.41, TERMS)
LOSS = BudgetRow(Parameter.RETURN_LOSS, "B", ("12",), 1e6, 30.0, 0.5, 0.5, ())


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    return replace(build.item(points=40), budget=(NEXT, LOSS))


def test_the_overview_comes_before_the_terms(item: ReportItem) -> None:
    known = replace(item, measurement=replace(item.measurement, budget_toml='name = "bench 3"\n'))
    section = budget_section([known], TEXTS)
    assert section is not None
    heads, first, second = tables_of(section)[0]
    assert heads == [
        "parameter",
        "end",
        "pairs",
        "at MHz",
        "value",
        "expanded uncertainty",
        "most from",
        "share",
    ]
    assert first == [
        "NEXT", "A", "36-45", "212.50", "38.25 dB", "U +0.41 / -0.40 dB", "load of the kit", "90.0 %"
    ]  # fmt: skip
    assert second == ["return loss", "B", "12", "1.000", "30.00 dB", "U 0.50 dB", "", ""]
    assert "By the budget bench 3." in text_of(section)
    assert "(k = 2)" in text_of(section)


def test_the_terms_are_folded_with_share_standing_and_source(item: ReportItem) -> None:
    section = budget_section([item], TEXTS)
    assert section is not None
    terms = section_in(section, "Terms of NEXT, end A, pairs 36-45 at 212.50 MHz")
    assert terms.folded
    ((heads, *rows),) = tables_of(terms)
    assert heads == ["term", "u / dB", "share", "standing", "source"]
    assert rows == [
        ["load of the kit", "0.200", "90.0 %", "published", "certificate 7"],
        ["noise", "0.0004", "< 0.1 %", "from memory, to be verified", "IEC 61935-1"],
        ["mating", "0.050", "10.0 %", "hearsay", "somebody"],
    ]
    assert "no term contributes" in text_of(
        section_in(section, "Terms of return loss, end B, pair 12 at 1.000 MHz")
    )


def test_several_requirements_share_their_rows(item: ReportItem) -> None:
    other = replace(item, budget=(NEXT, replace(NEXT, frequency_hz=1e8)))
    assert [row.frequency_hz for row in budget_rows([item, other])] == [212.5e6, 1e6, 1e8]
    section = budget_section([item, other], TEXTS)
    assert section is not None
    assert "smallest margin to each requirement" in text_of(section)
    assert len(tables_of(section)[0]) == 1 + 3


def test_without_budget_there_is_no_section(item: ReportItem) -> None:
    assert budget_section([replace(item, budget=())], TEXTS) is None


@pytest.mark.parametrize(
    ("size", "share", "words"),
    [
        (0.0, 0.0, ("0.000", "0.0 %")),
        (0.00012345, 0.0005, ("0.00012", "< 0.1 %")),
        (1.23456, 1.0, ("1.235", "100.0 %")),
        (math.inf, math.nan, ("infinite", "-")),
    ],
)
def test_figures(size: float, share: float, words: tuple[str, str]) -> None:
    term = Contribution("x", size, share, "published", "y")
    assert (size_words(term, TEXTS), share_words(term)) == words


def test_words_of_ours_and_of_others(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    several = [item, replace(item, budget=(replace(NEXT, uncertainty_high=math.inf),))]
    known = replace(item, measurement=replace(item.measurement, budget_toml="name = 'x'"))
    for group in ([item], several, [known]):
        section = budget_section(group, texts)
        assert section is not None
        left = re.sub(r"\bdB\b", "", outside_marks(ours(section)))
        assert set(re.findall("[A-Za-z]+", left)) <= {"A", "B"}  # the names of the ends
    term = Contribution(HOSTILE, 0.1, 1.0, HOSTILE, HOSTILE)
    bad = replace(known, budget=(replace(NEXT, terms=(term,)),))
    section = budget_section([bad], TEXTS)
    assert section is not None
    assert "script" in text_of(section)
    assert "script" not in ours(section)
