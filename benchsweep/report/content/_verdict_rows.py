"""Rows of verdicts as tables, with the standing of their limits in words right below."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from benchsweep.records import Outcome, Parameter, VerdictRow
from benchsweep.report.content._item import ReportItem, TraceKey
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.content._verdict import emphasis_of, outcome_line
from benchsweep.report.document import Block, Column, Given, Line, Paragraph, Row, Section, Table, line
from benchsweep.report.text import (
    Texts,
    conditional_words,
    megahertz,
    number,
    outcome_words,
    pairs_words,
    parameter_words,
    severity,
    signed,
    standing_words,
    standings,
    uncertainty_words,
    worst_rows,
)

__all__ = ["numbers_line", "reading_legend", "rows_section", "rows_table", "worst_blocks"]

_ABREAST = 8
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


def worst_blocks(item: ReportItem, texts: Texts) -> tuple[Block, ...]:
    """Return the worst row of each parameter and end; nothing when nothing was graded."""
    rows = worst_rows(item.verdict)
    return rows_table(rows, (texts("rows.worst_caption"),), texts) if rows else ()


def rows_table(rows: Sequence[VerdictRow], caption: Line, texts: Texts) -> tuple[Block, ...]:
    """Return rows as a table, and below it how far their limits are to be trusted.

    Limits of several standings are told apart by a letter in a column of its own. Columns for uncertainty and
    guard band are there where a row has one. Notes on rows stand below, each once, by the number that stands
    with the outcome; one of ours where simple acceptance decided nearer to the limit than U.
    """
    letters = dict(zip(standings(rows), _LETTERS, strict=False))
    letters |= {"": ""} if any(row.standing == "" for row in rows) else {}
    shown = {
        "standing": len(letters) > 1,
        "uncertainty": any(row.expanded_uncertainty is not None for row in rows),
        "guard_band": any(row.guard_band is not None for row in rows),
    }
    notes = {note: place for place, note in enumerate(dict.fromkeys(_all_notes(rows, texts)), start=1)}
    columns = [column for name, column in _columns(texts) if shown.get(name, True)]
    made = []
    for row in rows:
        told = [cell for name, cell in _cells(row, letters, notes, texts) if shown.get(name, True)]
        made.append(Row(cells(*told), emphasis_of(row.outcome)))
    table = Table(tuple(columns), tuple(made), caption)
    noted = [line(f"({place}) ", note) for note, place in notes.items()]
    below = (Paragraph(_joined(noted, "; "), legend=True),) if notes else ()
    return (table, *below, *_standing_legend(letters, texts))


def _columns(texts: Texts) -> Iterator[tuple[str, Column]]:
    yield "parameter", Column(texts("rows.parameter"))
    yield "end", Column(texts("rows.end"), kept=True)
    yield "pairs", Column(texts("rows.pairs"), kept=True)
    yield "margin", Column(texts("rows.margin"), number=True)
    yield "frequency", Column(texts("rows.frequency"), number=True)
    yield "value", Column(texts("rows.value"), number=True)
    yield "limit", Column(texts("rows.limit"), number=True)
    yield "standing", Column(texts("rows.standing"), kept=True)
    yield "uncertainty", Column(texts("rows.uncertainty"), number=True)
    yield "guard_band", Column(texts("rows.guard_band"), number=True)
    yield "unit", Column(texts("rows.unit"), kept=True)
    yield "outcome", Column(texts("rows.outcome"))


def _cells(
    row: VerdictRow, letters: Mapping[str, str], notes: Mapping[Line, int], texts: Texts
) -> Iterator[tuple[str, str | Line]]:
    yield "parameter", parameter_words(row.parameter, texts)
    yield "end", row.end or ""
    yield "pairs", pairs_words(row.pairs, texts)
    yield "margin", signed(row.worst_margin_db, texts)
    yield "frequency", megahertz(row.frequency_hz)
    yield "value", number(row.value, texts)
    yield "limit", number(row.limit, texts)
    yield "standing", letters.get(row.standing, "")
    yield "uncertainty", uncertainty_words(row.expanded_uncertainty, texts)
    yield "guard_band", uncertainty_words(row.guard_band, texts)
    yield "unit", row.parameter.unit
    numbers = "".join(f" ({notes[note]})" for note in _notes(row, texts))
    yield "outcome", line(outcome_line(row.outcome, texts), numbers)


def _all_notes(rows: Iterable[VerdictRow], texts: Texts) -> Iterator[Line]:
    for row in rows:
        yield from _notes(row, texts)


def _notes(row: VerdictRow, texts: Texts) -> Iterator[Line]:
    """Yield what is noted of a row: what was recorded, and whether it is nearer to its limit than U."""
    if row.note:
        yield given(row.note)
    # Rules with a guard band give a row one, and say by it what lies near the limit.
    decided = row.outcome in (Outcome.PASS, Outcome.FAIL) and row.guard_band is None
    if decided and row.worst_margin_db is not None and row.expanded_uncertainty is not None:
        if abs(row.worst_margin_db) < row.expanded_uncertainty:
            yield (texts("rows.nearer_than_u"),)


def _standing_legend(letters: Mapping[str, str], texts: Texts) -> Iterator[Paragraph]:
    named = [standing for standing in letters if standing]
    if len(letters) == 1 and named:
        told = texts.line("rows.all_limits", standing=_standing(named[0], texts))
        yield Paragraph(told, legend=True)
    elif named:
        parts = [
            texts.line("rows.one_limit", letter=letters[standing], standing=_standing(standing, texts))
            for standing in named
        ]
        yield Paragraph(_joined(parts, " "), legend=True)


def _standing(standing: str, texts: Texts) -> Line:
    words = standing_words(standing, texts)
    return (words,) if f"standing.{standing}" in texts else given(standing)


def _joined(lines: Iterable[Line], between: str) -> Line:
    told: Line = ()
    for one in lines:
        told = line(told, between if told else "", one)
    return told


def reading_legend(rows: Iterable[VerdictRow] | None, texts: Texts) -> Paragraph:
    """Return how the rows of a table are read: ends, pairs, sign, uncertainty, conditional outcomes.

    `rows` are those of the tables it stands below; None: any there may be.
    """
    told = list(rows) if rows is not None else None
    parts = [texts("rows.legend")]
    if told is None or any(row.expanded_uncertainty is not None for row in told):
        parts.append(texts("rows.sure", words=texts("uncertainty.expanded")))
    if told is None or any(row.guard_band is not None for row in told):
        parts.append(texts("rows.guard_legend"))
    for outcome in (Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL):
        if told is None or any(row.outcome is outcome for row in told):
            words = conditional_words(outcome, texts)
            parts.append(texts("rows.conditional", outcome=outcome_words(outcome, texts), words=words))
    return Paragraph((" ".join(parts),), legend=True)


def rows_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return every graded trace at its worst point, folded; of several requirements also side by side."""
    graded = [item for item in group if item.verdict.rows]
    if not graded:
        return None
    if len(group) == 1:
        blocks = rows_table(_ordered(group[0].verdict.rows), (), texts)
        title = texts("rows.every", count=len(group[0].verdict.rows))
        return Section((title,), blocks, folded=True)
    margins: list[Block] = [*_abreast(group, texts)]
    margins.append(Paragraph(line(numbers_line(group), ". ", texts("rows.abreast_legend")), legend=True))
    margins += [
        Section(
            given(item.verdict.requirement),
            rows_table(_ordered(item.verdict.rows), (), texts),
            folded=True,
        )
        for item in graded
    ]
    return Section((texts("rows.every_abreast"),), tuple(margins), folded=True)


