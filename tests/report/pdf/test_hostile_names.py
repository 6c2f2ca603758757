"""Names that people, instruments and files give: words in all that is handed over, and no more than words."""

from __future__ import annotations

import csv
import dataclasses
import html
import re
import unicodedata
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import pytest
from pypdf import PdfReader

from benchsweep.archive import write_table
from benchsweep.records import Comment, Specimen
from benchsweep.report import (
    Particulars,
    ReportItem,
    english,
    measurement_table,
    report_document,
    verdict_table,
)
from benchsweep.report.document import Document, Drawn, Section, clean
from benchsweep.report.html import html_page

NAMES = {
    "element": "<script>alert(1)</script><img src=x onerror=a()>",
    "closing": "--></style></script></svg></text>]]><b>",
    "entity": "&lt;b&gt; &#60; &amp;nbsp;",
    "import": '#import "x": * #include "/etc/passwd"',
    "call": "#panic(1) #sys.inputs #{1+1} [#text] #raw",
    "mathematics": "$x^2$ $$",
    "markup": "= h *b* _i_ `c` ~ -- --- ... // c /* d */ + e / f: g",
    "label": "@label <lab> @preview/x:1.0.0",
    "escape": r"\u{202e} \# \\ \n \x00",
    "template": "{{ 7*7 }} {% raw %} {# c #}",
    "fields": "{page} {pages} {0.__class__} {count} %s %(n)s $n",
    "turning": "cod\u202eexe.\u2066\u200f",
    "controls": "nul\x00esc\x1b[31mbell\x07del\x7fbom\ufeff",
    "lines": "one\ntwo\r\nthree\ttab\u2028four\u2029five\x0bsix",
    "surrogate": "half\ud83dpair",
    "long": "x" * 300,
    "quotes": "\"double\" 'single' `back` \u201ccurly\u201d",
    "formula": '=HYPERLINK("http://x.example","y")',
    "minus": "-2+3+cmd|' /C calc'!A0",
    "at": "@SUM(1,2)",
    "folder": "../../etc/passwd\\..\\x",
    "emoji": "cord \U0001f600 \U0001f469\u200d\U0001f52c",
    "han": "\u53cc\u7ede\u7ebf",
    "marks": "Z\u0351\u0347\u034d a\u0301",
    "option": "--help -o /tmp/x",
    "rich": "[bold red]x[/] [link=http://x.example]y[/link]",
}


def named(item: ReportItem, name: str) -> ReportItem:
    """An item that says a name wherever somebody else has a say."""
    measurement = dataclasses.replace(
        item.measurement,
        specimen=Specimen(name, 2.0, name),
        operator=name,
        station=name,
        analyzer=dataclasses.replace(item.measurement.analyzer, idn=name),
        calibration=dataclasses.replace(item.measurement.calibration, identifier=name),
        software={name: name},
        fixture_toml=name,
    )
    return dataclasses.replace(
        item,
        measurement=measurement,
        verdict=dataclasses.replace(
            item.verdict, specimen=name, requirement=name, record=name, notes=(name,), doubts=(name,)
        ),
        comments=(comment(name),),
    )


def comment(name: str) -> Comment:
    given = {"text": name, "by": name}
    rest = {
        one.name: "ab" * 32 if "hash" in one.name or one.name == "of" else "2026-03-01T12:30:05Z"
        for one in dataclasses.fields(Comment)
        if one.name not in given and one.default is dataclasses.MISSING
    }
    return Comment(**given, **rest)


@pytest.fixture(scope="module")
def items(build: SimpleNamespace) -> dict[str, ReportItem]:
    item = build.item("plain", points=21)
    kept = [row for row in item.verdict.rows if row.parameter.value == "return_loss"]
    item = dataclasses.replace(
        item,
        traces=[trace for trace in item.traces if trace.parameter.value == "return_loss"],
        verdict=dataclasses.replace(item.verdict, rows=tuple(kept)),
    )
    return {key: named(item, name) for key, name in NAMES.items()}


@pytest.fixture(scope="module")
def whole(items: dict[str, ReportItem]) -> Document:
    return report_document(list(items.values()), english(), title="titles " + " ".join(NAMES.values()))


@pytest.fixture(scope="module")
def reader(whole: Document, pdf: SimpleNamespace) -> PdfReader:
    return pdf.read(whole)


@pytest.fixture(scope="module")
def printed(reader: PdfReader, pdf: SimpleNamespace) -> str:
    return pdf.joined(reader)


@pytest.fixture(scope="module")
def page(whole: Document) -> str:
    return html_page(whole)


def drawings(document: Document) -> list[Drawn]:
    found: list[Drawn] = []
    left = list(document.blocks)
    while left:
        block = left.pop()
        if isinstance(block, Section):
            left += block.blocks
        elif isinstance(block, Drawn):
            found.append(block)
    return found


def numbered(name: str, told: str) -> str:
    """What stands for a name in a PDF whose fonts may lack some characters of it."""
    shown = "".join(clean(name).split()).replace("\u200d", "")
    return "".join(f"[U+{ord(char):04X}]" if f"[U+{ord(char):04X}]" in told else char for char in shown)


