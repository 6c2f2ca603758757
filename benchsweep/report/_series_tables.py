"""A series in tables."""

from __future__ import annotations

from benchsweep.report.terminal._series import (
    DASH,
    SERIES_LEGEND,
    WANDER_NOTE,
    Table,
    any_wanders,
    as_delay_ps,
    event_words,
    fit_words,
    largest_tables,
    series_sweep_table,
    series_table,
    slope_tables,
    unfinished_table,
)

__all__ = [
    "DASH",
    "SERIES_LEGEND",
    "WANDER_NOTE",
    "Table",
    "any_wanders",
    "as_delay_ps",
    "event_words",
    "fit_words",
    "largest_tables",
    "series_sweep_table",
    "series_table",
    "slope_tables",
    "unfinished_table",
]
