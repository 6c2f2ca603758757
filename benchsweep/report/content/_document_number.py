"""A number for a report that nobody gave one: the same for the same content."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Verdict
from benchsweep.report.content._pieces import short_digest
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content._subject import ReportPart

__all__ = ["derived_number"]


def derived_number(parts: Sequence[ReportPart], series: Sequence[SeriesItem] = ()) -> str:
    """Return twelve hexadecimal digits in groups of four that stand for what is reported.

    They are the first of a SHA-256 over the content hashes of the records and over the verdicts. Where a
    record is kept, in which language and how fully it is reported makes no difference.
    """
    told = [
        [part.content_hash, part.summary.specimen, part.summary.created_at, part.summary.sweep,
         *map(_verdict, part.summary.verdicts)]
        for part in parts
    ]  # fmt: skip
    told += [
        [item.content_hash, item.head.specimen.identifier, item.summary.first_at, item.summary.sweeps]
        for item in series
    ]
    return short_digest(told)


def _verdict(verdict: Verdict) -> list[object]:
    return [
        verdict.requirement,
        verdict.decision_rule,
        verdict.length_m,
        verdict.budget,
        verdict.outcome.value,
        [
            [row.parameter.value, row.end, row.pairs, row.worst_margin_db, row.limit, row.outcome.value]
            for row in verdict.rows
        ],
    ]
