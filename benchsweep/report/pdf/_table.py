"""How a table is fitted into the width of a page."""

from __future__ import annotations

from typing import Any

from benchsweep.report.document import Table, plain
from benchsweep.report.pdf._words import Typesetter, longest_word

__all__ = ["PAGE_WIDTH", "table_data"]

PAGE_WIDTH = 516.0
"""Of the text on a page, in points: A4 without two margins of 14 mm."""

_SIZES = (8.5, 7.5, 6.5, 5.5)
_LETTER = 0.47  # width of a letter in sizes of the type, on an average
_BETWEEN = 6.0  # points between columns
_KEPT = 40  # characters; what is longer is broken, wherever it stands
_MOST_LINES = 30  # a row of more may be cut by the end of a page: it might be longer than one


def table_data(table: Table, setter: Typesetter) -> dict[str, Any]:
    """Return a table as `page.typ` reads it: size of type, columns, rows."""
    kept = [column.number or column.kept for column in table.columns]
    titles = [setter.words(column.title) for column in table.columns]
    rows = [
        [
            setter.line(cell, kept=whole and len(plain(cell)) <= _KEPT)
            for cell, whole in zip(row.cells, kept, strict=True)
        ]
        for row in table.rows
    ]
    texts = [[_joined(cell) for cell in row] for row in rows]
    down = list(zip(*texts, strict=True)) or [()] * len(titles)
    least = [max(map(longest_word, (title, *cells))) for title, cells in zip(titles, down, strict=True)]
    wanted = [max(map(len, (title, *cells))) for title, cells in zip(titles, down, strict=True)]
    size = next((one for one in _SIZES if _points(least, one) <= PAGE_WIDTH), _SIZES[-1])
    fills = _filling(wanted, kept, size)
    share = PAGE_WIDTH / max(len(titles), 1)
    return {
        "caption": setter.line(table.caption),
        "size": size,
        "columns": [
            {"title": title, "number": column.number, "fills": place == fills}
            for place, (title, column) in enumerate(zip(titles, table.columns, strict=True))
        ],
        "rows": [
            {
                "cells": cells,
                "emphasis": row.emphasis,
                "cut": any(len(words) * _LETTER * size > share * _MOST_LINES for words in told),
            }
            for row, cells, told in zip(table.rows, rows, texts, strict=True)
        ],
    }


def _joined(cell: list[tuple[str, ...]]) -> str:
    return "".join(piece[0] for piece in cell)


def _points(letters: list[int], size: float) -> float:
    return sum(count * _LETTER * size + _BETWEEN for count in letters)


def _filling(wanted: list[int], kept: list[bool], size: float) -> int | None:
    """Return which column takes the width that the others leave; None: all take what they need."""
    words = [place for place, whole in enumerate(kept) if not whole]
    if not words or _points(wanted, size) < 0.5 * PAGE_WIDTH:
        return None
    widest = max(words, key=wanted.__getitem__)
    others = _points([count for place, count in enumerate(wanted) if place != widest], size)
    return widest if others < 0.65 * PAGE_WIDTH else None
