"""Show results to people: plain-text tables for a terminal, one self-contained HTML page to hand over.

Conventions:

- The outcome comes first and is always a word; colour never carries a meaning alone.
- Every limit is shown with its standing; what was not evaluated is said.
- Names come from people and instruments and are never trusted: control and direction characters are shown as
  question marks, and everything is escaped on the page.
- What is drawn are records; nothing is computed here that a stage computes.
"""

from benchsweep.report._budget import budget_table
from benchsweep.report._check_table import archive_check_table
from benchsweep.report._findings import BestCategory, Findings, LengthRule
from benchsweep.report._page import write_html
from benchsweep.report._series import SeriesItem
from benchsweep.report._series_tables import series_sweep_table, series_table, unfinished_table
from benchsweep.report._stopping import stopping_words
from benchsweep.report._subject import ReportItem
from benchsweep.report._tables import (
    incident_table,
    labelled_table,
    measurement_table,
    requirement_table,
    verdict_table,
)
from benchsweep.report._target import check_target

__all__ = [
    "BestCategory",
    "Findings",
    "LengthRule",
    "ReportItem",
    "SeriesItem",
    "archive_check_table",
    "budget_table",
    "check_target",
    "incident_table",
    "labelled_table",
    "measurement_table",
    "requirement_table",
    "series_sweep_table",
    "series_table",
    "stopping_words",
    "unfinished_table",
    "verdict_table",
    "write_html",
]
