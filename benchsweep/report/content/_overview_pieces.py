"""Short names of measurements and traces, for tables of many."""

from __future__ import annotations

from benchsweep.records import VerdictRow
from benchsweep.report.content._summary import Summary
from benchsweep.report.document import Given, Link
from benchsweep.report.text import Texts, pairs_words

__all__ = ["linked", "short_where"]


def linked(part: Summary) -> Link:
    """Return the name of a specimen; it leads to its part."""
    return Link(part.anchor, Given(part.specimen))


def short_where(row: VerdictRow, texts: Texts) -> str:
    """Return where a row was measured, as short as a column is: ``A 12-36``."""
    return " ".join(part for part in (row.end or "", pairs_words(row.pairs, texts)) if part)
