"""Tables, written here and not in the template: a report of a thousand specimens has a million cells."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchsweep.report.document import Column, Table, plain
from benchsweep.report.html._escape import line_text

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["table_markup"]

_LONG_WORDS = 30


def table_markup(table: Table) -> tuple[Markup, Markup]:
    """Return the cells of the head, and the rows of the body.

    Classes, as the style sheet knows them: ``n`` numbers, ``k`` never broken, ``w`` words that need room on a
    narrow screen. The first cell of a row names it.
    """
    from markupsafe import Markup

    kinds = [_attribute(_cells(table, place, column)) for place, column in enumerate(table.columns)]
    rows = []
    for row in table.rows:
        cells = "".join(
            f'<th scope="row"{kind}>{line_text(cell)}</th>'
            if place == 0 and cell
            else f"<td{kind}>{line_text(cell)}</td>"
            for place, (cell, kind) in enumerate(zip(row.cells, kinds, strict=True))
        )
        rows.append(f"<tr{_attribute(row.emphasis)}>{cells}</tr>\n")
    return Markup("".join(map(_head, table.columns))), Markup("".join(rows))


def _attribute(name: str) -> str:
    return f' class="{name}"' if name else ""


def _head(column: Column) -> str:
    if not column.title:
        return "<td></td>"
    # A lone word such as ``12-36`` is not broken at its hyphen.
    lone = " " not in column.title.strip()
    kind = " ".join(name for name, holds in (("n", column.number), ("k", lone)) if holds)
    return f'<th scope="col"{_attribute(kind)}>{line_text((column.title,))}</th>'


def _cells(table: Table, place: int, column: Column) -> str:
    if column.number:
        return "n"
    if column.kept:
        return "k"
    return "w" if any(len(plain(row.cells[place])) > _LONG_WORDS for row in table.rows) else ""
