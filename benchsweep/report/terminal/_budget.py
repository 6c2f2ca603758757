"""The uncertainty budget as text: which terms make how much of an uncertainty, the largest first."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.records import BudgetRow, Contribution
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import interval_words, number, trace_words
from benchsweep.report.terminal._lines import NARROWEST, columns, entry, padded, wrapped
from benchsweep.report.text import STANDING_MARKS, megahertz, standing_mark

__all__ = ["FIGURE_WORDS", "budget_head", "budget_table", "term_share", "term_uncertainty"]

FIGURE_WORDS = {
    "published": "published",
    "common-practice": "common practice in the trade",
    "from-memory": "from memory, to be verified",
}
_GAP = 2
_FIGURES = 9


def budget_table(
    rows: Sequence[BudgetRow], *, record: str, requirement: str | None = None, width: int = 80
) -> str:
    """Return budgets as plain text of at most `width` columns, at least 40.

    For each row a line that tells value and expanded uncertainty, then a table of its terms: standard
    uncertainty, share of the variance, standing of the figure, source. The text holds no control characters.
    """
    width = max(width, NARROWEST)
    where = "the worst value" if requirement is None else f"the smallest margin to {requirement}"
    lines = entry("budget", [f"{record}, at {where}"], width)
    for row in rows:
        lines += ["", *wrapped(budget_head(row), width)]
        lines += _terms(row, width) if row.terms else ["  no term contributes"]
    used = {term.standing for row in rows for term in row.terms}
    lines.append("")
    lines += wrapped("u: standard uncertainty; share: part of the variance; U: expanded, k = 2", width)
    for standing, mark in STANDING_MARKS.items():
        if mark and standing in used:
            lines += wrapped(f"{mark} figure {FIGURE_WORDS[standing]}", width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def budget_head(row: BudgetRow) -> str:
    """Return the trace, its value, and how sure it is."""
    what = trace_words(row.parameter, row.end, row.pairs)
    unit = row.parameter.unit
    interval = interval_words(row.uncertainty_low, row.uncertainty_high, unit)
    return f"{what}: {number(row.value)} {unit} at {megahertz(row.frequency_hz)} MHz, {interval}"


def term_uncertainty(term: Contribution) -> str:
    """Return a standard uncertainty with three decimals, four significant ones where it is small."""
    value = term.standard_uncertainty
    return f"{value:.2g}" if 0.0 < value < 0.001 else number(value, 3)


def term_share(term: Contribution) -> str:
    """Return a share of the variance in percent."""
    if math.isnan(term.share):
        return "-"
    return "< 0.1 %" if 0.0 < term.share < 0.001 else f"{100.0 * term.share:.1f} %"


def _terms(row: BudgetRow, width: int) -> list[str]:
    names = [clean(f"{term.term}{standing_mark(term.standing)}") for term in row.terms]
    first = max(columns(name) for name in (*names, "term"))
    figures = [(term_uncertainty(term), term_share(term)) for term in row.terms]
    wide = max(len(text) for text, _ in (*figures, ("u", "")))
    start = 2 + first + _GAP + max(wide, 5) + _GAP + _FIGURES + _GAP
    source_width = width - start
    if source_width < 16:  # a narrow terminal: the source goes below its term
        lines = []
        for name, (size, share), term in zip(names, figures, row.terms, strict=True):
            lines += [f"  {line}" for line in wrapped(f"{name}: u {size}, {share}", width - 2)]
            lines += [f"    {line}" for line in wrapped(term.source, width - 4)]
        return lines
    size_width = max(wide, 5)
    lines = [f"  {'term'.ljust(first)}  {'u'.rjust(size_width)}  {'share'.rjust(_FIGURES)}  source"]
    for name, (size, share), term in zip(names, figures, row.terms, strict=True):
        told = wrapped(term.source, source_width)
        lines.append(f"  {padded(name, first)}  {size.rjust(size_width)}  {share.rjust(_FIGURES)}  {told[0]}")
        lines += [" " * start + more for more in told[1:]]
    return lines
