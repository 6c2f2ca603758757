"""Whether a field tester agrees with the bench, as a word, and beside it what that stands on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import Agreement, ComparedTrace
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._comparison_words import agreement_words, emphasis_of_agreement, row_line
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Box, Given, Line, Strong
from benchsweep.report.text import Texts

__all__ = ["agreement_box", "comparison_doubts", "simulated_comparison"]

_MOST_TOLD = 8


def agreement_box(item: ComparisonItem, doubts: Sequence[Line], texts: Texts) -> Box:
    """Return the outcome, its reason, and the rows that stand against agreement, the furthest first."""
    found = item.comparison
    lines = [each for each in _lines(item, texts) if each]
    if doubts:
        lines.append((Strong(texts("lot.doubtful", count=len(doubts))),))
    return Box(
        agreement_words(found.outcome, texts),
        tuple(lines),
        tuple(_against(item, texts)),
        emphasis_of_agreement(found.outcome),
    )


def simulated_comparison(item: ComparisonItem, texts: Texts) -> Line:
    """Return that it is practice; empty where it is not."""
    return (Strong(texts("simulated.told")),) if item.simulated else ()


def comparison_doubts(item: ComparisonItem, texts: Texts) -> tuple[Line, ...]:
    """Return what a reader must know before the outcome: practice, what does not fit, doubts, drift."""
    told = [simulated_comparison(item, texts)]
    told += [given(each.words) for each in item.comparison.suspicions if each.hinders]
    told += [given(each) for each in (*item.standing, *item.comparison.doubts)]
    if item.repairs:
        told.append(texts.line("comparison.repaired", repairs=Given(item.repairs)))
    if item.drift is not None and item.drift.moved:
        told += [texts.line("comparison.drift_told", words=Given(each)) for each in item.drift.words]
    return tuple(dict.fromkeys(each for each in told if each))


def _lines(item: ComparisonItem, texts: Texts) -> Iterator[Line]:
    found = item.comparison
    yield texts.line("comparison.of", tester=Given(found.tester), channel=Given(found.channel))
    yield simulated_comparison(item, texts)
    yield given(found.words)
    rows = [row for row in found.rows if row.decisive is not None]
    judged = sum(row.outcome is not Agreement.UNDECIDED for row in rows)
    beyond = sum(row.outcome is Agreement.DISAGREES for row in rows)
    yield (texts("comparison.counted", count=len(rows), judged=judged, beyond=beyond),)
    yield texts.line("comparison.against", requirement=Given(found.requirement))
    yield texts.line("comparison.compared", by=Given(found.by), at=Given(found.at[:10]))


def _against(item: ComparisonItem, texts: Texts) -> Iterator[Line]:
    outcome = item.comparison.outcome
    # Beside what disagrees the undecided ones say nothing.
    wanted = Agreement.DISAGREES if outcome is Agreement.DISAGREES else Agreement.UNDECIDED
    rows = [row for row in item.comparison.rows if row.outcome is wanted and row.decisive is not None]
    rows.sort(key=_nearness)
    for row in rows[:_MOST_TOLD]:
        yield row_line(row, texts)
    if len(rows) > _MOST_TOLD:
        yield (texts("lot.more_below", count=len(rows) - _MOST_TOLD),)


def _nearness(row: ComparedTrace) -> tuple[bool, float]:
    """Sort disagreeing rows first, the largest number first."""
    point = row.decisive
    number = 0.0 if point is None or point.e_n is None else abs(point.e_n)
    return row.outcome is not Agreement.DISAGREES, -number
