"""What belongs together is on one page."""

from __future__ import annotations

import re

import pytest

from benchsweep.report.document import Column, Drawn, Facts, Items, Paragraph, Row, Section, Table
from benchsweep.report.pdf._joined import joined_to_next

FACTS = Facts(tuple(((f"name {n}",), ((f"fact {n}",),)) for n in range(5)))
BEFORE = Paragraph(("how it is drawn",), legend=True)
AFTER = Paragraph(("what the ring is",), legend=True)
TABLE = Table((Column("a"),), tuple(Row(((f"row {n} of it",),)) for n in range(4)), ("The caption",))
LONG = Table((Column("a"), Column("b")), tuple(Row(((f"long row {n}",), ("x",))) for n in range(120)))


def test_what_is_joined(pdf):
    drawn = Drawn(pdf.picture(), ("NEXT",))
    words = Paragraph(("words",))
    assert joined_to_next((FACTS, BEFORE, drawn, AFTER, words)) == [True, True, True, False, False]
    assert joined_to_next((drawn, AFTER, drawn)) == [True, False, False], "a legend is of what is above it"
    assert joined_to_next((drawn, AFTER, words, drawn)) == [True, False, True, False]
    assert joined_to_next((TABLE, words, AFTER, Items((("one",),)))) == [False] * 4
    assert joined_to_next((words, Section(("title",), ()))) == [False, False]
    long = Paragraph(("word " * 400,))
    assert joined_to_next((words, long, words, drawn)) == [False, False, True, False]
    assert joined_to_next(()) == []


@pytest.mark.parametrize("shown", ["chart", "table"])
def test_title_words_and_what_they_lead_to_are_on_one_page(pdf, shown):
    """Whatever stands above."""
    block = Drawn(pdf.picture("the curve"), ("The caption",)) if shown == "chart" else TABLE
    section = Section(("The title",), (FACTS, BEFORE, block, AFTER))
    words = ("The title", "fact 0", "how it is drawn", "The caption", "what the ring is")
    for lines in range(10, 46, 5):
        reader = pdf.read(pdf.document(*[Paragraph((f"line {n}",)) for n in range(lines)], section))
        pages = [page.extract_text() for page in reader.pages]
        found = [[place for place, told in enumerate(pages) if one in told] for one in words]
        assert found == [found[0]] * len(words), lines
        assert len(found[0]) == 1


def test_a_long_table_takes_its_last_row_along_to_its_legend(pdf):
    for lines in range(0, 46, 5):
        reader = pdf.read(pdf.document(*[Paragraph((f"line {n}",)) for n in range(lines)], LONG, AFTER))
        pages = [page.extract_text() for page in reader.pages]
        (last,) = [told for told in pages if "what the ring is" in told]
        assert "long row 119" in last, lines
        rows = [int(n) for told in pages for n in re.findall(r"long row (\d+)", told)]
        assert sorted(rows) == list(range(120)), lines
        assert len(pages) <= 4


def test_joined_blocks_longer_than_a_page_are_printed(pdf):
    high = pdf.picture("deep")
    blocks = (FACTS, BEFORE) * 6 + (Drawn(high, ("The caption",)), AFTER)
    told = pdf.text(pdf.document(*[Paragraph(("line",))] * 30, Section(("The title",), blocks)))
    for words in ("The title", "The caption", "what the ring is", "deep"):
        assert told.count(words) == 1
    assert told.count("fact 4") == 6


@pytest.mark.parametrize("caption", [(), ("The caption",)])
def test_a_long_table_with_a_legend_begins_where_it_stands(pdf, caption):
    """It leaves no page empty before it, and its last row is above its legend."""
    columns = tuple(Column(f"column {n}") for n in range(5))
    rows = tuple(
        Row(((f"wide row {n}",), *((f"a cell of some width {n}",) for _ in columns[1:]))) for n in range(120)
    )
    for lines in (1, 20):
        before = [Paragraph((f"line {n}",)) for n in range(lines)]
        reader = pdf.read(pdf.document(*before, Table(columns, rows, caption), AFTER))
        pages = [page.extract_text() for page in reader.pages]
        counts = [len(re.findall(r"wide row \d+", told)) for told in pages]
        assert sum(counts) == 120
        assert counts[0] > 30, lines
        (last,) = [told for told in pages if "what the ring is" in told]
        assert "wide row 119" in last
