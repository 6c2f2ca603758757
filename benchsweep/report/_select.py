"""Which rows to show."""

from __future__ import annotations

from collections.abc import Iterable

from benchsweep.records import Parameter, VerdictRow
from benchsweep.report import text
from benchsweep.report.document import plain
from benchsweep.report.text import (
    ORDER,
    bad_rows,
    english,
    other_notes,
    severity,
    standings,
    worst_row,
    worst_rows,
)

__all__ = [
    "ORDER",
    "bad_rows",
    "other_notes",
    "row_notes",
    "severity",
    "standings",
    "worst_row",
    "worst_rows",
]


def row_notes(rows: Iterable[VerdictRow]) -> tuple[tuple[Parameter, str], ...]:
    """Return the notes of decided rows in English."""
    return tuple((parameter, plain(told)) for parameter, told in text.row_notes(rows, english()))
