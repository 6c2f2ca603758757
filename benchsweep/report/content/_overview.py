"""Several measurements at a glance: how many pass, which do not, how the worst margins are spread."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Outcome, Verdict
from benchsweep.report.content._overview_margins import margin_tables
from benchsweep.report.content._overview_pieces import linked, short_time, short_where
from benchsweep.report.content._overview_traces import MOST_COMPARED, comparison_section
from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of, outcome_line
from benchsweep.report.document import (
    Block,
    Column,
    Given,
    Line,
    Row,
    Section,
    Table,
    line,
)
from benchsweep.report.text import (
    ORDER,
    Texts,
    megahertz,
    nearest_words,
    parameter_words,
    signed,
    stopping_words,
    worst_row,
)

__all__ = ["OVERVIEW", "overview_section"]

OVERVIEW = "overview"
"""Anchor of the section."""

_MOST_TOLD = 24
"""Of more measurements each has one line of figures, those that do not pass first."""


def overview_section(parts: Sequence[Summary], texts: Texts, *, drawings: Sequence[Block] = ()) -> Section:
    """Return what is told of several measurements together.

    Parameters
    ----------
    parts
        At least two, in the order of their sections.
    drawings
        Charts of all together.
    """
    requirements = tuple(dict.fromkeys(verdict.requirement for one in parts for verdict in one.verdicts))
    blocks: list[Block] = [
        _measurements(parts, texts, several=len(requirements) > 1),
        *margin_tables(parts, requirements, texts),
    ]
    blocks += drawings
    if len(parts) <= MOST_COMPARED:
        blocks.append(comparison_section(parts, requirements, texts))
    return Section((texts("overview.title"),), tuple(blocks), anchor=OVERVIEW)


def _measurements(parts: Sequence[Summary], texts: Texts, *, several: bool) -> Table:
    """Return one line for each measurement."""
    compact = len(parts) > _MOST_TOLD
    lots = any(one.lot for one in parts)
    columns = [Column(texts("overview.number"), number=True), Column(texts("overview.specimen"))]
    if lots:
        columns.append(Column(texts("overview.lot")))
    columns += [Column(texts("overview.created"), kept=True), Column(texts("overview.outcome"), kept=True)]
    if several:
        columns.append(Column(texts("overview.decided_by")))
    if compact:
        columns += [
            Column(texts("overview.parameter"), kept=True),
            Column(texts("overview.margin"), number=True),
            Column(texts("overview.at"), number=True),
        ]
    columns.append(Column(texts("overview.stopping" if compact else "overview.nearest")))
    rows = []
    for number, one in enumerate(parts, start=1):
        verdict = _decisive(one)
        cells = [(str(number),), _specimen(one, texts)]
        if lots:
            cells.append((Given(one.lot),) if one.lot else ())
        cells += [(Given(short_time(one.created_at)),), outcome_line(verdict.outcome, texts)]
        if several:
            cells.append((Given(verdict.requirement),))
        if compact:
            cells += [*_worst_cells(verdict, texts), line(stopping_words(verdict, texts))]
        else:
            cells.append(line(nearest_words(verdict, texts)))
        rows.append((ORDER.index(verdict.outcome), Row(tuple(cells), emphasis_of(verdict.outcome))))
    if compact:
        # Sorting keeps the order of what is alike.
        rows.sort(
            key=lambda entry: entry[0] if entry[0] < ORDER.index(Outcome.CONDITIONAL_PASS) else len(ORDER)
        )
    caption = texts("overview.caption_worst_first" if compact else "overview.caption")
    return Table(tuple(columns), tuple(row for _, row in rows), (caption,))


def _specimen(one: Summary, texts: Texts) -> Line:
    name: Line = (linked(one),)
    return name if one.sweep is None else line(name, ", ", texts("overview.sweep", number=one.sweep))


def _decisive(one: Summary) -> Verdict:
    """Return the verdict with the worst outcome, of those alike the one with the smallest margin."""

    def key(verdict: Verdict) -> tuple[int, float]:
        worst = worst_row(verdict)
        margin = None if worst is None else worst.worst_margin_db
        return ORDER.index(verdict.outcome), float("inf") if margin is None else margin

    return min(one.verdicts, key=key)


def _worst_cells(verdict: Verdict, texts: Texts) -> tuple[Line, Line, Line]:
    row = worst_row(verdict)
    if row is None:
        return (), ("-",), ("-",)
    margin = f"{signed(row.worst_margin_db, texts)} {row.parameter.unit}"
    return (
        (f"{parameter_words(row.parameter, texts)} {short_where(row, texts)}".strip(),),
        (margin,),
        (megahertz(row.frequency_hz),),
    )
