"""Worst margins, parameter by pair: where along the cable's pairs a specimen is weak, seen at one glance."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

from benchsweep.records import FOUR_PAIRS, End, Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report.content._pieces import cells
from benchsweep.report.document import Block, Column, Line, Paragraph, Row, Strong, Table, line
from benchsweep.report.text import Texts, parameter_words, severity, signed

__all__ = ["matrix_blocks"]

_MARKS = {
    Outcome.FAIL: "matrix.fail",
    Outcome.CONDITIONAL_FAIL: "matrix.conditional_fail",
    Outcome.CONDITIONAL_PASS: "matrix.conditional_pass",
    Outcome.UNDECIDED: "matrix.undecided",
}


def matrix_blocks(verdict: Verdict, texts: Texts) -> tuple[Block, ...]:
    """Return the worst margin of each pair and of each combination of two, a row for parameter and end.

    Of a combination both directions are one cell: the worse of the two receivers. Means over all pairs are
    left out. Nothing when nothing was graded pair by pair.
    """
    single = _table(verdict.rows, [(pair,) for pair in FOUR_PAIRS], (texts("matrix.pairs_caption"),), texts)
    both = _table(verdict.rows, combinations(FOUR_PAIRS, 2), (texts("matrix.both_caption"),), texts)
    blocks: list[Block] = [*single, *both]
    if blocks:
        blocks.append(Paragraph((_legend(verdict.rows, texts),), legend=True))
    return tuple(blocks)


def _table(
    rows: Iterable[VerdictRow], heads: Iterable[tuple[str, ...]], caption: Line, texts: Texts
) -> Iterator[Table]:
    """Yield the table of the rows whose pairs are among the heads, in any order; nothing without any."""
    places = {frozenset(pairs): "-".join(pairs) for pairs in heads}
    found: dict[tuple[Parameter, End | None], dict[frozenset[str], VerdictRow]] = {}
    for row in sorted(rows, key=severity):
        pairs = frozenset(row.pairs)
        if pairs in places:
            found.setdefault((row.parameter, row.end), {}).setdefault(pairs, row)
    if not found:
        return
    columns = (
        Column(texts("rows.parameter")),
        Column(texts("rows.end"), kept=True),
        *(Column(name, number=True) for name in places.values()),
        Column(texts("rows.unit"), kept=True),
    )
    order = list(Parameter)
    keys = sorted(found, key=lambda key: (order.index(key[0]), key[1] or ""))
    yield Table(columns, tuple(_row(key, found[key], places, texts) for key in keys), caption)


def _row(
    key: tuple[Parameter, End | None],
    found: Mapping[frozenset[str], VerdictRow],
    places: Iterable[frozenset[str]],
    texts: Texts,
) -> Row:
    parameter, end = key
    margins = [_margin(found.get(pairs), texts) for pairs in places]
    return Row(cells(parameter_words(parameter, texts), end or "", *margins, parameter.unit))


def _margin(row: VerdictRow | None, texts: Texts) -> Line:
    """Return a margin; heavy and with a letter where it is no plain pass."""
    if row is None:
        return ()
    margin = signed(row.worst_margin_db, texts)
    key = _MARKS.get(row.outcome)
    return (margin,) if key is None else line(Strong(f"{margin} {texts(key)}"))


def _legend(rows: Iterable[VerdictRow], texts: Texts) -> str:
    seen = {row.outcome for row in rows}
    marks = [
        texts("matrix.mark", letter=texts(key), outcome=texts(f"outcome.{outcome.value}"))
        for outcome, key in _MARKS.items()
        if outcome in seen
    ]
    return " ".join([texts("matrix.legend"), *marks])
