"""The uncertainty budget."""

from __future__ import annotations

from benchsweep.report.terminal._budget import (
    FIGURE_WORDS,
    budget_head,
    budget_table,
    term_share,
    term_uncertainty,
)

__all__ = [
    "FIGURE_WORDS",
    "budget_head",
    "budget_table",
    "term_share",
    "term_uncertainty",
]
