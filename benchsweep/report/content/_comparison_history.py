"""A field tester over time: earlier comparisons, what drifts, when it is due; what a comparison rests on."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Comparison, Due
from benchsweep.report.content import charts
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._comparison_words import agreement_line
from benchsweep.report.content._overview_pieces import short_time
from benchsweep.report.content._pieces import cells, fact, facts, given
from benchsweep.report.content._provenance import software_line
from benchsweep.report.document import (
    Block,
    Column,
    Items,
    Line,
    Paragraph,
    Row,
    Section,
    Table,
    line,
)
from benchsweep.report.text import Texts, signed

__all__ = ["comparison_provenance", "due_section", "over_time_section"]


def over_time_section(item: ComparisonItem, texts: Texts) -> Section | None:
    """Return earlier comparisons, what drifts and its charts; None where there is nothing of it."""
    blocks: list[Block] = []
    if item.drift is not None:
        told = tuple(given(each) for each in item.drift.words)
        blocks.append(Items(told) if told else Paragraph((texts("over_time.no_drift"),)))
    if item.earlier:
        blocks.append(_earlier([*item.earlier, item.comparison], texts))
    followed = {**item.charts, **(item.drift.charts if item.drift is not None else {})}
    if followed:
        blocks += charts.followed_drawings(
            followed,
            texts,
            prefix="over-time-",
            axis=texts("over_time.axis"),
            unit="",
            points=texts("over_time.points"),
        )
        blocks.append(Paragraph((texts("over_time.legend"),), legend=True))
    return Section((texts("over_time.title"),), tuple(blocks), anchor="over-time") if blocks else None


def _earlier(found: Sequence[Comparison], texts: Texts) -> Table:
    # Of earlier versions, and of typed results, nobody may know when the tester measured.
    dated = (
        [Column(texts("over_time.measured"), kept=True)] if any(each.measured_at for each in found) else []
    )
    columns = (
        Column(texts("over_time.number"), number=True),
        *dated,
        Column(texts("over_time.at"), kept=True),
        Column(texts("over_time.by")),
        Column(texts("over_time.channel")),
        Column(texts("over_time.largest"), number=True),
        Column(texts("rows.outcome")),
    )
    rows = []
    for place, each in enumerate(found, start=1):
        numbers = [row.decisive.e_n for row in each.rows if row.decisive is not None]
        known = [value for value in numbers if value is not None]
        largest = max(known, key=abs, default=None)
        rows.append(
            Row(
                cells(
                    str(place),
                    *[given(each.measured_at[:10]) or "-" for _ in dated],
                    given(short_time(each.at)),
                    given(each.by),
                    given(each.channel),
                    signed(largest, texts),
                    agreement_line(each.outcome, texts),
                )
            )
        )
    return Table(columns, tuple(rows), (texts("over_time.earlier_caption"),))


def due_section(due: Sequence[Due], texts: Texts) -> Section | None:
    """Return when tester and channel are due, and the interval that their histories suggest."""
    if not due:
        return None
    columns = (
        Column(texts("due.name")),
        Column(texts("due.last"), kept=True),
        Column(texts("due.due"), kept=True),
        Column(texts("due.interval"), number=True),
        Column(texts("due.suggested"), number=True),
        Column(texts("due.words")),
    )
    rows = tuple(
        Row(
            cells(
                line(texts(f"due.{each.kind}"), " ", given(each.name)),
                given(each.last[:10]) or "-",
                _due_words(each, texts),
                f"{each.interval_days:g}",
                "-" if each.suggested_days is None else f"{each.suggested_days:.0f}",
                given(each.words),
            )
        )
        for each in due
    )
    legend = Paragraph((texts("due.legend"),), legend=True)
    return Section((texts("due.title"),), (Table(columns, rows), legend), anchor="due")


def _due_words(each: Due, texts: Texts) -> Line:
    if each.withdrawn:
        return (texts("due.withdrawn"),)
    if not each.due:
        return (texts("due.at_once"),)
    late = each.days_left is not None and each.days_left < 0.0
    return line(given(each.due[:10]), texts("due.overdue") if late else "")


def comparison_provenance(item: ComparisonItem, texts: Texts) -> Section:
    """Return what a comparison was made from, each with its digest, so that it can be made again."""
    found = item.comparison
    entries = [
        fact(texts("comparison_provenance.record"), given(found.record), given(found.record_digest)),
        fact(
            texts("comparison_provenance.source"),
            given(found.source) or texts("comparison_provenance.typed"),
            given(found.source_digest),
        ),
        fact(texts("comparison_provenance.mapping"), given(found.mapping)),
        fact(
            texts("comparison_provenance.requirement"),
            given(found.requirement),
            given(found.requirement_digest),
        ),
        fact(texts("comparison_provenance.history"), given(item.digest)),
        fact(texts("provenance.software"), software_line(item.software)),
    ]
    blocks: list[Block] = [facts(entries)]
    remarks = (each.words for each in found.suspicions if not each.hinders)
    notes = tuple(given(each) for each in (*found.notes, *remarks))
    if notes:
        blocks.append(Items(notes))
    blocks.append(Paragraph((texts("comparison_provenance.legend"),), legend=True))
    return Section((texts("provenance.title"),), tuple(blocks), anchor="provenance")
