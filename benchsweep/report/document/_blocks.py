"""The blocks of a report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from benchsweep.report.document._line import Line

if TYPE_CHECKING:
    from benchsweep.report.chart import Picture

__all__ = [
    "Block",
    "Box",
    "Column",
    "Document",
    "Drawn",
    "Emphasis",
    "Facts",
    "Items",
    "Listing",
    "Paragraph",
    "Row",
    "Section",
    "Table",
]

Emphasis: TypeAlias = Literal["", "fail", "undecided"]
"""How a row or a box looks beside its words: ``fail`` heavy, ``undecided`` slanted or dashed."""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Words. A `legend` explains what stands above it, smaller."""

    line: Line
    legend: bool = False


@dataclass(frozen=True, slots=True)
class Items:
    """A list; numbered where other places refer to the numbers."""

    lines: tuple[Line, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are: ``operator  Ines Vogt``. A name may have several lines."""

    entries: tuple[tuple[Line, tuple[Line, ...]], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """Head of a column. Numbers stand to the right and are never broken, nor are `kept` words."""

    title: str
    number: bool = False
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table; its first cell names it. An empty cell is an empty line."""

    cells: tuple[Line, ...]
    emphasis: Emphasis = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table with heads; `caption` may be empty where the section's title says it."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    caption: Line = ()


@dataclass(frozen=True, slots=True)
class Box:
    """The outcome as a word, large, and beside it what it stands on."""

    word: str
    lines: tuple[Line, ...]
    items: tuple[Line, ...] = ()
    emphasis: Emphasis = ""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A chart; `caption` names it."""

    picture: Picture
    caption: Line


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines of a file as they are, of fixed width."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A part with a title. Its depth in the document gives the rank of its title.

    Parameters
    ----------
    title
        Its heading.
    blocks
        What is in it.
    anchor
        Name for links, unique in the document; empty: nothing leads here. Letters, digits and hyphens.
    own_page
        Begins a page of its own in print (a specimen among several).
    folded
        Only its title is seen on a screen until a person opens it. In print it is open.
    tellable
        The pairs that a person may choose to see in the charts of this section; empty: no choice.
    """

    title: Line
    blocks: tuple[Block, ...]
    anchor: str = ""
    own_page: bool = False
    folded: bool = False
    tellable: tuple[str, ...] = ()


Block: TypeAlias = "Paragraph | Items | Facts | Table | Box | Drawn | Listing | Section"


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report.

    Parameters
    ----------
    title
        Its heading.
    number
        What identifies it, the same on every page.
    language
        BCP 47 tag of the words in it.
    blocks
        What is in it, in order.
    running
        What stands at the head of each printed page beside title and number (laboratory); may be empty.
    end
        The words that mark its end.
    page_words
        How a printed page is numbered: ``page {page} of {pages}``, both replaced when printed.
    controls
        Words for what a person does on the page, by name; see `html`.
    """

    title: Line
    number: str
    language: str
    blocks: tuple[Block, ...]
    running: Line
    end: str
    page_words: str
    controls: dict[str, str]
