"""A few measurements held against each other, trace by trace."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.records import End, Outcome, Parameter, VerdictRow
from benchsweep.report.content._overview_pieces import linked, short_where
from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of
from benchsweep.report.document import Block, Column, Given, Line, Paragraph, Row, Section, Table
from benchsweep.report.text import ORDER, Texts, number, outcome_words, parameter_words, signed

__all__ = ["MOST_COMPARED", "comparison_section"]

MOST_COMPARED = 8
"""So many measurements stand side by side on a page."""

_Key = tuple[Parameter, End | None, tuple[str, ...]]


def comparison_section(parts: Sequence[Summary], requirements: Sequence[str], texts: Texts) -> Section:
    """Return the worst margin of every trace of every measurement, and how far they are apart."""
    columns = Paragraph(
        texts.line(
            "overview.columns",
            told=_joined([(f"{place} ", linked(one))
                          for place, one in enumerate(parts, start=1)]),
        )
    )  # fmt: skip
    blocks: list[Block] = [columns]
    blocks += [_table(parts, name, texts) for name in requirements]
    blocks.append(Paragraph((texts("overview.spread_legend"),), legend=True))
    return Section((texts("overview.compare"),), tuple(blocks), anchor="overview-traces", folded=True)


def _joined(parts: Sequence[Line]) -> Line:
    told: Line = ()
    for part in parts:
        told = (*told, *(("; ",) if told else ()), *part)
    return told


def _table(parts: Sequence[Summary], requirement: str, texts: Texts) -> Table:
    columns = (
        Column(texts("overview.parameter")),
        Column(texts("overview.where"), kept=True),
        Column(texts("overview.unit")),
        *(Column(str(place), number=True) for place in range(1, len(parts) + 1)),
        Column(texts("overview.spread"), number=True),
    )
    found: dict[_Key, dict[int, VerdictRow]] = {}
    for place, one in enumerate(parts):
        for verdict in one.verdicts:
            if verdict.requirement == requirement:
                for row in verdict.rows:
                    found.setdefault((row.parameter, row.end, row.pairs), {})[place] = row
    order = list(Parameter)
    keys = sorted(found, key=lambda key: (order.index(key[0]), key[1] or "", key[2]))
    rows = tuple(_row(key[0], found[key], len(parts), texts) for key in keys)
    return Table(columns, rows, texts.line("overview.traces_caption", requirement=Given(requirement)))


def _row(parameter: Parameter, by_place: dict[int, VerdictRow], count: int, texts: Texts) -> Row:
    where = short_where(next(iter(by_place.values())), texts)
    told = [row.worst_margin_db for row in by_place.values()]
    margins = [value for value in told if value is not None and math.isfinite(value)]
    spread = number(max(margins) - min(margins), texts) if len(margins) > 1 else "-"
    infinite = sum(value is not None and math.isinf(value) for value in told)
    if infinite:
        spread = texts("overview.spread_infinite", spread=spread, count=infinite)
    cells: list[Line] = [(parameter_words(parameter, texts),), (where,) if where else (), (parameter.unit,)]
    cells += [_cell(by_place.get(place), texts) for place in range(count)]
    worst = min((row.outcome for row in by_place.values()), key=ORDER.index)
    return Row((*cells, (spread,)), emphasis_of(worst))


def _cell(row: VerdictRow | None, texts: Texts) -> Line:
    """Return a worst margin, with the outcome where it is no plain pass."""
    if row is None:
        return ("-",)
    if row.outcome is Outcome.PASS:
        return (signed(row.worst_margin_db, texts),)
    word = outcome_words(row.outcome, texts)
    return (word,) if row.worst_margin_db is None else (f"{signed(row.worst_margin_db, texts)} {word}",)
