"""What a report says before anything else: the outcome, and what makes it doubtful."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from benchsweep.report.content._doubts import doubts_section
from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of
from benchsweep.report.document import Box, Given, Line, Section, Strong
from benchsweep.report.text import ORDER, Texts, outcome_words

__all__ = ["opened"]


def opened(
    parts: Sequence[Summary], sections: Sequence[Section], texts: Texts
) -> tuple[Box | None, list[Section]]:
    """Return the outcome of the whole report, and `sections` of `parts` without what it says already.

    Of one measurement against one requirement it is the box of its own part, of more the worst outcome, how
    many had which, and how many are doubtful. Nothing graded: None.
    """
    rest = list(sections)
    if not parts:
        return None, rest
    simulated = _simulated(parts, texts)
    if len(parts) > 1:
        return _box(parts, [*simulated, *_counts(parts, texts), *_doubtful(parts, texts)], (), texts), rest
    title, blocks = rest[0].title, rest[0].blocks
    first = blocks[0]
    if isinstance(first, Box):
        rest[0] = replace(rest[0], blocks=blocks[1:])
        return replace(first, lines=(title, *simulated, *first.lines)), rest
    doubts = parts[0].doubts
    apart = doubts_section(doubts, texts)
    rest[0] = replace(rest[0], blocks=tuple(block for block in blocks if block != apart))
    items = tuple(texts.line("box.doubtful", told=doubt) for doubt in doubts)
    return _box(parts, [title, *simulated, *_counts(parts, texts)], items, texts), rest


def _box(parts: Sequence[Summary], lines: Sequence[Line], items: tuple[Line, ...], texts: Texts) -> Box:
    outcomes = [verdict.outcome for one in parts for verdict in one.verdicts]
    worst = min(outcomes, key=ORDER.index)
    return Box(outcome_words(worst, texts), tuple(lines), items, emphasis_of(worst))


def _simulated(parts: Sequence[Summary], texts: Texts) -> list[Line]:
    """Return that it is practice, of some among others how many."""
    count = sum(one.simulated for one in parts)
    if not count:
        return []
    if count == len(parts):
        return [(Strong(texts("simulated.told")),)]
    return [(Strong(texts("simulated.some", count=count, whole=len(parts))),)]


def _doubtful(parts: Sequence[Summary], texts: Texts) -> list[Line]:
    count = sum(bool(one.doubts) for one in parts)
    return [(Strong(texts("opening.doubtful", count=count, whole=len(parts))),)] if count else []


def _counts(parts: Sequence[Summary], texts: Texts) -> list[Line]:
    """Return how many measurements were graded against each requirement, and with which outcomes."""
    verdicts = [verdict for one in parts for verdict in one.verdicts]
    specimens = len({(one.lot, one.specimen) for one in parts})
    lines = []
    for requirement in dict.fromkeys(verdict.requirement for verdict in verdicts):
        outcomes = Counter(verdict.outcome for verdict in verdicts if verdict.requirement == requirement)
        if len(parts) == 1:
            told = ", ".join(outcome_words(one, texts) for one in ORDER if outcomes[one])
            lines.append(texts.line("opening.alone", requirement=Given(requirement), told=Strong(told)))
            continue
        told = ", ".join(texts(f"count.{one.value}", count=outcomes[one]) for one in ORDER if outcomes[one])
        key = "opening.counts" if specimens == len(parts) else "opening.counts_again"
        fields = {} if specimens == len(parts) else {"specimens": specimens}
        lines.append(
            texts.line(
                key, requirement=Given(requirement), count=outcomes.total(), told=Strong(told), **fields
            )
        )
    return lines
