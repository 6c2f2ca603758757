"""A document as the plain data that `page.typ` prints."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import singledispatchmethod
from typing import Any

from benchsweep.report.document import (
    Block,
    Box,
    Document,
    Drawn,
    Facts,
    Items,
    Line,
    Listing,
    Paragraph,
    Section,
    Table,
    plain,
)
from benchsweep.report.pdf._joined import joined_to_next, length
from benchsweep.report.pdf._table import PAGE_WIDTH, table_data
from benchsweep.report.pdf._words import Typesetter, shortened

__all__ = ["MARK", "document_data", "words_in"]

MARK = "benchsweep report"
"""Keyword of every PDF of ours: such a file may be replaced by a newer one."""

_PAGE_HEIGHT = 650.0  # points that a picture may have, its caption below
_VIEW_BOX = re.compile(r'viewBox="[\d.-]+ [\d.-]+ ([\d.]+) ([\d.]+)"')
_LANGUAGE = re.compile(r"([A-Za-z]{2,3})(?:-[A-Za-z]{4})?(?:-([A-Za-z]{2})\b)?")
_MANY = 2500  # characters that fill about half a page
_LONG_OUTCOME = 30  # letters that a large word may have before it is broken
_LISTED = 120  # characters of fixed width that a line has
_LETTER = 0.47  # width of a letter in sizes of the type


def document_data(document: Document, missing: dict[int, str]) -> dict[str, Any]:
    """Return what `page.typ` reads.

    Parameters
    ----------
    document
        What is printed.
    missing
        Characters that no font has, and what is printed for each.
    """
    sections = list(_sections(document.blocks))
    printer = _Printer(Typesetter({one.anchor for one in sections if one.anchor}, missing))
    words = printer.setter.words
    breakable = printer.setter.breakable
    return {
        "title": words(plain(document.title)),
        "heading": printer.setter.line(document.title),
        "mark": MARK,
        "tongue": _tongue(document.language),
        "head": {
            "title": breakable(shortened(plain(document.title), 80)),
            "number": breakable(shortened(document.number, 40)),
            "running": breakable(shortened(plain(document.running), 110)),
        },
        "page_words": words(document.page_words),
        "end": breakable(document.end),
        "blocks": printer.blocks(document.blocks),
    }


def words_in(data: object) -> Iterator[str]:
    """Yield every text in plain data."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from words_in(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from words_in(value)


def _sections(blocks: tuple[Block, ...]) -> Iterator[Section]:
    for block in blocks:
        if isinstance(block, Section):
            yield block
            yield from _sections(block.blocks)


def _tongue(language: str) -> dict[str, str]:
    found = _LANGUAGE.match(language)
    if found is None:
        return {}
    tongue = {"lang": found[1].lower()}
    return tongue | {"region": found[2].upper()} if found[2] else tongue


class _Printer:
    """Turns blocks into data; holds which anchors have been given, since a name must lead to one place."""

    def __init__(self, setter: Typesetter) -> None:
        self.setter = setter
        self._given: set[str] = set()

    def blocks(self, blocks: tuple[Block, ...]) -> list[dict[str, Any]]:
        kept = joined_to_next(blocks)
        return [self.block(one) | {"joined": here} for one, here in zip(blocks, kept, strict=True)]

    def lines(self, lines: tuple[Line, ...]) -> list[list[tuple[str, ...]]]:
        return [self.setter.line(one) for one in lines]

    @singledispatchmethod
    def block(self, block: Any) -> dict[str, Any]:
        raise TypeError(f"a PDF knows no block of the kind {type(block).__name__}")

    @block.register
    def _(self, block: Paragraph) -> dict[str, Any]:
        return {"kind": "paragraph", "line": self.setter.line(block.line), "legend": block.legend}

    @block.register
    def _(self, block: Items) -> dict[str, Any]:
        return {"kind": "items", "lines": self.lines(block.lines), "numbered": block.numbered}

    @block.register
    def _(self, block: Facts) -> dict[str, Any]:
        widest = max((len(plain(name)) for name, _lines in block.entries), default=0)
        return {
            "kind": "facts",
            "share": min(max(widest * _LETTER * 9.5 / PAGE_WIDTH, 0.14), 0.36),
            "entries": [
                {"name": self.setter.line(name), "lines": self.lines(lines), "cut": length(lines) > _MANY}
                for name, lines in block.entries
            ],
        }

    @block.register
    def _(self, block: Table) -> dict[str, Any]:
        return {"kind": "table", **table_data(block, self.setter)}

    @block.register
    def _(self, block: Box) -> dict[str, Any]:
        return {
            "kind": "box",
            "word": self.setter.breakable(block.word, _LONG_OUTCOME),
            "lines": self.lines(block.lines),
            "items": self.lines(block.items),
            "emphasis": block.emphasis,
            "cut": length(block.lines) + length(block.items) > _MANY,
        }

    @block.register
    def _(self, block: Drawn) -> dict[str, Any]:
        picture = block.picture
        return {
            "kind": "drawn",
            "svg": picture.svg.translate(self.setter.missing),
            "words": self.setter.words(picture.words),
            "caption": self.setter.line(block.caption),
            "width": _width(picture.svg),
        }

    @block.register
    def _(self, block: Listing) -> dict[str, Any]:
        return {
            "kind": "listing",
            "words": "\n".join(self.setter.breakable(one, _LISTED) for one in block.lines),
        }

    @block.register
    def _(self, block: Section) -> dict[str, Any]:
        anchor = "" if block.anchor in self._given else block.anchor
        self._given.add(anchor)
        return {
            "kind": "section",
            "title": self.setter.line(block.title),
            "anchor": anchor,
            "own_page": block.own_page,
            "blocks": self.blocks(block.blocks),
        }


def _width(svg: str) -> float:
    """Return which part of the width of the text a picture takes: all, unless it is very high."""
    box = _VIEW_BOX.search(svg)
    if box is None:
        return 1.0
    return min(1.0, _PAGE_HEIGHT * float(box[1]) / float(box[2]) / PAGE_WIDTH)
