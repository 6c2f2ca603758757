"""How the worst margins of several measurements are spread, parameter by parameter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from benchsweep.records import Parameter, VerdictRow
from benchsweep.report.content._overview_pieces import linked, short_where
from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of
from benchsweep.report.document import Column, Given, Line, Row, Table, line
from benchsweep.report.text import (
    Texts,
    megahertz,
    outcome_words,
    parameter_words,
    signed,
)

__all__ = ["margin_tables"]

_Worst = tuple[VerdictRow, Summary]


def margin_tables(parts: Sequence[Summary], requirements: Sequence[str], texts: Texts) -> Iterator[Table]:
    """Yield for each requirement a table of least, median and greatest worst margin of each parameter.

    The worst margin of a measurement is the smallest of all its traces of that parameter. Those of which no
    point was measured are not counted; how many there are is told. Place and outcome are those of the
    trace with the least margin.
    """
    for name in requirements:
        found = _worst_of_each(parts, name)
        if found:
            rows = tuple(_row(parameter, worst, texts) for parameter, worst in found)
            caption = texts.line("overview.margins_caption", requirement=Given(name))
            yield Table(_columns(texts), rows, caption)


def _columns(texts: Texts) -> tuple[Column, ...]:
    return (
        Column(texts("overview.parameter")),
        Column(texts("overview.measured"), number=True),
        Column(texts("overview.least"), number=True),
        Column(texts("overview.median"), number=True),
        Column(texts("overview.greatest"), number=True),
        Column(texts("overview.unit")),
        Column(texts("overview.worst_specimen")),
        Column(texts("overview.where"), kept=True),
        Column(texts("overview.at"), number=True),
        Column(texts("overview.outcome"), kept=True),
    )


def _worst_of_each(parts: Sequence[Summary], requirement: str) -> list[tuple[Parameter, list[_Worst]]]:
    """Return for each parameter the row with the smallest margin of each measurement that has one."""
    found: dict[Parameter, list[_Worst]] = {}
    for one in parts:
        for verdict in one.verdicts:
            if verdict.requirement != requirement:
                continue
            smallest: dict[Parameter, VerdictRow] = {}
            for row in verdict.rows:
                kept = smallest.get(row.parameter)
                if row.worst_margin_db is not None and (kept is None or _margin(row) < _margin(kept)):
                    smallest[row.parameter] = row
            for parameter, row in smallest.items():
                found.setdefault(parameter, []).append((row, one))
    order = list(Parameter)
    return sorted(found.items(), key=lambda entry: order.index(entry[0]))


def _margin(row: VerdictRow) -> float:
    assert row.worst_margin_db is not None  # noqa: S101 - chosen so
    return row.worst_margin_db


def _row(parameter: Parameter, worst: Sequence[_Worst], texts: Texts) -> Row:
    margins = [_margin(row) for row, _ in worst]
    row, one = min(worst, key=lambda entry: _margin(entry[0]))
    cells: tuple[Line, ...] = (
        (parameter_words(parameter, texts),),
        (str(len(worst)),),
        *((signed(value, texts),) for value in (min(margins), median(margins), max(margins))),
        (parameter.unit,),
        (linked(one),),
        line(short_where(row, texts)),
        (megahertz(row.frequency_hz),),
        (outcome_words(row.outcome, texts),),
    )
    return Row(cells, emphasis_of(row.outcome))
