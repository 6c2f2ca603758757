"""How a table is fitted into the width of a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from benchsweep.report.document import Column, Table, plain
from benchsweep.report.pdf._words import BREAK, LONG, Typesetter, longest_word

__all__ = ["PAGE_WIDTH", "table_data"]

PAGE_WIDTH = 516.0
"""Of the text on a page, in points: A4 without two margins of 14 mm."""

_SIZES = (8.5, 7.5, 6.5, 5.5)
_LETTER = 0.47  # width of a letter in sizes of the type, on an average
_WIDE_LETTER = 0.53  # of what must not be broken: a word may have many wide ones
_BETWEEN = 6.0  # points between columns
_BESIDE = 18.0  # points between parts of a table that stand side by side
_NARROW = 0.3  # part of the page; a table that needs less stays as narrow as it is
_KEPT = 40  # characters; a column of longer cells is broken, whatever it is
_VERY_LONG = 8  # of words that may be broken where nothing else lets a table fit
_MOST_LINES = 30  # a row of more may be cut by the end of a page: it might be longer than one
_FEW_ROWS = 16
_SHORT = (8, 2000)  # rows and letters of a table that is not worth a second page
_MOST_ROWS = 45  # that parts side by side may have: they are read one after the other, on one page
_MOST_PARTS = 4


@dataclass(frozen=True, slots=True)
class _Cells:
    """Titles and cells, ready for print, and how many letters each column needs at least and at best.

    The cells of a column that is `whole` are not broken.
    """

    titles: list[str]
    whole: list[bool]
    rows: list[list[list[tuple[str, ...]]]]
    least: list[int]
    wanted: list[int]


def table_data(table: Table, setter: Typesetter) -> dict[str, Any]:
    """Return a table as `page.typ` reads it: size of type, columns, rows."""
    cells = _cells(table, setter, LONG, kept=True)
    size = next((one for one in _SIZES if _points(cells.least, one, _WIDE_LETTER) <= PAGE_WIDTH), None)
    if size is None:
        size = _SIZES[-1]
        cells = _cells(table, setter, _VERY_LONG, kept=False)
    needed = _points(cells.wanted, size)
    parts = _parts(len(table.rows), needed)
    widths = _widths(cells, size) if needed >= PAGE_WIDTH else [0.0] * len(cells.titles)
    share = PAGE_WIDTH / max(len(cells.titles), 1)
    rows = [
        {
            "cells": [(cell, row.emphasis) for cell in line],
            "cut": any(len(_joined(cell)) * _LETTER * size > share * _MOST_LINES for cell in line),
        }
        for row, line in zip(table.rows, cells.rows, strict=True)
    ]
    return {
        "caption": setter.line(table.caption),
        "size": size,
        "spread": parts == 1 and _NARROW * PAGE_WIDTH < needed < PAGE_WIDTH,
        "beside": _BESIDE,
        "whole": parts > 1 or _short(cells),
        "columns": [
            {
                "title": title,
                "number": column.number,
                "width": widths[place],
                "last": part + 1 < parts and place + 1 == len(cells.titles),
            }
            for part in range(parts)
            for place, (title, column) in enumerate(zip(cells.titles, table.columns, strict=True))
        ],
        "rows": _side_by_side(rows, parts, len(cells.titles)),
    }


def _cells(table: Table, setter: Typesetter, longest: int, *, kept: bool) -> _Cells:
    whole = [
        kept and _is_whole(column, [plain(row.cells[place]) for row in table.rows])
        for place, column in enumerate(table.columns)
    ]
    titles = [setter.breakable(column.title, longest) for column in table.columns]
    rows = [
        [setter.line(cell, kept=one, longest=longest) for cell, one in zip(row.cells, whole, strict=True)]
        for row in table.rows
    ]
    down = [[title, *(_joined(row[place]) for row in rows)] for place, title in enumerate(titles)]
    return _Cells(
        titles,
        whole,
        rows,
        least=[max(map(longest_word, column)) for column in down],
        wanted=[max(len(words.replace(BREAK, "")) for words in column) for column in down],
    )


def _is_whole(column: Column, cells: list[str]) -> bool:
    """Return whether the cells of a column are not broken.

    A short name such as ``T118-2`` is not, where its hyphen would end the line and be lost in it.
    """
    if column.number or column.kept:
        return all(len(cell) <= _KEPT for cell in cells)
    return len(column.title) < LONG and all(len(cell) < LONG and " " not in cell for cell in cells)


def _short(cells: _Cells) -> bool:
    most_rows, most_letters = _SHORT
    letters = sum(len(_joined(cell)) for row in cells.rows for cell in row)
    return len(cells.rows) <= most_rows and letters <= most_letters


def _joined(cell: list[tuple[str, ...]]) -> str:
    return "".join(piece[0] for piece in cell)


def _points(letters: list[int], size: float, width: float = _LETTER) -> float:
    return sum(count * width * size + _BETWEEN for count in letters)


def _parts(rows: int, needed: float) -> int:
    """Return how many parts of a long and narrow table stand side by side."""
    if rows <= _FEW_ROWS:
        return 1
    parts = min(_MOST_PARTS, int(PAGE_WIDTH // (needed * 1.1 + _BESIDE)), -(-rows // _FEW_ROWS))
    return parts if parts > 1 and -(-rows // parts) <= _MOST_ROWS else 1


def _side_by_side(rows: list[dict[str, Any]], parts: int, columns: int) -> list[dict[str, Any]]:
    high = -(-len(rows) // parts)
    empty: dict[str, Any] = {"cells": [([], "")] * columns, "cut": False}
    joined = []
    for place in range(high):
        across = [rows[at] if at < len(rows) else empty for at in range(place, high * parts, high)]
        joined.append(
            {
                "cells": [cell for row in across for cell in row["cells"]],
                "cut": any(row["cut"] for row in across),
            }
        )
    return joined


def _widths(cells: _Cells, size: float) -> list[float]:
    """Return the widths of the columns that are broken; 0: not broken, it takes what it needs.

    Those that need less than an equal share get what they need, the others share the rest, and each has
    room for its longest word.
    """
    least = [_points([count], size, _WIDE_LETTER) for count in cells.least]
    wanted = [max(_points([count], size), low) for count, low in zip(cells.wanted, least, strict=True)]
    widths = [0.0] * len(wanted)
    left = [place for place, whole in enumerate(cells.whole) if not whole]
    rest = PAGE_WIDTH - sum(wanted[place] for place, whole in enumerate(cells.whole) if whole)
    while left:
        share = max(rest, 0.0) / len(left)
        content = [place for place in left if wanted[place] <= share]
        for place in content or left:
            widths[place] = wanted[place] if content else max(least[place], share)
            rest -= wanted[place]
        left = [place for place in left if content and place not in content]
    return widths
