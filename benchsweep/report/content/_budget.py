"""The uncertainty budget at the points that matter: which terms make how much of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.records import BudgetRow, Contribution
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import cells, given, name_in
from benchsweep.report.document import Block, Column, Given, Line, Paragraph, Row, Section, Table
from benchsweep.report.text import (
    Texts,
    interval_words,
    megahertz,
    number,
    pairs_words,
    parameter_words,
    trace_words,
)

__all__ = ["budget_rows", "budget_section", "share_words", "size_words", "standing_line"]

_STANDINGS = {
    "published": "figure_standing.published",
    "common-practice": "figure_standing.common_practice",
    "from-memory": "figure_standing.from_memory",
}


def budget_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return a table of the budgets of a group and, folded, the terms of each; None without any."""
    rows = budget_rows(group)
    if not rows:
        return None
    several = len(group) > 1
    legend = texts("budget.legend_several" if several else "budget.legend")
    blocks: list[Block] = [_overview(rows, texts), Paragraph((legend,), legend=True)]
    name = name_in(group[0].measurement.budget_toml)
    if name:
        blocks.insert(0, Paragraph(texts.line("budget.name", name=Given(name))))
    blocks += [_terms(row, texts) for row in rows]
    return Section((texts("budget.title"),), tuple(blocks))


def budget_rows(group: Sequence[ReportItem]) -> list[BudgetRow]:
    """Return the budgets of all items, each trace and frequency once."""
    found = {
        (row.parameter, row.end, row.pairs, row.frequency_hz): row for item in group for row in item.budget
    }
    return list(found.values())


def size_words(term: Contribution, texts: Texts) -> str:
    """Return a standard uncertainty with three decimals, two significant ones where it is small."""
    value = term.standard_uncertainty
    return f"{value:.2g}" if 0.0 < value < 0.001 else number(value, texts, 3)


def share_words(term: Contribution) -> str:
    """Return a share of the variance in percent."""
    if math.isnan(term.share):
        return "-"
    return "< 0.1 %" if 0.0 < term.share < 0.001 else f"{100.0 * term.share:.1f} %"


def standing_line(standing: str, texts: Texts) -> Line:
    """Return the standing of a figure in words; one that is not known as it is."""
    key = _STANDINGS.get(standing)
    return given(standing) if key is None else (texts(key),)


def _overview(rows: Sequence[BudgetRow], texts: Texts) -> Table:
    columns = (
        Column(texts("budget.parameter")),
        Column(texts("budget.end")),
        Column(texts("budget.pairs"), kept=True),
        Column(texts("budget.at_mhz"), number=True),
        Column(texts("budget.value"), number=True),
        Column(texts("budget.expanded")),
        Column(texts("budget.most_from")),
        Column(texts("budget.share"), number=True),
    )
    told = []
    for row in rows:
        most = row.terms[0] if row.terms else None
        told.append(
            Row(
                cells(
                    parameter_words(row.parameter, texts),
                    row.end or "",
                    pairs_words(row.pairs, texts),
                    megahertz(row.frequency_hz),
                    f"{number(row.value, texts)} {row.parameter.unit}",
                    _interval(row, texts),
                    () if most is None else given(most.term),
                    "" if most is None else share_words(most),
                )
            )
        )
    return Table(columns, tuple(told))


def _interval(row: BudgetRow, texts: Texts) -> str:
    return interval_words(row.uncertainty_low, row.uncertainty_high, row.parameter.unit, texts)


def _terms(row: BudgetRow, texts: Texts) -> Section:
    what = trace_words(row.parameter, row.end, row.pairs, texts)
    title = (texts("budget.row", what=what, frequency=megahertz(row.frequency_hz)),)
    if not row.terms:
        return Section(title, (Paragraph((texts("budget.no_terms"),)),), folded=True)
    columns = (
        Column(texts("budget.term")),
        Column(texts("budget.u", unit=row.parameter.unit), number=True),
        Column(texts("budget.share"), number=True),
        Column(texts("budget.standing")),
        Column(texts("budget.source")),
    )
    rows = tuple(
        Row(
            cells(
                given(term.term),
                size_words(term, texts),
                share_words(term),
                standing_line(term.standing, texts),
                given(term.source),
            )
        )
        for term in row.terms
    )
    return Section(title, (Table(columns, rows),), folded=True)
