"""Tables, written here and not in the template: a report of a thousand specimens has a million cells."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchsweep.report.document import Column, Table, plain
from benchsweep.report.html._escape import line_text

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["table_markup"]

_LONG_WORDS = 30
_LONG_WORD = 25
_FEW_COLUMNS = 3


def table_markup(table: Table) -> tuple[str, Markup, Markup]:
    """Return the class of the table, the cells of its head, and the rows of its body.

    Classes, as the style sheet knows them: of a column ``n`` numbers, ``k`` never broken, ``w`` words that
    need room on a narrow screen, ``a`` broken anywhere (a long word is in it); of a table ``slim`` few
    columns, ``told`` more words than numbers. The first cell of a row names it.
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
    wordy = {' class="w"', ' class="a"'} & set(kinds)
    told = wordy and sum(column.number for column in table.columns) <= 1
    kind = "slim" if len(table.columns) <= _FEW_COLUMNS else "told" if told else ""
    return kind, Markup("".join(map(_head, table.columns))), Markup("".join(rows))


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
    cells = [plain(row.cells[place]) for row in table.rows]
    if any(len(word) > _LONG_WORD for cell in cells for word in cell.split()):
        return "a"
    if any(len(cell) > _LONG_WORDS for cell in cells):
        return "w"
    # Names such as ``T118-2`` are not broken at a hyphen, which would be lost in them.
    return "" if any(" " in cell for cell in cells) else "k"
