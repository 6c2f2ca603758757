"""What makes an outcome doubtful, and what was said of the same specimen before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.report.content._findings import KeptOutcome
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Given, Items, Line, Section
from benchsweep.report.text import Texts, outcome_words

__all__ = ["doubt_lines", "doubts_section", "kept_lines"]


def doubt_lines(group: Sequence[ReportItem], texts: Texts) -> tuple[Line, ...]:
    """Return what a reader must know with the outcome, each once.

    It is what the verdicts doubt, and each kept grading that says something else of the same requirement.
    """
    told = dict.fromkeys(given(doubt) for item in group for doubt in item.verdict.doubts)
    for item in group:
        told |= dict.fromkeys(
            _kept_line(item, kept, texts)
            for kept in _latest(item)
            if kept.outcome is not item.verdict.outcome
        )
    return tuple(told)


def kept_lines(group: Sequence[ReportItem], texts: Texts) -> Iterator[Line]:
    """Yield the kept gradings that say the same by another rule or edition: no doubt, but worth knowing."""
    for item in group:
        for kept in _latest(item):
            rule, edition = item.verdict.decision_rule, item.edition
            same = kept.decision_rule == rule and (not edition or kept.edition == edition)
            if kept.outcome is item.verdict.outcome and not same:
                yield _kept_line(item, kept, texts)


def _latest(item: ReportItem) -> Iterator[KeptOutcome]:
    """Yield the last kept grading of each decision rule and edition."""
    yield from {(kept.decision_rule, kept.edition): kept for kept in item.kept}.values()


def _kept_line(item: ReportItem, kept: KeptOutcome, texts: Texts) -> Line:
    told = texts.line(
        "doubts.kept",
        date=Given(kept.made_at[:10]),
        outcome=outcome_words(kept.outcome, texts),
        requirement=Given(item.verdict.requirement),
        rule=Given(kept.decision_rule),
    )
    if not item.edition or kept.edition in ("", item.edition):
        return told
    return texts.line("doubts.kept_edition", told=told, edition=Given(kept.edition))


def doubts_section(doubts: Sequence[Line], texts: Texts) -> Section | None:
    """Return what makes the outcomes against several requirements doubtful; None when nothing does."""
    return Section((texts("doubts.title"),), (Items(tuple(doubts)),)) if doubts else None
