"""What a report is made of, whatever it is printed as: sections, tables, lists, charts.

`content` says it once; `html` and `pdf` print it. Nothing here knows a record, a language or a file format.

Text is a line of pieces. A plain `str` is the report's own; `Given` is what people, instruments and files
gave. That is never trusted, and is set apart so that a direction it has cannot turn what stands around it.
"""

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
from benchsweep.report.document._clean import clean
from benchsweep.report.document._line import Given, Line, Link, Piece, Strong, line, plain

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
]