@pytest.mark.parametrize("key", NAMES)
def test_the_pdf_has_the_name_as_words(key: str, printed: str) -> None:
    told = unicodedata.normalize(
        "NFC", printed.replace("\u200b", "").replace("[U+200D]", "").replace("\u200d", "")
    )
    wanted = unicodedata.normalize("NFC", numbered(NAMES[key], printed))
    # specimen, note, operator, station, analyzer, requirement, record, doubts, comments ...
    assert told.count(wanted) >= 8


def test_the_pdf_has_nothing_unseen(printed: str) -> None:
    assert not {char for char in printed if unicodedata.category(char) in ("Cc", "Cs", "Co", "Cn")}
    assert not set(printed) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u200e\u200f\ufeff")


def test_the_pdf_does_nothing_but_lead_to_its_own_pages(reader: PdfReader) -> None:
    """ISO 32000-1, 12.6: no action besides going to a place in the document; no file within it."""
    root = reader.trailer["/Root"]
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(root)
    assert not {"/JavaScript", "/EmbeddedFiles"} & set(root.get("/Names", {}))
    for one in reader.pages:
        assert "/AA" not in one
        for annotation in one.get("/Annots", ()):
            link = annotation.get_object()
            assert link["/Subtype"] == "/Link"
            assert link.get("/A", {"/S": "/GoTo"})["/S"] == "/GoTo"


def test_head_and_foot_of_every_page_are_our_own(pdf: SimpleNamespace) -> None:
    for name in NAMES.values():
        made = report_document(
            [], english(), particulars=Particulars(laboratory=name, number=name), title=name
        )
        reader = pdf.read(made)
        for place, one in enumerate(reader.pages, start=1):
            told = one.extract_text()
            assert told.rstrip().endswith(f"page {place} of {len(reader.pages)}")
            for left, right, base in pdf.runs(one):
                assert left >= 39
                assert right <= 595.3 - 39
                assert 20 < base < 842 - 25


class Read(HTMLParser):
    """Every text and every attribute of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: dict[str, int] = {}
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] = self.tags.get(tag, 0) + 1
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_page_has_the_names_as_words(page: str, items: dict[str, ReportItem]) -> None:
    read = Read(page)
    told = "".join("".join(read.words).split())
    for name in NAMES.values():
        assert told.count("".join(clean(name).split())) >= 8, name
    tame = [named(one, f"plain {place}") for place, one in enumerate(items.values())]
    plain = Read(html_page(report_document(tame, english(), title="t")))
    assert set(read.tags) == set(plain.tags), "no name makes an element"
    # How many links there are goes by which definitions are the same; where they lead is ours alone.
    assert all((target or "").startswith("#") for name, target in read.attributes if name == "href")
    for tag in ("script", "style", "svg", "title", "meta", "section", "table", "figure", "h1", "h2"):
        assert read.tags.get(tag) == plain.tags.get(tag), tag
    assert {name for name, _ in read.attributes} == {name for name, _ in plain.attributes}
    assert not {char for char in page if unicodedata.category(char) in ("Cc", "Cs", "Co")} - {"\n"}
    assert not set(page) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u200e\u200f\ufeff")
    page.encode("utf-8")


def test_charts_stay_xml(whole: Document) -> None:
    found = drawings(whole)
    assert len(found) >= len(NAMES)
    allowed = set(
        "svg g path rect line text tspan circle polyline polygon title desc defs pattern clipPath".split()
    )
    for one in found:
        kinds = {element.tag.split("}")[-1] for element in ET.fromstring(one.picture.svg).iter()}
        assert kinds <= allowed


@pytest.mark.parametrize("key", NAMES)
def test_a_terminal_shows_it_and_does_nothing(key: str, items: dict[str, ReportItem]) -> None:
    item = items[key]
    for told in (verdict_table(item.verdict), measurement_table(item.measurement)):
        assert "".join(clean(NAMES[key]).split())[:60] in "".join(told.split())
        assert not {char for char in told if unicodedata.category(char) in ("Cc", "Cs", "Co")} - {"\n"}
        assert not set(told) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u200e\u200f\ufeff")
        told.encode("utf-8")


def test_a_spreadsheet_runs_none_of_them(tmp_path: Path) -> None:
    """Cells after RFC 4180; what begins a formula is text (advice of OWASP on CSV, from memory)."""
    names = [name for key, name in NAMES.items() if key != "surrogate"]
    path = write_table({"specimen": names, "=head": list(range(len(names)))}, tmp_path / "names.csv")
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert len(rows) == 1 + len(names)
    for name, (cell, _) in zip(["specimen", *names], rows, strict=True):
        assert cell.lstrip()[:1] not in tuple("=+-@\t\r")
        assert cell.replace("'", "") == name.replace("'", "")
    assert rows[0][1].startswith("'")


def test_words_of_people_are_no_entities_twice(page: str) -> None:
    assert html.escape(NAMES["entity"], quote=False) in page
    assert not re.search(r"&amp;amp;amp;", page)
