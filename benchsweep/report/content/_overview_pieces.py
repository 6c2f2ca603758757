"""Short names of measurements and traces, for tables of many."""

from __future__ import annotations

from datetime import UTC, datetime

from benchsweep.records import VerdictRow
from benchsweep.report.content._summary import Summary
from benchsweep.report.document import Given, Link
from benchsweep.report.text import Texts, pairs_words

__all__ = ["linked", "short_time", "short_where"]


def linked(part: Summary) -> Link:
    """Return the name of a specimen; it leads to its part."""
    return Link(part.anchor, Given(part.specimen))


def short_time(told: str) -> str:
    """Return an ISO 8601 time to the minute, in UTC where it has an offset; what is none as it is."""
    try:
        moment = datetime.fromisoformat(told)
    except ValueError:
        return told
    if moment.tzinfo is None:
        return moment.strftime("%Y-%m-%dT%H:%M")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")


def short_where(row: VerdictRow, texts: Texts) -> str:
    """Return where a row was measured, as short as a column is: ``A 12-36``."""
    return " ".join(part for part in (row.end or "", pairs_words(row.pairs, texts)) if part)
