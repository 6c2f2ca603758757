"""What a report is made of, whatever it is printed as: sections, tables, lists, charts.

`content` says it once; `html` and `pdf` print it. Nothing here knows a record, a language or a file format.

Text is a line of pieces. A plain `str` is the report's own; `Given` is what people, instruments and files
gave. That is never trusted, and is set apart so that a direction it has cannot turn what stands around it.

The blocks are read when one is first used: a table on the terminal has lines only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchsweep.report.document._clean import clean, unprintable
from benchsweep.report.document._line import Given, Line, Link, Piece, Strong, line, plain

if TYPE_CHECKING:
    from benchsweep.report.document._blocks import (
        Block,
        Box,
        Column,
        Document,
        Drawn,
        Emphasis,
        Facts,
        Items,
        Listing,
        Paragraph,
        Row,
        Section,
        Table,
    )

__all__ = [
    "Block",
    "Box",
    "Column",
    "Document",
    "Drawn",
    "Emphasis",
    "Facts",
    "Given",
    "Items",
    "Line",
    "Link",
    "Listing",
    "Paragraph",
    "Piece",
    "Row",
    "Section",
    "Strong",
    "Table",
    "clean",
    "line",
    "plain",
    "unprintable",
]


def __getattr__(name: str) -> Any:
    """Return a block, reading their file at the first use (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from benchsweep.report.document import _blocks

    value = getattr(_blocks, name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
