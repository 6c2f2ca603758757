"""One line of a study for each parameter, the worst first, and what a statement takes of mating from it."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import MatingScatter, StudySummary
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import Block, Column, Line, Paragraph, Row, Section, Table, line
from benchsweep.report.text import Texts, parameter_words, quantity_parts

__all__ = ["study_quantity", "study_summary_section"]

_NOTHING = 1e-9
"""Less scatter than this, in dB or ns, is that of sums of decimals: none was seen."""


def study_quantity(quantity: str, texts: Texts) -> Line:
    """Return what was studied, with the field's term for the parameter: ``ACR-F A 12-36``."""
    parameter, rest = quantity_parts(quantity)
    if parameter is None:
        return given(quantity)
    named = parameter_words(parameter, texts)
    return line(named, " ", given(rest)) if rest else (named,)


def study_summary_section(rows: Sequence[StudySummary], texts: Texts) -> Section | None:
    """Return the lines of all parameters; None where nothing was evaluated."""
    if not rows:
        return None
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("study.worst_trace"), kept=True),
        Column(texts("study.repeatability"), number=True),
        Column(texts("study.reproducibility"), number=True),
        Column(texts("study.gauge_share"), number=True),
        Column(texts("study.categories_column"), number=True),
        Column(texts("rows.unit"), kept=True),
    )
    table = Table(columns, tuple(Row(cells(*_cells(row, texts))) for row in rows))
    blocks: list[Block] = [table, Paragraph((texts("study.summary_legend"),), legend=True)]
    taken = [row for row in rows if row.mating is not None and row.parameter is not None]
    if taken:
        blocks.append(_matings(taken, texts))
        blocks.append(Paragraph((texts("study.mating_legend"),), legend=True))
    return Section((texts("study.summary"),), tuple(blocks), anchor="summary")


def _cells(row: StudySummary, texts: Texts) -> tuple[str | Line, ...]:
    parameter = row.parameter
    return (
        given(row.quantity) if parameter is None else parameter_words(parameter, texts),
        "" if parameter is None else given(quantity_parts(row.quantity)[1]),
        _number(row.repeatability, texts),
        _number(row.reproducibility, texts),
        "-" if row.gauge_percent is None else f"{row.gauge_percent:.1f}",
        "-" if row.categories is None else str(row.categories),
        "dB" if parameter is None else parameter.unit,
    )


def _matings(rows: Sequence[StudySummary], texts: Texts) -> Table:
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("study.mating_column_u"), number=True),
        Column(texts("rows.unit"), kept=True),
        Column(texts("study.taken")),
        Column(texts("study.freedom"), number=True),
        Column(texts("study.largest"), number=True),
        Column(texts("study.largest_trace"), kept=True),
    )
    made = []
    for row in rows:
        found, parameter = row.mating, row.parameter
        if found is None or parameter is None:
            continue
        made.append(
            Row(
                cells(
                    parameter_words(parameter, texts),
                    f"{found.expanded:.3f}",
                    parameter.unit,
                    _taken(found, texts),
                    str(found.freedom),
                    _number(found.largest, texts),
                    given(quantity_parts(found.trace)[1]) if found.largest > _NOTHING else "",
                )
            )
        )
    return Table(columns, tuple(made), (texts("study.mating_caption"),))


def _taken(found: MatingScatter, texts: Texts) -> str:
    if found.taken == "step":
        return texts("study.taken_step", count=found.quantities, step=f"{found.step:g}")
    key = "study.taken_largest" if found.taken == "largest" else "study.taken_pooled"
    return texts(key, count=found.quantities)


def _number(value: float | None, texts: Texts) -> str:
    if value is None:
        return "-"
    return f"{value:.3f}" if value > _NOTHING else texts("study.none_seen")
