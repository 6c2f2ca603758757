"""Every trace that both told, side by side; where the uncertainty comes from; limits of agreement."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from benchsweep.records import Agreement, ComparedTrace, Comparison, Parameter
from benchsweep.report.content._comparison_reasons import empty_lines, reason_lines
from benchsweep.report.content._comparison_words import agreement_line
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import (
    Block,
    Column,
    Items,
    Line,
    Paragraph,
    Row,
    Section,
    Table,
    plain,
)
from benchsweep.report.text import (
    Texts,
    megahertz,
    number,
    pairs_words,
    parameter_words,
    signed,
    uncertainty_words,
)

__all__ = ["agreement_limits_section", "compared_section", "uncertainty_section", "worst_compared_section"]

_NOTHING = ("", "-")


def worst_compared_section(found: Comparison, texts: Texts) -> Section:
    """Return of each parameter the row that is furthest from agreement."""
    chosen: dict[Parameter, ComparedTrace] = {}
    for row in (row for row in found.rows if row.decisive is not None):
        known = chosen.get(row.parameter)
        if known is None or _rank(row) > _rank(known):
            chosen[row.parameter] = row
    rows = [chosen[parameter] for parameter in Parameter if parameter in chosen]
    if not rows:
        return Section(
            (texts("comparison_rows.title"),), (Paragraph((texts("comparison_rows.none"),)),), anchor="rows"
        )
    legend = Paragraph((texts("comparison_rows.legend"),), legend=True)
    return Section((texts("comparison_rows.title"),), (_table(rows, texts), legend), anchor="rows")


def compared_section(found: Comparison, texts: Texts) -> Section | None:
    """Return every row, folded; None where there is none."""
    if not found.rows:
        return None
    rows = _ordered_by_parameter(row for row in found.rows if row.decisive is not None)
    blocks: list[Block] = [_table(rows, texts)] if rows else []
    over_frequency = [row for row in rows if row.basis == "trace"]
    if over_frequency:
        blocks.append(_spread_table(over_frequency, texts))
    elif rows:
        blocks.append(Paragraph((texts("comparison_rows.single_numbers"),), legend=True))
    undecided = [row for row in rows if row.outcome is Agreement.UNDECIDED and row.words]
    empty = [row for row in _ordered_by_parameter(found.rows) if row.decisive is None]
    for title, told in (
        ("comparison_rows.undecided", list(reason_lines(undecided, texts))),
        ("comparison_rows.nothing", list(empty_lines(empty, texts))),
        ("comparison_rows.missing", [given(each) for each in found.missing]),
    ):
        if told:
            blocks.append(Section((texts(title),), (Items(tuple(told)),)))
    return Section((texts("comparison_rows.every", count=len(rows)),), tuple(blocks), folded=True)


def uncertainty_section(found: Comparison, texts: Texts) -> Section | None:
    """Return where the uncertainty of a difference comes from, part by part; None where nothing is told."""
    lines = [given(each) for each in found.budget]
    if not lines:
        return None
    points = [row for row in _ordered_by_parameter(found.rows) if row.decisive is not None]
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("rows.end"), kept=True),
        Column(texts("rows.pairs"), kept=True),
        Column(texts("comparison_rows.of_bench"), number=True),
        Column(texts("comparison_rows.of_tester"), number=True),
        Column(texts("comparison_rows.of_mating"), number=True),
        Column(texts("comparison_rows.of_temperature"), number=True),
        Column(texts("comparison_rows.together"), number=True),
        Column(texts("rows.unit"), kept=True),
    )
    rows = tuple(
        Row(
            cells(
                parameter_words(row.parameter, texts),
                row.end or "",
                pairs_words(row.pairs, texts),
                *(
                    uncertainty_words(value, texts)
                    for value in (
                        row.decisive.bench_uncertainty,
                        row.decisive.tester_uncertainty,
                        row.decisive.mating_uncertainty,
                        row.decisive.temperature_uncertainty,
                        row.decisive.uncertainty,
                    )
                ),
                row.parameter.unit,
            )
        )
        for row in points
        if row.decisive is not None
    )
    blocks: list[Block] = [Items(tuple(lines))]
    if rows:
        blocks.append(_lean(Table(columns, rows, (texts("comparison_rows.parts_caption"),))))
    return Section((texts("comparison_rows.uncertainty"),), tuple(blocks), anchor="uncertainty")


def agreement_limits_section(found: Comparison, drawings: Sequence[Block], texts: Texts) -> Section | None:
    """Return bias and limits of agreement by parameter, with their charts; None where there are none."""
    if not found.bland_altman:
        return None
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("comparison_rows.results"), number=True),
        Column(texts("comparison_rows.bias"), number=True),
        Column(texts("comparison_rows.deviation"), number=True),
        Column(texts("comparison_rows.lower"), number=True),
        Column(texts("comparison_rows.upper"), number=True),
        Column(texts("comparison_rows.bias_error"), number=True),
        Column(texts("comparison_rows.limit_error"), number=True),
        Column(texts("comparison_rows.channels"), number=True),
        Column(texts("rows.unit"), kept=True),
    )
    rows = tuple(
        Row(
            cells(
                parameter_words(parameter, texts),
                str(each.count),
                signed(each.bias, texts),
                number(each.deviation, texts),
                signed(each.lower, texts),
                signed(each.upper, texts),
                number(each.bias_error, texts),
                number(each.limit_error, texts),
                str(each.independent),
                parameter.unit,
            )
        )
        for parameter, each in found.bland_altman
    )
    blocks: list[Block] = [Table(columns, rows)]
    if any(each.independent == 1 for _, each in found.bland_altman):
        blocks.append(Paragraph((texts("comparison_rows.one_channel"),), legend=True))
    blocks.append(Paragraph((texts("comparison_rows.agreement_legend"),), legend=True))
    return Section((texts("comparison_rows.agreement"),), (*blocks, *drawings), anchor="agreement")


def _rank(row: ComparedTrace) -> tuple[int, float]:
    """Return how far a row is from agreement."""
    order = (Agreement.AGREES, Agreement.UNDECIDED, Agreement.DISAGREES)
    point = row.decisive
    if point is None:
        return order.index(row.outcome), -1.0
    return order.index(row.outcome), abs(point.e_n if point.e_n is not None else point.difference)


def _ordered_by_parameter(rows: Iterable[ComparedTrace]) -> list[ComparedTrace]:
    order = list(Parameter)
    return sorted(rows, key=lambda row: (order.index(row.parameter), row.end or "", row.pairs))


def _table(rows: Sequence[ComparedTrace], texts: Texts) -> Table:
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("rows.end"), kept=True),
        Column(texts("rows.pairs"), kept=True),
        Column(texts("rows.frequency"), number=True),
        Column(texts("comparison_rows.bench"), number=True),
        Column(texts("comparison_rows.tester"), number=True),
        Column(texts("comparison_rows.difference"), number=True),
        Column(texts("rows.uncertainty"), number=True),
        Column("E_n", number=True),
        Column(texts("rows.unit"), kept=True),
        Column(texts("rows.outcome")),
    )
    worst = max(rows, key=_rank, default=None)
    return _lean(
        Table(
            columns,
            tuple(
                Row(cells(*_cells(row, texts)), "fail" if row is worst and _beyond(row) else "")
                for row in rows
            ),
        )
    )


def _beyond(row: ComparedTrace) -> bool:
    return row.outcome is Agreement.DISAGREES


def _lean(table: Table) -> Table:
    """Return a table without the columns in which nothing is told of any row."""
    kept = [
        place
        for place in range(len(table.columns))
        if any(plain(row.cells[place]) not in _NOTHING for row in table.rows)
    ]
    columns = tuple(table.columns[place] for place in kept)
    rows = tuple(replace(row, cells=tuple(row.cells[place] for place in kept)) for row in table.rows)
    return Table(columns, rows, table.caption)


def _cells(row: ComparedTrace, texts: Texts) -> Iterator[str | Line]:
    yield parameter_words(row.parameter, texts)
    yield row.end or ""
    yield pairs_words(row.pairs, texts)
    point = row.decisive
    if point is None:
        yield from ("-", "-", "-", "-", "-", "-")
    else:
        yield megahertz(point.frequency_hz)
        yield number(point.bench, texts)
        yield number(point.tester, texts)
        yield signed(point.difference, texts)
        yield uncertainty_words(point.uncertainty, texts)
        yield signed(point.e_n, texts)
    yield row.parameter.unit
    yield agreement_line(row.outcome, texts)


def _spread_table(rows: Sequence[ComparedTrace], texts: Texts) -> Table:
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("rows.end"), kept=True),
        Column(texts("rows.pairs"), kept=True),
        Column(texts("comparison_rows.points"), number=True),
        Column(texts("comparison_rows.left_out"), number=True),
        Column(texts("comparison_rows.mean"), number=True),
        Column(texts("comparison_rows.deviation"), number=True),
        Column(texts("comparison_rows.share"), number=True),
        Column(texts("comparison_rows.bench_margin"), number=True),
        Column(texts("comparison_rows.tester_margin"), number=True),
        Column(texts("comparison_rows.zeta"), number=True),
        Column(texts("rows.unit"), kept=True),
    )
    made = tuple(
        Row(
            cells(
                parameter_words(row.parameter, texts),
                row.end or "",
                pairs_words(row.pairs, texts),
                str(row.compared),
                str(row.left_out),
                signed(row.mean_difference, texts),
                number(row.deviation, texts),
                "-" if row.share_beyond is None else f"{100.0 * row.share_beyond:.0f} %",
                signed(row.bench_margin, texts),
                signed(row.tester_margin, texts),
                "-" if row.decisive is None else signed(row.decisive.zeta, texts),
                row.parameter.unit,
            )
        )
        for row in rows
    )
    return _lean(Table(columns, made, (texts("comparison_rows.spread_caption"),)))