def numbers_line(group: Sequence[ReportItem]) -> Line:
    """Return number and name of each requirement of a group: ``1 tia-6a-cord, 2 iso-ea-cord``."""
    names = [item.verdict.requirement for item in group]
    return _joined((line(f"{place} ", Given(name)) for place, name in enumerate(names, start=1)), ", ")


def _ordered(rows: Iterable[VerdictRow]) -> list[VerdictRow]:
    order = list(Parameter)
    return sorted(rows, key=lambda row: (order.index(row.parameter), row.end or "", severity(row)))


def _abreast(group: Sequence[ReportItem], texts: Texts) -> Iterator[Table]:
    """Yield the worst margin of each trace to every requirement, eight of them in a table."""
    found = _margins(group, texts)
    borders = [*range(0, len(group), _ABREAST), len(group)]
    for first, last in pairwise(borders):
        columns = (
            Column(texts("rows.parameter")),
            Column(texts("rows.end"), kept=True),
            Column(texts("rows.pairs"), kept=True),
            *(Column(str(place + 1), number=True) for place in range(first, last)),
            Column(texts("rows.unit"), kept=True),
        )
        rows = tuple(
            Row(
                cells(
                    parameter_words(parameter, texts),
                    end or "",
                    pairs_words(pairs, texts),
                    *told[first:last],
                    parameter.unit,
                )
            )
            for (parameter, end, pairs), told in found
        )
        yield Table(columns, rows)


def _margins(group: Sequence[ReportItem], texts: Texts) -> list[tuple[TraceKey, list[Line]]]:
    """Return for each graded trace its worst margin to every requirement, with a word where it is no pass."""
    found: dict[TraceKey, list[Line]] = {}
    for place, item in enumerate(group):
        for row in item.verdict.rows:
            told = found.setdefault((row.parameter, row.end, row.pairs), [()] * len(group))
            margin = "" if row.worst_margin_db is None else signed(row.worst_margin_db, texts)
            passes = row.outcome is Outcome.PASS and margin
            told[place] = (
                (margin,) if passes else line(margin, " " if margin else "", outcome_line(row.outcome, texts))
            )
    order = list(Parameter)
    return sorted(found.items(), key=lambda entry: (order.index(entry[0][0]), entry[0][1] or "", entry[0][2]))
