"""A series on the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from benchsweep.records import SeriesHead, SeriesSummary
from benchsweep.report._series_tables import (
    DASH,
    WANDER_NOTE,
    Table,
    any_wanders,
    largest_tables,
    slope_tables,
)
from benchsweep.report._tables import fixture_name

__all__ = ["SeriesItem", "series_context"]


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
    """

    head: SeriesHead
    summary: SeriesSummary
    record: str
    content_hash: str = ""


def _without_empty(table: Table) -> dict[str, Any]:
    """Return a table for the page without the columns that hold nothing but dashes."""
    heads, rows = table
    kept = [place for place in range(len(heads)) if any(row[place] != DASH for row in rows)]
    return {
        "heads": [heads[place] for place in kept],
        "rows": [[row[place] for place in kept] for row in rows],
    }


def series_context(place: int, item: SeriesItem) -> dict[str, Any]:
    """Return what the template needs of a series."""
    from markupsafe import Markup

    from benchsweep.report._series_figures import draw_course

    summary = item.summary
    readings = summary.course.reading[np.isfinite(summary.course.reading)]
    moved = readings.size > 1 and float(np.ptp(readings)) > 0.0
    figures = []
    shown = [change for change in summary.changes if np.isfinite(change.loss_db).any()]
    for parameter in dict.fromkeys(change.parameter for change in shown):
        # Drawn by us from numbers and from labels that the SVG writer escapes.
        drawn = [Markup(draw_course(parameter, summary, against_reading=False))]
        if moved:
            drawn.append(Markup(draw_course(parameter, summary, against_reading=True)))
        figures.append({"parameter": parameter, "drawn": drawn})
    legs = item.head.hookup.connections.values()
    return {
        "place": place,
        "head": item.head,
        "summary": summary,
        "record": item.record,
        "content_hash": item.content_hash,
        "attached": list(dict.fromkeys(leg.partition(".")[0] for leg in legs)),
        "grid": item.head.frequency_hz,
        "fixture_name": fixture_name(item.head.fixture_toml),
        "figures": figures,
        "largest": [_without_empty(table) for table in largest_tables(summary.changes, wide=True)],
        "slopes": [_without_empty(table) for table in slope_tables(summary, wide=True)],
        "wander_note": WANDER_NOTE if any_wanders(summary) else "",
        "more_events": sum(summary.event_counts.values()) - len(summary.events),
    }
