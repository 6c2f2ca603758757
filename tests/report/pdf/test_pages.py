"""How a document stands on its pages."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from benchsweep.report.document import (
    Box,
    Column,
    Drawn,
    Facts,
    Given,
    Items,
    Link,
    Listing,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
)
from benchsweep.report.pdf import pdf_bytes

A4 = (595.276, 841.890)  # ISO 216: 210 mm x 297 mm, in points


def long_table(rows: int = 90) -> Table:
    columns = (Column("parameter"), Column("pairs", kept=True), Column("margin", number=True), Column("note"))
    return Table(
        columns,
        tuple(
            Row((("NEXT",), ("12-36",), (f"{n:.2f}",), (Given(f"begin{n} " + "words " * 30 + f"finish{n}"),)))
            for n in range(rows)
        ),
        ("Margins",),
    )


@pytest.fixture(scope="module")
def whole(pdf):
    """A document with every kind of block."""
    return pdf.document(
        Box("fail", (("against ", Given("tia-6a-cord")),), (("NEXT: 3.00 dB outside the limit",),), "fail"),
        Box("undecided", (("not all was measured",),), emphasis="undecided"),
        Section(
            ("Specimen ", Given("cord 7")),
            (
                Paragraph(("See ", Link("cord-8", Given("cord 8")), Strong(", at once"), ".")),
                Paragraph(("a legend",), legend=True),
                Items((("first of all",), ("second of all",)), numbered=True),
                Facts(((("operator",), ((Given("Ines Vogt"),), ("at night",))),)),
                long_table(),
                Section(("Figures",), (Drawn(pdf.picture(), ("NEXT over frequency",)),) * 4),
                Listing(('name = "contacts"', "  ports = 16")),
            ),
            anchor="cord-7",
            own_page=True,
        ),
        Section(("Specimen ", Given("cord 8")), (Paragraph(("nothing",)),), anchor="cord-8", own_page=True),
    )


@pytest.fixture(scope="module")
def reader(pdf, whole):
    return pdf.read(whole)


def test_every_page_is_a4_with_head_and_number(reader):
    count = len(reader.pages)
    assert count > 4
    for place, page in enumerate(reader.pages, start=1):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(A4, abs=0.01)
        lines = page.extract_text().splitlines()
        assert lines[0].split() == ["Test", "report", "R-2026-0042"]
        assert lines[1].strip() == "Laboratory of cords"
        assert re.findall(r"page \d+ of \d+", page.extract_text()) == [f"page {place} of {count}"]


def test_all_words_are_there_once_and_in_order(pdf, reader):
    told = pdf.text(reader)
    expected = (
        "fail", "against tia-6a-cord", "NEXT: 3.00 dB outside the limit", "undecided", "not all was measured",
        "Specimen cord 7", "See cord 8, at once.", "a legend", "1. first of all", "2. second of all",
        "operator Ines Vogt", "at night", "Margins", "begin0", "finish89", "Figures", "NEXT over frequency",
        'name = "contacts"', "  ports = 16", "Specimen cord 8", "nothing", "End of report R-2026-0042",
    )  # fmt: skip
    at = 0
    for words in expected:
        at = told.index(words, at) + len(words)


def test_a_table_repeats_its_head_and_cuts_no_row(reader):
    begun: dict[str, int] = {}
    pages_of_table = set()
    for place, page in enumerate(reader.pages):
        told = page.extract_text()
        begun |= dict.fromkeys(re.findall(r"begin(\d+)", told), place)
        if re.search(r"begin\d", told):
            pages_of_table.add(place)
            assert told.count("parameter pairs margin note") == 1
        for name in re.findall(r"finish(\d+)", told):
            assert begun[name] == place, f"row {name} is cut"
    assert len(begun) == 90
    assert len(pages_of_table) >= 3


def test_a_row_of_many_lines_goes_to_the_next_page_as_a_whole(pdf):
    rows = tuple(Row(((f"{n}",), (Given(f"begin{n} " + "words " * 170 + f"finish{n}"),))) for n in range(50))
    reader = pdf.read(pdf.document(Table((Column("no."), Column("note")), rows)))
    for page in reader.pages:
        told = page.extract_text()
        assert re.findall(r"begin(\d+)", told) == re.findall(r"finish(\d+)", told)
    assert len(reader.pages) >= 4


def test_a_short_table_is_not_cut(pdf):
    rows = tuple(Row(((f"row {n} of it",), ("x",))) for n in range(6))
    table = Table((Column("a"), Column("b")), rows, ("The caption",))
    for lines in range(30, 60, 3):
        reader = pdf.read(pdf.document(*[Paragraph((f"line {n}",)) for n in range(lines)], table))
        assert sorted(page.extract_text().count(" of it") for page in reader.pages)[-1] == 6, lines


def test_a_row_longer_than_a_page_is_cut_and_not_lost(pdf):
    words = [f"w{n}" for n in range(6000)]
    table = Table((Column("note"), Column("other")), (Row(((Given(" ".join(words)),), ("x",))),))
    told = pdf.text(pdf.document(table)).split()
    assert [word for word in told if re.fullmatch(r"w\d+", word)] == words


def test_a_figure_stands_with_its_caption(pdf):
    figures = [Drawn(pdf.picture(f"curve-{n}"), (f"caption-{n}",)) for n in range(7)]
    reader = pdf.read(pdf.document(*figures))
    seen = []
    for page in reader.pages:
        told = page.extract_text()
        assert re.findall(r"caption-(\d)", told) == re.findall(r"curve-(\d)", told)
        seen += re.findall(r"curve-(\d)", told)
    assert seen == list("0123456")
    assert len(reader.pages) == 3


def test_a_caption_is_never_left_behind_by_its_table(pdf):
    """Whatever stands above: the caption and the first row are on one page."""
    table = Table((Column("a"),), (Row((("first row",),)), Row((("second",),))), ("The caption",))
    for lines in range(30, 60, 3):
        reader = pdf.read(pdf.document(*[Paragraph((f"line {n}",)) for n in range(lines)], table))
        pages = [page.extract_text() for page in reader.pages]
        assert ["The caption" in told for told in pages] == ["first row" in told for told in pages], lines


def test_a_title_is_never_left_behind(pdf):
    for lines in range(30, 60, 3):
        section = Section(("The title",), (Paragraph(("its words",)),))
        reader = pdf.read(pdf.document(*[Paragraph((f"line {n}",)) for n in range(lines)], section))
        pages = [page.extract_text() for page in reader.pages]
        assert ["The title" in told for told in pages] == ["its words" in told for told in pages], lines


def test_a_specimen_begins_a_page(reader):
    starts = [page.extract_text().splitlines()[2] for page in reader.pages]
    assert "Specimen cord 7" in starts
    assert "Specimen cord 8" in starts
    assert starts[0] == "Test report"


def test_nothing_stands_outside_the_margins(pdf, reader):
    margin = 14 / 25.4 * 72
    seen = 0
    for page in reader.pages:
        for left, right, base in pdf.runs(page):
            seen += 1
            assert left >= margin - 0.5
            assert right <= A4[0] - margin + 0.5
            assert 20 < base < A4[1] - 20
    assert seen > 500


@pytest.mark.parametrize("columns", [2, 7, 13, 20])
@pytest.mark.parametrize("cell", ["-123.45", "of standing from memory", "x" * 90, "CORD_2026/0042_" * 4])
def test_a_table_fits_whatever_is_in_it(pdf, columns, cell):
    heads = tuple(Column(f"a long head {n}", number=n % 2 == 1, kept=n % 3 == 0) for n in range(columns))
    table = Table(heads, (Row(tuple((Given(cell),) for _ in heads)),))
    reader = pdf.read(pdf.document(table))
    for page in reader.pages:
        for left, right, _ in pdf.runs(page):
            assert left >= 39
            assert right <= A4[0] - 39
    assert pdf.joined(reader).count("".join(cell.split())[:5]) >= columns


def test_a_long_narrow_table_stands_side_by_side_in_order(pdf):
    rows = tuple(Row(((f"port-{n}",), (f"{n}.5",)), "fail" if n == 7 else "") for n in range(40))
    heads = (Column("residual"), Column("dB", number=True))
    reader = pdf.read(pdf.document(Table(heads, rows)))
    told = pdf.text(reader)
    assert told.count("residual dB") == 3
    assert "port-0 0.5 port-14 14.5 port-28 28.5" in told
    assert sorted(re.findall(r"port-\d+", told)) == sorted(f"port-{n}" for n in range(40))
    assert len(reader.pages) == 1


def test_a_short_name_is_not_broken_at_its_hyphen(pdf):
    heads = (Column("specimen"), Column("lot"), Column("what came closest to its limit"))
    words = "return loss, end A, pair 45: 2.73 dB inside the limit at 490.00 MHz, and much more " * 3
    rows = tuple(Row(((Given(f"cord-2m-untwisted-{n}"),), (Given(f"T11-{n}"),), (words,))) for n in range(9))
    told = pdf.text(pdf.document(Table(heads, rows)))
    for n in range(9):
        assert f"cord-2m-untwisted-{n} T11-{n} return loss" in told


def test_links_lead_to_the_section(reader):
    page = next(page for page in reader.pages if "See cord 8" in page.extract_text())
    (link,) = [one.get_object() for one in page["/Annots"]]
    target = link["/A"]["/D"] if "/A" in link else link["/Dest"]
    if not isinstance(target, list):
        target = reader.named_destinations[target].dest_array
    page = next(one for one in reader.pages if one == target[0].get_object())
    assert "Specimen cord 8" in page.extract_text()


def test_a_link_to_nowhere_is_words(pdf):
    reader = pdf.read(pdf.document(Paragraph(("see ", Link("gone", "the part that is gone")))))
    assert "see the part that is gone" in pdf.text(reader)
    assert "/Annots" not in reader.pages[0]


def test_two_sections_of_one_name(pdf):
    twice = (Section(("one",), (), anchor="same"), Section(("two",), (), anchor="same"))
    reader = pdf.read(pdf.document(Paragraph((Link("same", "there"),)), *twice))
    assert "two" in pdf.text(reader)
    assert len(reader.pages[0]["/Annots"]) == 1


def test_outline_and_what_the_file_says_of_itself(pdf, reader):
    def names(outline: list) -> list:
        return [names(one) if isinstance(one, list) else one.title for one in outline]

    assert names(reader.outline) == ["Specimen cord 7", ["Figures"], "Specimen cord 8"]
    assert reader.metadata.title == "Test report"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert "creation_date" not in reader.metadata
    assert reader.metadata.creation_date is None


def test_it_is_tagged_after_iso_14289(pdf, whole, reader):
    """ISO 14289-1:2014, 5 (identification), 7.3 (alternative text of figures), 7.5 (heads of tables)."""
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"] == True  # noqa: E712
    assert b'pdfuaid:part="1"' in pdf_bytes(whole) or b"<pdfuaid:part>1<" in pdf_bytes(whole)
    figures = pdf.tagged(reader, "/Figure")
    assert [figure["/Alt"] for figure in figures] == ["NEXT of all pairs over frequency"] * 4
    assert len(pdf.tagged(reader, "/TH")) == 4
    assert len(pdf.tagged(reader, "/TD")) == 4 * 90
    assert len(pdf.tagged(reader, "/H1")) == 2
    assert len(pdf.tagged(reader, "/LI")) == 3


def test_a_very_high_picture_fits_a_page(pdf):
    low = pdf.picture("deep")
    high = replace(low, svg=low.svg.replace("0 0 547 230", "0 0 547 3000").replace('y="163"', 'y="2990"'))
    reader = pdf.read(pdf.document(Drawn(high, ("a caption",))))
    (told,) = [page.extract_text() for page in reader.pages if "deep" in page.extract_text()]
    assert "a caption" in told
    assert all(0 < base < A4[1] for page in reader.pages for _, _, base in pdf.runs(page))


def test_the_words_of_pages_are_those_of_the_document(pdf):
    reader = pdf.read(pdf.document(page_words="Seite {page} von {pages} {other}", language="de-CH", end=""))
    assert "Seite 1 von 1 {other}" in pdf.text(reader)
    assert reader.trailer["/Root"]["/Lang"] == "de-CH"


@pytest.mark.parametrize("language", ["en-pseudo", "x-klingon", "", "zh-Hant-TW", "ar", "nds"])
def test_any_language_tag_prints(pdf, language):
    assert "words" in pdf.text(pdf.document(Paragraph(("words",)), language=language))


def test_the_same_document_gives_the_same_bytes(whole):
    assert pdf_bytes(whole) == pdf_bytes(whole)


def test_an_empty_document(pdf):
    bare = pdf.document(running=(), end="", title=("t",))
    table = pdf.document(Table((Column("nothing"),), ()), Facts(()), Items(()), Listing(()), running=())
    assert "page 1 of 1" in pdf.text(bare)
    assert "nothing" in pdf.text(table)
