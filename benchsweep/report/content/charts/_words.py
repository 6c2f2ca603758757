"""What is said of a chart over frequency: titles of its panels, and a sentence for those who hear it."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import End, Trace, VerdictRow
from benchsweep.report.content.charts._bars import Bar
from benchsweep.report.content.charts._frame import over_frequency, placed_words, worst_words
from benchsweep.report.text import ORDER, Texts, outcome_words, parameter_words, severity

__all__ = ["title_of", "told_of"]

_MOST_TITLES = 3


def title_of(end: End | None, bars: Sequence[Bar], texts: Texts) -> str:
    """Return the end of a panel, and how its worst trace fares against each requirement."""
    head = "" if end is None else texts("where.end", end=end)
    rows = [(bar, bar.worst[end]) for bar in bars if end in bar.worst]
    if not rows:
        return _joined(head, texts("chart.no_limit"))
    if len(rows) == 1 and len(bars) == 1:
        row = rows[0][1]
        told = outcome_words(row.outcome, texts)
        if row.worst_margin_db is not None:
            told = texts("chart.outcome_worst", outcome=told, worst=worst_words(row, texts))
        return _joined(head, told)
    if len(rows) > _MOST_TITLES:
        outcomes = [row.outcome for _, row in rows]
        counts = [(outcome, outcomes.count(outcome)) for outcome in ORDER if outcome in outcomes]
        told = ", ".join(texts(f"count.{outcome.value}", count=count) for outcome, count in counts)
        return _joined(head, told)
    named = [texts("chart.by_number", number=bar.number, told=_row_told(row, texts)) for bar, row in rows]
    return "\n".join([*([head] if head else []), *named])


def _row_told(row: VerdictRow, texts: Texts) -> str:
    outcome = outcome_words(row.outcome, texts)
    if row.worst_margin_db is None:
        return outcome
    return texts("chart.outcome_at", outcome=outcome, worst=worst_words(row, texts))


def _joined(head: str, told: str) -> str:
    return f"{head}: {told}" if head else told


def told_of(
    traces: Sequence[Trace],
    ends: Sequence[End | None],
    bars: Sequence[Bar],
    lines: int,
    texts: Texts,
) -> str:
    """Return what a chart shows in a sentence; `lines` different limits are drawn in it."""
    what = texts(
        "chart.told",
        what=over_frequency(parameter_words(traces[0].parameter, texts), ends, texts),
        curves=texts("chart.curves", count=len(traces)),
        limits=texts("chart.limits", count=lines) if lines else texts("chart.no_limit"),
    )
    rows = [(severity(row), bar, row) for bar in bars for end, row in bar.worst.items() if end in ends]
    if not rows:
        return what
    _, bar, row = min(rows, key=lambda found: found[0])
    outcome = outcome_words(row.outcome, texts)
    if row.worst_margin_db is None:
        return texts("chart.told_outcome", what=what, outcome=outcome)
    told = texts("chart.told_worst", what=what, worst=placed_words(row, texts), outcome=outcome)
    return texts("chart.told_against", told=told, number=bar.number) if bar.number else told
