"""What is kept of a measurement for the parts of a report that are about many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchsweep.records import Verdict
from benchsweep.report.content._doubts import doubt_lines
from benchsweep.report.content._item import ReportItem
from benchsweep.report.document import Line
from benchsweep.report.text import Texts

__all__ = ["Summary", "summary_of"]


@dataclass(frozen=True, slots=True)
class Summary:
    """One measurement among several: small, so that of a thousand all are kept.

    Parameters
    ----------
    anchor
        Of the section that tells all of it.
    specimen, lot
        What the laboratory calls it, and the production lot; the lot may be empty.
    created_at
        When it was measured or, of an import, stored; ISO 8601.
    sweep
        Number of the sweep when the record is a series; else None.
    verdicts
        One for each requirement.
    doubts
        What makes the outcomes doubtful, a line each.
    doubtful
        Whether each of the verdicts is doubtful, in their order.
    simulated
        Measured on the simulated bench.
    imported
        Read from a file of another program: `created_at` is when it was stored.
    """

    anchor: str
    specimen: str
    lot: str
    created_at: str
    sweep: int | None
    verdicts: tuple[Verdict, ...]
    doubts: tuple[Line, ...] = ()
    doubtful: tuple[bool, ...] = ()
    simulated: bool = False
    imported: bool = False


def summary_of(group: Sequence[ReportItem], anchor: str, texts: Texts) -> Summary:
    """Return what is kept of the items of one measurement, whose section has that `anchor`."""
    first = group[0]
    analyzer = first.measurement.analyzer
    specimen = first.measurement.specimen
    return Summary(
        anchor,
        first.verdict.specimen,
        specimen.lot,
        first.measurement.created_at,
        first.sweep,
        tuple(item.verdict for item in group),
        doubt_lines(group, texts),
        tuple(bool(doubt_lines([item], texts)) for item in group),
        analyzer is not None and analyzer.simulated,
        first.measurement.origin == "touchstone",
    )
