"""The page as text: what is in it, what it allows, and that nothing in it can be more than text."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import itertools
import json
import re
import tomllib
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path

import pytest

from benchsweep.report import text as catalogue_room
from benchsweep.report.document import (
    Column,
    Document,
    Drawn,
    Given,
    Link,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
)
from benchsweep.report.html import CONTROLS, html_page, write_html
from tests.browser.made_up import document
from tests.browser.made_up import picture as made_up_picture

HOSTILE = "</style><script>alert(1)</script></script><!--\u202e\"'\\}</bdi>\x00"
VOID = {"meta", "img", "br", "input", "link", "base"}


class Elements(HTMLParser):
    """Reads a page as a strict reader would, and notes what opens and closes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.starts: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.starts.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.starts.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.starts if name == tag]


def small(*blocks: object, title: str = "t", number: str = "n") -> Document:
    return dataclasses.replace(document(), blocks=blocks, title=(title,), number=number)  # type: ignore[arg-type]


@pytest.mark.parametrize("hostile", ["", HOSTILE])
def test_the_elements_are_in_order(hostile: str) -> None:
    page = Elements(html_page(document(hostile)))
    assert page.open == []
    names = [attributes["id"] for _, attributes in page.starts if attributes.get("id")]
    assert len(names) == len(set(names))
    leads = {attributes["href"] for attributes in page.named("a")}
    assert leads <= {f"#{name}" for name in names}
    ranks = [int(tag[1]) for tag, _ in page.starts if re.fullmatch("h[1-6]", tag)]
    assert ranks[0] == 1
    assert ranks.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(ranks))
    assert all(head.get("scope") in ("col", "row") for head in page.named("th"))
    assert [tag for tag, _ in page.starts if tag in ("header", "main", "nav")] == ["header", "main", "nav"]
    assert page.named("html")[0] == {"lang": "en", "dir": "ltr"}


def test_nothing_is_asked_of_a_network() -> None:
    text = html_page(document(HOSTILE))
    page = Elements(text)
    assert {tag for tag, _ in page.starts} & {"link", "img", "iframe", "object", "base", "form"} == set()
    for _, attributes in page.starts:
        assert not {name for name in attributes if name.startswith("on")} | (
            {"src", "style"} & set(attributes)
        )
    addresses = set(re.findall(r"https?://[^\s\"'<]+", text))
    assert addresses == {"http://www.w3.org/2000/svg"}, "a name, not an address that is asked"
    assert "url(" not in text
    assert "@import" not in text


def test_only_its_own_script_and_style_count() -> None:
    page = Elements(html_page(document(HOSTILE)))
    (policy,) = [attributes["content"] for attributes in page.named("meta") if "http-equiv" in attributes]
    rules = dict(rule.split(maxsplit=1) for rule in (policy or "").split("; "))
    scripts = [
        text
        for text, attributes in zip(page.texts["script"], page.named("script"), strict=True)
        if attributes.get("type") != "application/json"
    ]
    assert len(scripts) == 1
    for name, text in (("script-src", scripts[0]), ("style-src", "".join(page.texts["style"]))):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[name] == f"'sha256-{digest}'"
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert "unsafe" not in (policy or "")


def test_readings_survive_the_way_into_the_page() -> None:
    made = document(HOSTILE)
    page = Elements(html_page(made))
    told = [
        json.loads(text)
        for text, attributes in zip(page.texts["script"], page.named("script"), strict=True)
        if attributes == {"type": "application/json"}
    ]
    assert len(told) == 6
    assert told[0]["panels"][0]["curves"][0]["name"] == f"12{HOSTILE}"


def test_given_text_is_set_apart_and_made_visible() -> None:
    text = html_page(
        small(Paragraph(("by ", Given("A <b>\u202e\u2066\t\ud800"), Strong("x < 1"))), title="<i>")
    )
    assert "<p>by <bdi>A &lt;b&gt;????</bdi><strong>x &lt; 1</strong></p>" in text
    assert "<title>&lt;i&gt;</title>" in text
    assert "2.5\u00a0dB" in html_page(small(Paragraph(("2.5\u00a0dB",)))), "numbers stay with their units"


def test_links_and_tables() -> None:
    table = Table(
        (Column("what"), Column("n", number=True), Column("", kept=True)),
        (Row((("a",), ("1",), ()), "fail"), Row(((), ("2",), (Link("there", Given("<x>")),)))),
        ("Caption",),
    )
    text = html_page(small(Section(("S",), (table,), "there")))
    assert '<section id="there">\n<h2>S</h2>' in text
    assert "<caption><span>Caption</span></caption>" in text
    assert '<tr><th scope="col" class="k">what</th><th scope="col" class="n k">n</th><td></td></tr>' in text
    assert (
        '<tr class="fail"><th scope="row" class="k">a</th><td class="n">1</td><td class="k"></td></tr>'
        in text
    )
    assert (
        '<tr><td class="k"></td><td class="n">2</td>'
        '<td class="k"><a href="#there"><bdi>&lt;x&gt;</bdi></a></td></tr>' in text
    )


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        (("LOT-118-2", "T11/8"), "k"),
        (("two words", "x"), None),
        (("one cell of more than thirty letters", "x"), "w"),
        (("W" * 26, "x"), "a"),
        ((f"many words and then a long one: {'W' * 300}", "x"), "a"),
    ],
)
def test_names_are_broken_only_where_they_are_too_long(cells: tuple[str, ...], kind: str | None) -> None:
    table = Table((Column("lot"),), tuple(Row(((Given(cell),),)) for cell in cells))
    rows = [row for row in Elements(html_page(small(table))).named("th") if row["scope"] == "row"]
    assert [row.get("class") for row in rows] == [kind] * len(cells)


