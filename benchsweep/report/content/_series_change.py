"""How a series changed, as tables: the largest changes, and straight lines through them."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Extreme, Parameter, SeriesChange, SeriesSummary
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import Column, Line, Row, Table
from benchsweep.report.text import Texts, as_delay_ps, fit_words, megahertz, pairs_words, parameter_words

__all__ = ["largest_tables", "slope_tables"]

_DASH: Line = ("-",)


def largest_tables(changes: Sequence[SeriesChange], texts: Texts) -> list[Table]:
    """Return the largest changes: of paths through with their delay, of the others the difference first."""
    loss, degrees, delay = texts("series.loss_db"), texts("series.degrees"), texts("series.delay_ps")
    difference, sweep = texts("series.difference_db"), texts("series.sweep")
    through = [change for change in changes if change.parameter is Parameter.INSERTION_LOSS]
    others = [change for change in changes if change.parameter is not Parameter.INSERTION_LOSS]
    caption = (texts("series.largest"),)
    tables = []
    if through:
        heads = [loss, "MHz", sweep, degrees, delay, "MHz", sweep, difference]
        rows = []
        for change in through:
            turned = _extreme(change.largest_deg, "+.2f")
            ps = "-" if change.largest_deg is None else f"{as_delay_ps(change.largest_deg):+.1f}"
            most = _extreme(change.largest_loss_db, "+.3f")
            apart = _extreme(change.largest_difference_db, ".1f")[:1]
            rows.append([*_who(change, texts), *_lines(*most, turned[0], ps, *turned[1:], *apart)])
        tables.append(_table(heads, rows, caption, texts))
    if others:
        heads = [difference, "MHz", sweep, loss, "MHz", sweep, degrees]
        rows = [
            [
                *_who(change, texts),
                *_lines(
                    *_extreme(change.largest_difference_db, ".1f"),
                    *_extreme(change.largest_loss_db, "+.2f"),
                    _extreme(change.largest_deg, "+.1f")[0],
                ),
            ]
            for change in others
        ]
        tables.append(_table(heads, rows, caption, texts))
    return tables


def slope_tables(summary: SeriesSummary, texts: Texts) -> list[Table]:
    """Return the straight lines over time, and over the ambient reading where it moved."""
    heads = [texts("series.loss_per_hour"), texts("series.delay_per_hour"), texts("series.worst_per_hour")]
    rows = [
        [
            *_who(change, texts),
            *_lines(*map(fit_words, (change.loss_per_hour, change.delay_per_hour, change.worst_per_hour))),
        ]
        for change in summary.changes
    ]
    tables = [_table(heads, rows, (texts("series.slopes_hours"),), texts)]
    moved = [change for change in summary.changes if change.loss_per_unit or change.delay_per_unit]
    reading = summary.course.reading_name
    if reading and moved:
        rows = [
            [*_who(change, texts), *_lines(*map(fit_words, (change.loss_per_unit, change.delay_per_unit)))]
            for change in moved
        ]
        caption = texts.line("series.slopes_reading", reading=given(reading))
        heads = [texts("series.loss_per_unit"), texts("series.delay_per_unit")]
        tables.append(_table(heads, rows, caption, texts))
    return tables


def _who(change: SeriesChange, texts: Texts) -> tuple[Line, ...]:
    return cells(parameter_words(change.parameter, texts), change.end, pairs_words(change.pairs, texts))


def _lines(*texts: str) -> tuple[Line, ...]:
    return cells(*texts)


def _extreme(found: Extreme | None, how: str) -> tuple[str, str, str]:
    if found is None:
        return "-", "-", "-"
    return format(found.value, how), megahertz(found.frequency_hz), str(found.sweep)


def _table(heads: Sequence[str], rows: Sequence[Sequence[Line]], caption: Line, texts: Texts) -> Table:
    """Return a table without the columns that hold nothing but dashes."""
    columns = (
        Column(texts("series.parameter")),
        Column(texts("series.end")),
        Column(texts("series.pairs"), kept=True),
        *(Column(head, number=True) for head in heads),
    )
    kept = [at for at in range(len(columns)) if any(row[at] != _DASH for row in rows)]
    return Table(
        tuple(columns[at] for at in kept), tuple(Row(tuple(row[at] for at in kept)) for row in rows), caption
    )
