"""How a series changed, as tables: the largest changes, and straight lines through them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.records import Extreme, LineFit, Parameter, SeriesChange, SeriesSummary
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import Column, Line, Row, Table
from benchsweep.report.text import Texts, megahertz, pairs_words, parameter_words

__all__ = ["WANDER_MARK", "any_wanders", "as_delay_ps", "fit_words", "largest_tables", "slope_tables"]

WANDER_MARK = "~"
_DASH: Line = ("-",)
_LARGEST = 7


def fit_words(fit: LineFit | None) -> str:
    """Return a slope and its standard error, both to two digits of the error; a dash where there is none."""
    if fit is None:
        return "-"
    error = fit.standard_error
    if not error or not math.isfinite(error):
        told = _plain(fit.slope, 3 if fit.slope == 0.0 else 2 - _magnitude(fit.slope))
    else:
        places = 1 - _magnitude(error)
        if abs(_magnitude(fit.slope)) > _LARGEST or places > _LARGEST:
            told = f"{fit.slope:+.3g} ± {error:.2g}"
        else:
            told = f"{_plain(fit.slope, places)} ± {_plain(error, places).removeprefix('+')}"
    return f"{told} {WANDER_MARK}" if fit.wanders else told


def _magnitude(value: float) -> int:
    """Return the power of ten of the first digit, after rounding to two."""
    return int(f"{value:.1e}".partition("e")[2]) if value else 0


def _plain(value: float, places: int) -> str:
    """Return a number with its sign, rounded to decimal places; a negative number of them rounds to tens."""
    return f"{round(value, places) + 0.0:+.{max(places, 0)}f}"  # no minus before a zero


def as_delay_ps(phase: Extreme) -> float:
    """Return the delay in ps that turns a phase by so much at its frequency."""
    return -phase.value / 360.0 / phase.frequency_hz * 1e12


def any_wanders(summary: SeriesSummary) -> bool:
    """Tell whether a line that is shown does not fit."""
    fits = (
        fit
        for c in summary.changes
        for fit in (c.loss_per_hour, c.delay_per_hour, c.worst_per_hour, c.loss_per_unit, c.delay_per_unit)
    )
    return any(fit is not None and fit.wanders for fit in fits)


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
