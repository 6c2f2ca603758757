"""Several measurements at a glance: how many pass, which do not, how the worst margins are spread."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.records import Outcome, Verdict
from benchsweep.report.content._overview_margins import margin_tables
from benchsweep.report.content._overview_pieces import linked, short_time, short_where
from benchsweep.report.content._overview_ranking import ranking_blocks
from benchsweep.report.content._overview_traces import MOST_COMPARED, comparison_section
from benchsweep.report.content._pieces import given
from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of, outcome_line
from benchsweep.report.document import (
    Block,
    Column,
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
    wiring_faults,
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
    blocks += ranking_blocks(parts, requirements, texts)
    blocks += drawings
    if len(parts) <= MOST_COMPARED:
        blocks.append(comparison_section(parts, requirements, texts))
    return Section((texts("overview.title"),), tuple(blocks), anchor=OVERVIEW)


def _measurements(parts: Sequence[Summary], texts: Texts, *, several: bool) -> Table:
    """Return one line for each measurement."""
    compact = len(parts) > _MOST_TOLD
    decided = [_decisive(one) for one in parts]
    decisive = [verdict for verdict, _ in decided]
    columns = [
        (
            Column(texts("overview.number"), number=True),
            [(str(place),) for place in range(1, len(parts) + 1)],
        ),
        (Column(texts("overview.specimen")), [_specimen(one, texts) for one in parts]),
    ]
    if any(one.lot for one in parts):
        columns.append((Column(texts("overview.lot")), [given(one.lot) for one in parts]))
    columns += [
        (Column(texts(_taken(parts)), kept=True), [given(short_time(one.created_at)) for one in parts]),
        (
            Column(texts("overview.outcome"), kept=True),
            [_outcome(verdict, doubtful, texts) for verdict, doubtful in decided],
        ),
    ]
    if several:
        columns.append((Column(texts("overview.decided_by")), [given(one.requirement) for one in decisive]))
    if compact:
        columns += _short_columns(decisive, texts)
    else:
        nearest = [line(nearest_words(one, texts)) for one in decisive]
        columns.append((Column(texts("overview.nearest")), nearest))
    lines = zip(*(told for _, told in columns), strict=True)
    rows = [
        (ORDER.index(one.outcome), Row(cells, emphasis_of(one.outcome)))
        for one, cells in zip(decisive, lines, strict=True)
    ]
    if compact:
        passes = ORDER.index(Outcome.CONDITIONAL_PASS)
        # Sorting keeps the order of what is alike.
        rows.sort(key=lambda entry: min(entry[0], passes))
    caption = texts("overview.caption_worst_first" if compact else "overview.caption")
    return Table(tuple(column for column, _ in columns), tuple(row for _, row in rows), (caption,))


def _short_columns(decisive: Sequence[Verdict], texts: Texts) -> list[tuple[Column, list[Line]]]:
    """Return the worst margin in figures, and where it does not decide what does."""
    worst = [_worst_cells(one, texts) for one in decisive]
    columns = [
        (Column(texts("overview.parameter"), kept=True), [cells[0] for cells in worst]),
        (Column(texts("overview.margin"), number=True), [cells[1] for cells in worst]),
        (Column(texts("overview.at"), number=True), [cells[2] for cells in worst]),
    ]
    others = [_besides(one, texts) for one in decisive]
    return [*columns, (Column(texts("overview.stopping")), others)] if any(others) else columns


def _besides(verdict: Verdict, texts: Texts) -> Line:
    """Return what stands against a pass where that is not the worst margin."""
    row = worst_row(verdict)
    if row is not None and row.outcome is verdict.outcome and not wiring_faults(verdict.wiring):
        return ()
    return line(stopping_words(verdict, texts))


def _specimen(one: Summary, texts: Texts) -> Line:
    name: Line = (linked(one),)
    return name if one.sweep is None else line(name, ", ", texts("overview.sweep", number=one.sweep))


def _taken(parts: Sequence[Summary]) -> str:
    """Return the key of what the times of these are the times of."""
    imported = sum(one.imported for one in parts)
    if not imported:
        return "overview.created"
    return "overview.imported" if imported == len(parts) else "overview.created_or_imported"


def _outcome(verdict: Verdict, doubtful: bool, texts: Texts) -> Line:
    told = outcome_line(verdict.outcome, texts)
    return texts.line("overview.doubtful", outcome=told) if doubtful else told


def _decisive(one: Summary) -> tuple[Verdict, bool]:
    """Return the verdict with the worst outcome, and whether it is doubtful.

    Of those with the same outcome it is the one with the smallest margin.
    """

    def key(told: tuple[Verdict, bool]) -> tuple[int, float]:
        verdict, _ = told
        worst = worst_row(verdict)
        margin = None if worst is None else worst.worst_margin_db
        return ORDER.index(verdict.outcome), float("inf") if margin is None else margin

    doubtful = one.doubtful or (False,) * len(one.verdicts)
    return min(zip(one.verdicts, doubtful, strict=True), key=key)


def _worst_cells(verdict: Verdict, texts: Texts) -> tuple[Line, Line, Line]:
    row = worst_row(verdict)
    if row is None:
        return (), ("-",), ("-",)
    margin = f"{signed(row.worst_margin_db, texts)} {row.parameter.unit}"
    if row.worst_margin_db == -math.inf:
        margin = texts("number.infinitely_outside")
    return (
        (f"{parameter_words(row.parameter, texts)} {short_where(row, texts)}".strip(),),
        (margin,),
        (megahertz(row.frequency_hz),),
    )
