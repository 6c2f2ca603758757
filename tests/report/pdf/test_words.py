"""Words of any script, and words that are too long for a line."""

from __future__ import annotations

import random
import unicodedata

import pytest

from benchsweep.report.document import Column, Drawn, Given, Link, Listing, Paragraph, Row, Section, Table
from benchsweep.report.pdf import pdf_bytes
from benchsweep.report.pdf._glyphs import fonts_for

SCRIPTS = {
    "latin": "Ångström Žižek œuvre ß ñ",
    "greek": "Δοκιμή ρεύματος Ω µ",
    "cyrillic": "Кабель витая пара",
    "hebrew": "כבל שזור",
    "arabic": "كابل مجدول",
    "devanagari": "केबल नमूना",
    "cjk": "双绞线 ケーブル 케이블",
    "thai": "สายเคเบิล",
    "emoji": "cord 😀 👩‍🔬",
    "unassigned plane": "\U000107ff \U0001f9ff",
    "combining": "e\u0301 a\u0308\u0304 \u0301",
}


@pytest.mark.parametrize("script", SCRIPTS)
def test_every_character_of_every_script_is_printed_or_named(pdf, script):
    """A character that no font has is told by its number; none is lost and none is a box."""
    words = SCRIPTS[script]
    reader = pdf.read(pdf.document(Paragraph(("name: ", Given(words))), title=(Given(words),)))
    told = unicodedata.normalize("NFKC", pdf.text(reader))
    _, missing = fonts_for(frozenset(words))
    for char in set(words) - set(" \u200d\u0301\u0308\u0304"):
        if unicodedata.category(char) == "Cn":
            assert "?" in told
        elif ord(char) in missing:
            assert f"[U+{ord(char):04X}]" in told
            assert char not in told
        else:
            assert unicodedata.normalize("NFKC", char) in told or unicodedata.combining(char), char
    # PDF/UA-1, which typst checks, has no text without a glyph.
    assert b"pdfuaid" in pdf_bytes(pdf.document(Paragraph((Given(words),))))


def test_latin_greek_and_cyrillic_need_no_font_of_the_machine(monkeypatch):
    import typst

    asked = []
    real = typst.Fonts

    def fonts(*, include_system_fonts: bool) -> object:
        asked.append(include_system_fonts)
        return real(include_system_fonts=include_system_fonts)

    monkeypatch.setattr(typst, "Fonts", fonts)
    common = "".join(SCRIPTS[name] for name in ("latin", "greek", "cyrillic")) + "±×÷≤≥≈∞−–—‘’“”…°µΩ→√²³"
    assert fonts_for(frozenset(common))[1] == {}
    assert asked == [False]


def test_what_is_taken_for_common_has_glyphs(pdf):
    import typst

    from benchsweep.report.pdf._glyphs import _COMMON, _lacking

    assert _lacking(_COMMON - {"\n"}, typst.Fonts(include_system_fonts=False)) == frozenset()


def test_missing_characters_in_a_chart_are_named(pdf):
    drawn = Drawn(
        pdf.picture("\U000f1234".replace("\U000f1234", "\u3042\U00020000"), "alt \U00020000"), ("c",)
    )
    made = pdf.document(drawn)
    _, missing = fonts_for(frozenset("\U00020000"))
    told = pdf.text(made)
    assert ("[U+20000]" in told) == (0x20000 in missing)
    assert b"pdfuaid" in pdf_bytes(made)


def test_a_long_word_is_broken_without_a_trace(pdf):
    word = "".join(random.Random(7).choices("abcdefXYZ0123456789", k=300))
    reader = pdf.read(
        pdf.document(
            Paragraph((Given(word),)),
            Section((Given(word),), (Listing((word,)),)),
            Table((Column("no.", number=True), Column("name")), (Row((("1",), (Given(word),))),)),
            title=(Given(word),),
        )
    )
    # title, paragraph, heading, listing, cell; the head of the page shows its beginning
    assert pdf.joined(reader).replace("\u200b", "").count(word) == 5
    assert [one.title for one in reader.outline] == [word]
    assert pdf.text(reader).count("\u200b") <= 300, "in the listing only"
    for page in reader.pages:
        for left, right, _ in pdf.runs(page):
            assert left >= 39
            assert right <= 595.3 - 39


def test_a_short_name_is_found_as_it_is(pdf):
    for name in (
        "ILAC-G8:09/2019",
        "CORD_2026_000123",
        "/srv/archive/20260301T123005Z-cord.h5",
        "a@b.example",
    ):
        assert name in pdf.text(pdf.document(Paragraph(("see ", Given(name)))))


def test_a_kept_cell_stays_on_one_line(pdf):
    heads = (Column("time", kept=True), Column("words"))
    rows = (Row((("2026-03-01 12:30:05 UTC",), (Given("many words " * 40),))),)
    assert "2026-03-01 12:30:05 UTC" in pdf.text(pdf.document(Table(heads, rows))).replace("\u00a0", " ")


def test_a_name_from_right_to_left_does_not_turn_its_neighbours(pdf):
    """The numbers behind it keep their order, which UAX 9 would turn; nothing unseen is printed."""
    name = Given("אבג")
    section = Section(("title",), (), anchor="there")
    for first in (name, Link("there", name)):
        told = pdf.text(pdf.document(Paragraph((first, " 123, 456")), section))
        assert "אבג 123, 456" in told
        assert not {char for char in told if unicodedata.category(char) == "Cf"}
    assert "אבג 123, 456" not in pdf.text(pdf.document(Paragraph(("אבג", " 123, 456"))))
    many = pdf.text(pdf.document(Paragraph((Given("אבג " * 40), " 123, 456"))))
    assert many.index("123") < many.index("456")


def test_figures_have_one_width(pdf):
    def width(words):
        (page,) = pdf.read(pdf.document(Table((Column("n", number=True),), (Row(((words,),)),)))).pages
        return sum(right - left for left, right, _ in pdf.runs(page))

    assert width("1111.11") == pytest.approx(width("8888.88"), abs=0.01)
    assert width("1111.11") != pytest.approx(width("1111.1"), abs=1.0)
