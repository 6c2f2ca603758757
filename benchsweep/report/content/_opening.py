"""What a report says before anything else: the outcome."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from benchsweep.report.content._summary import Summary
from benchsweep.report.content._verdict import emphasis_of
from benchsweep.report.document import Box, Given, Line, Section, Strong
from benchsweep.report.text import ORDER, Texts, outcome_words

__all__ = ["opened"]


def opened(
    parts: Sequence[Summary], sections: Sequence[Section], texts: Texts
) -> tuple[Box | None, list[Section]]:
    """Return the outcome of the whole report, and `sections` of `parts` without what it says already.

    Of one measurement against one requirement it is the box of its own part, of more the worst outcome and
    how many had which. Nothing graded: None.
    """
    rest = list(sections)
    if not parts:
        return None, rest
    first = rest[0].blocks[0]
    if len(parts) == 1 and isinstance(first, Box):
        rest[0] = replace(rest[0], blocks=rest[0].blocks[1:])
        return replace(first, lines=(rest[0].title, *first.lines)), rest
    verdicts = [verdict for one in parts for verdict in one.verdicts]
    worst = min((verdict.outcome for verdict in verdicts), key=ORDER.index)
    lines = [rest[0].title] if len(parts) == 1 else []
    lines += _counts(parts, texts)
    return Box(outcome_words(worst, texts), tuple(lines), (), emphasis_of(worst)), rest


def _counts(parts: Sequence[Summary], texts: Texts) -> list[Line]:
    """Return how many measurements were graded against each requirement, and with which outcomes."""
    verdicts = [verdict for one in parts for verdict in one.verdicts]
    specimens = len({(one.lot, one.specimen) for one in parts})
    lines = []
    for requirement in dict.fromkeys(verdict.requirement for verdict in verdicts):
        outcomes = Counter(verdict.outcome for verdict in verdicts if verdict.requirement == requirement)
        told = ", ".join(texts(f"count.{one.value}", count=outcomes[one]) for one in ORDER if outcomes[one])
        key = "opening.counts" if specimens == len(parts) else "opening.counts_again"
        fields = {} if specimens == len(parts) else {"specimens": specimens}
        lines.append(
            texts.line(
                key, requirement=Given(requirement), count=outcomes.total(), told=Strong(told), **fields
            )
        )
    return lines
