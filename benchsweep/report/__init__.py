"""Show results to people: tables for a terminal; a report as one HTML page or as a PDF to hand over.

Conventions:

- The outcome comes first and is always a word; colour never carries a meaning alone.
- Every limit is shown with its standing; what was not evaluated is said.
- Names come from people and instruments and are never trusted: control and direction characters are shown as
  question marks, and everything is escaped on the page.
- What is drawn are records; nothing is computed here that a stage computes.
- A report is said once (`report_document`, or `report_part` of each measurement, in several processes where
  there are many, and `assembled`), and printed as what is wanted (`write_html`, `write_pdf`).

Its files are read when something of them is first used: who prints a table need not wait for charts.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchsweep.report._target import check_target
    from benchsweep.report.content import (
        BestCategory,
        ComparisonItem,
        Detail,
        Findings,
        KeptOutcome,
        LengthRule,
        LotItem,
        Particulars,
        ReportItem,
        ReportPart,
        SeriesItem,
        StudyItem,
        assembled,
        check_stated,
        comparison_document,
        load_particulars,
        lot_document,
        pick_list_document,
        process_report_document,
        report_document,
        report_part,
        study_document,
    )
    from benchsweep.report.document import Document
    from benchsweep.report.html import write_html
    from benchsweep.report.pdf import write_pdf
    from benchsweep.report.terminal import (
        Followed,
        PlottedTrace,
        archive_check_table,
        budget_table,
        can_draw,
        channel_table,
        comparison_table,
        due_table,
        field_result_table,
        field_tester_table,
        incident_table,
        labelled_table,
        lot_list,
        lot_proof_table,
        lot_table,
        measurement_table,
        pick_list,
        process_list,
        process_table,
        reference_list,
        requirement_table,
        sampling_table,
        series_sweep_table,
        series_table,
        stopping_words,
        study_table,
        trace_plot,
        unfinished_table,
        verdict_table,
    )
    from benchsweep.report.text import Texts, english, load_texts, worst_row

__all__ = [
    "BestCategory",
    "ComparisonItem",
    "Detail",
    "Document",
    "Findings",
    "Followed",
    "KeptOutcome",
    "LengthRule",
    "LotItem",
    "Particulars",
    "PlottedTrace",
    "ReportItem",
    "ReportPart",
    "SeriesItem",
    "StudyItem",
    "Texts",
    "archive_check_table",
    "assembled",
    "budget_table",
    "can_draw",
    "channel_table",
    "check_stated",
    "check_target",
    "comparison_document",
    "comparison_table",
    "due_table",
    "english",
    "field_result_table",
    "field_tester_table",
    "incident_table",
    "labelled_table",
    "load_particulars",
    "load_texts",
    "lot_document",
    "lot_list",
    "lot_proof_table",
    "lot_table",
    "measurement_table",
    "pick_list",
    "pick_list_document",
    "process_list",
    "process_report_document",
    "process_table",
    "reference_list",
    "report_document",
    "report_part",
    "requirement_table",
    "sampling_table",
    "series_sweep_table",
    "series_table",
    "stopping_words",
    "study_document",
    "study_table",
    "trace_plot",
    "unfinished_table",
    "verdict_table",
    "worst_row",
    "write_html",
    "write_pdf",
]

_FILES: dict[str, tuple[str, ...]] = {
    "_target": ("check_target",),
    "content": (
        "BestCategory",
        "ComparisonItem",
        "Detail",
        "Findings",
        "KeptOutcome",
        "LengthRule",
        "LotItem",
        "Particulars",
        "ReportItem",
        "ReportPart",
        "SeriesItem",
        "StudyItem",
        "assembled",
        "check_stated",
        "comparison_document",
        "load_particulars",
        "lot_document",
        "pick_list_document",
        "process_report_document",
        "report_document",
        "report_part",
        "study_document",
    ),
    "document": ("Document",),
    "html": ("write_html",),
    "pdf": ("write_pdf",),
    "terminal": (
        "Followed",
        "PlottedTrace",
        "archive_check_table",
        "budget_table",
        "can_draw",
        "channel_table",
        "comparison_table",
        "due_table",
        "field_result_table",
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
        "field_tester_table",
        "trace_plot",
        "unfinished_table",
        "verdict_table",
    ),
    "text": ("Texts", "english", "load_texts", "worst_row"),
}
"""What each file gives to the outside: the same as the imports above, which only the type checker follows."""

_FILE_OF = {name: file for file, names in _FILES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Return a public name, reading its file at the first use (PEP 562)."""
    if name not in _FILE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_FILE_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
