"""Plain text for a terminal: tables within its columns, and a small plot.

The text is English, holds no control characters whatever names and notes hold, and needs no colour.

Its files are read when something of them is first used: each command prints some of them only.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchsweep.report.terminal._budget import budget_table
    from benchsweep.report.terminal._check import archive_check_table
    from benchsweep.report.terminal._comparison import comparison_table
    from benchsweep.report.terminal._english import stopping_words
    from benchsweep.report.terminal._field_result import field_result_table
    from benchsweep.report.terminal._lines import labelled_table
    from benchsweep.report.terminal._lot import lot_list, lot_table
    from benchsweep.report.terminal._lot_pick import pick_list
    from benchsweep.report.terminal._lot_plan import sampling_table
    from benchsweep.report.terminal._lot_proof import lot_proof_table
    from benchsweep.report.terminal._measurement import incident_table, measurement_table
    from benchsweep.report.terminal._plot import PlottedTrace, can_draw, trace_plot
    from benchsweep.report.terminal._process import process_list, process_table
    from benchsweep.report.terminal._references import (
        Followed,
        channel_table,
        due_table,
        field_tester_table,
        reference_list,
    )
    from benchsweep.report.terminal._series import series_sweep_table, series_table, unfinished_table
    from benchsweep.report.terminal._study import study_table
    from benchsweep.report.terminal._verdict import requirement_table, verdict_table

__all__ = [
    "Followed",
    "PlottedTrace",
    "archive_check_table",
    "budget_table",
    "can_draw",
    "channel_table",
    "comparison_table",
    "due_table",
    "field_result_table",
    "field_tester_table",
    "incident_table",
    "labelled_table",
    "lot_list",
    "lot_proof_table",
    "lot_table",
    "measurement_table",
    "pick_list",
    "process_list",
    "process_table",
    "reference_list",
    "requirement_table",
    "sampling_table",
    "series_sweep_table",
    "series_table",
    "stopping_words",
    "study_table",
    "trace_plot",
    "unfinished_table",
    "verdict_table",
]

_FILE_OF = {
    "Followed": "_references",
    "PlottedTrace": "_plot",
    "archive_check_table": "_check",
    "budget_table": "_budget",
    "can_draw": "_plot",
    "channel_table": "_references",
    "comparison_table": "_comparison",
    "due_table": "_references",
    "field_result_table": "_field_result",
    "incident_table": "_measurement",
    "labelled_table": "_lines",
    "lot_list": "_lot",
    "lot_proof_table": "_lot_proof",
    "lot_table": "_lot",
    "measurement_table": "_measurement",
    "pick_list": "_lot_pick",
    "process_list": "_process",
    "process_table": "_process",
    "reference_list": "_references",
    "requirement_table": "_verdict",
    "sampling_table": "_lot_plan",
    "series_sweep_table": "_series",
    "series_table": "_series",
    "stopping_words": "_english",
    "study_table": "_study",
    "field_tester_table": "_references",
    "trace_plot": "_plot",
    "unfinished_table": "_series",
    "verdict_table": "_verdict",
}
"""Which file a name comes from: the same as the imports above, which only the type checker follows."""


def __getattr__(name: str) -> Any:
    """Return a public name, reading its file at the first use (PEP 562)."""
    if name not in _FILE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FILE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
