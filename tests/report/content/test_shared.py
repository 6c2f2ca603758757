"""What several parts say alike is printed once, and the others lead there."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from benchsweep.report import ReportItem
from benchsweep.report.content import report_document
from benchsweep.report.document import Document, Link, Listing, Paragraph, Section, plain
from benchsweep.report.text import english
from tests.report.content.told import section_in, within

TEXTS = english()


def changed(item: ReportItem, name: str, **fields: object) -> ReportItem:
    measurement = replace(item.measurement, **fields)
    return replace(
        item, measurement=measurement, verdict=replace(item.verdict, specimen=name), content_hash=name
    )


def parts(document: Document) -> list[Section]:
    found = [block for block in document.blocks if isinstance(block, Section)]
    return [section for section in found if section.anchor.startswith("specimen-")]


def listings(section: Section) -> list[tuple[str, ...]]:
    return [block.lines for block in within(section) if isinstance(block, Listing)]


def links(section: Section) -> list[Link]:
    paragraphs = [block for block in within(section) if isinstance(block, Paragraph)]
    return [piece for block in paragraphs for piece in block.line if isinstance(piece, Link)]


def test_the_same_definitions_are_printed_once(build: SimpleNamespace) -> None:
    item = build.item(points=30)
    fixture = 'name = "one"\nkind = "contacts"'
    budget = 'name = "b"\n[noise]'
    group = [
        changed(item, "T1", fixture_toml=fixture, budget_toml=budget),
        changed(item, "T2", fixture_toml=fixture, budget_toml=budget + "\nx = 1"),
        changed(item, "T3", fixture_toml=fixture, budget_toml=budget),
    ]
    first, second, third = parts(report_document(group, TEXTS))
    lines = [tuple(text.splitlines()) for text in (fixture, budget, budget + "\nx = 1")]
    assert listings(first) == lines[:2]
    assert listings(second) == lines[2:]
    assert listings(third) == []
    anchor = section_in(first, "Fixture definition as used").anchor
    assert anchor
    (link,) = links(section_in(second, "Fixture definition as used"))
    assert link.anchor == anchor
    assert plain((link.piece,)) == "T1"
    other = section_in(first, "Uncertainty budget as used").anchor
    assert [one.anchor for one in links(section_in(third, "Provenance"))] == [anchor, other]
    assert anchor != other


def test_one_record_alone_keeps_all_it_says(build: SimpleNamespace) -> None:
    (only,) = parts(report_document([build.item(points=30)], TEXTS))
    assert listings(only)
    assert not section_in(only, "Fixture definition as used").anchor