def test_each_panel_is_a_drawing_that_is_told() -> None:
    """The parts of a drawing are all of it, in order; what only they share stands in the first."""
    seen = "<b>\"'&amp;"
    picture = made_up_picture("c", seen)
    page = html_page(small(Drawn(picture, ("NEXT",))))
    figure = page[page.index("<figure") : page.index("</figure>")]
    svgs = re.findall(r"<svg.*?</svg>", figure, re.DOTALL)
    roots = [ET.fromstring(svg) for svg in svgs]
    assert [root.attrib["viewBox"] for root in roots] == ["0 0 270 200", "270 0 277 200"]
    assert [root.attrib["role"] for root in roots] == ["img"] * 2
    title = f"fail, worst 36 at 17 MHz{seen}"
    assert roots[0].attrib["aria-label"].startswith("Loss over frequency at both ends")
    assert roots[0].attrib["aria-label"].endswith(f"end A: {title}")
    assert roots[1].attrib["aria-label"] == f"end B: {title}"
    whole = ET.fromstring(picture.svg)
    shown = [ET.tostring(element) for root in roots for element in root]
    assert shown == [ET.tostring(element) for element in whole]
    assert figure.count('class="plot p2"') == 2
    bare = dataclasses.replace(picture, svg='<svg viewBox="0 0 1 1" role="img" aria-label="x"></svg>')
    page = html_page(small(Drawn(bare, ("NEXT",))))
    assert f'<div class="plot p1"><div class="wide"><div class="sheet">\n{bare.svg}\n' in page


def test_heads_of_printed_pages_are_strings_whatever_the_number_is() -> None:
    style = "".join(Elements(html_page(small(title="T" * 300, number='N"}</style>\\'))).texts["style"])
    (right,) = [found for found in re.findall(r'@top-right { content: "(.*?)"; }', style) if found]
    told = "".join(
        chr(int(code, 16)) if code else char for code, char in re.findall(r"\\([0-9a-f]{6})|(.)", right)
    )
    assert told == '\u2068N"}</style>\\\u2069'
    assert re.fullmatch(r"(\\[0-9a-f]{6}|[A-Za-z0-9])*", right)
    assert 0 < style.count("T" * 59) == 1, "a long title is shortened there"
    assert "counter(page)" in style
    assert "counter(pages)" in style


def test_a_list_of_contents_for_long_reports_only() -> None:
    def sections(count: int, inner: int = 0) -> Document:
        return small(
            *(
                Section(
                    (f"S{place} ", Link("s-0", "x")),
                    tuple(Section((f"I{one}",), (), f"s-{place}-{one}") for one in range(inner)),
                    f"s-{place}",
                )
                for place in range(count)
            )
        )

    assert "<nav" not in html_page(sections(3))
    assert '<li><a href="#s-3">S3 x</a>' in html_page(sections(4)), "a link within a link is none"
    assert '<a href="#s-2-1">I1</a>' in html_page(sections(3, 2))
    assert '<details class="few" open><summary><h2 id="contents">' in html_page(sections(3, 2))
    many = html_page(sections(31, 2))
    assert '<details><summary><h2 id="contents">' in many, "nobody is to scroll past a thousand lines"
    assert '<a href="#s-29">' in many
    assert '<a href="#s-29-1">' not in many, "one could not find one's way"


def test_the_catalogue_has_the_words_for_what_a_person_does() -> None:
    catalogue = tomllib.loads(Path(catalogue_room.__file__).with_name("en.toml").read_text(encoding="utf-8"))
    assert set(catalogue["controls"]) == set(CONTROLS)
    made = document()
    without = {name: words for name, words in made.controls.items() if name != "margin"}
    with pytest.raises(KeyError, match="margin"):
        html_page(dataclasses.replace(made, controls=without))


@pytest.mark.parametrize(
    ("language", "direction"), [("de", "ltr"), ("pt-BR", "ltr"), ("ar", "rtl"), ("he-IL", "rtl")]
)
def test_languages_have_a_direction(language: str, direction: str) -> None:
    text = html_page(dataclasses.replace(document(), language=language))
    assert f'<html lang="{language}" dir="{direction}">' in text


def test_the_same_document_gives_the_same_bytes(tmp_path: Path) -> None:
    one = write_html(tmp_path / "deep" / "one.html", document(HOSTILE))
    other = write_html(tmp_path / "other.html", document(HOSTILE))
    assert one.read_bytes() == other.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["deep", "other.html"]
