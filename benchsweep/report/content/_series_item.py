"""One series of a report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsweep.records import Comment, SeriesHead, SeriesSummary

__all__ = ["SeriesItem"]


@dataclass(frozen=True)
class SeriesItem:
    """One series of a report.

    Parameters
    ----------
    head, summary
        What all sweeps share, and how they changed.
    record
        Where it is, as the caller named it.
    content_hash
        Hash that names its content; empty while it is not finished.
    comments
        What was said of the record afterwards, in time order.
    """

    head: SeriesHead
    summary: SeriesSummary
    record: str
    content_hash: str = ""
    comments: Sequence[Comment] = ()
