"""Whether a specimen passes: the outcome as a word, what it stands on, what makes it doubtful."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from benchsweep.records import Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report.content._findings import BestCategory
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import Fact, cells, fact, given
from benchsweep.report.document import (
    Box,
    Column,
    Emphasis,
    Given,
    Line,
    Link,
    Row,
    Strong,
    Table,
    line,
)
from benchsweep.report.text import (
    Texts,
    bad_rows,
    count_words,
    length_words,
    nearest_words,
    other_notes,
    outcome_words,
    parameter_words,
    row_words,
    stopping_words,
    wiring_faults,
    worst_row,
)

__all__ = [
    "DECISION_RULE",
    "FAILING",
    "against_table",
    "best_table",
    "common_length_m",
    "common_notes",
    "emphasis_of",
    "fails",
    "outcome_box",
    "outcome_line",
    "rule_words",
    "verdict_facts",
]

FAILING = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
DECISION_RULE = "decision rule: "
"""How the note of a verdict begins that states its decision rule."""
_TOLD = (DECISION_RULE, "fails for its wiring: ")

_MOST_BAD = 6


def emphasis_of(outcome: Outcome) -> Emphasis:
    """Return how an outcome looks beside its word."""
    if outcome in FAILING:
        return "fail"
    return "undecided" if outcome is Outcome.UNDECIDED else ""


def fails(group: Sequence[ReportItem]) -> bool:
    """Return whether any requirement of a group is not met."""
    return any(item.verdict.outcome in FAILING for item in group)


def outcome_box(verdict: Verdict, texts: Texts, doubts: Sequence[Line] = ()) -> Box:
    """Return the outcome against one requirement, what stands against a pass or came closest, and doubts."""
    against = [*_against_pass(verdict, texts)]
    told = [*against, *(texts.line("box.doubtful", told=doubt) for doubt in doubts)]
    lines = [
        texts.line("box.against", requirement=Given(verdict.requirement), rule=Given(verdict.decision_rule)),
        (count_words(verdict, texts),),
    ]
    closest = worst_row(verdict)
    if not against and closest is not None:
        lines.append(texts.line("box.closest", told=row_words(closest, texts)))
    word = outcome_words(verdict.outcome, texts)
    return Box(word, tuple(lines), tuple(told), emphasis_of(verdict.outcome))


def _against_pass(verdict: Verdict, texts: Texts) -> Iterator[Line]:
    """Yield what stands against a pass: the wiring, failing traces, the reason of what is undecided once."""
    if wiring_faults(verdict.wiring) and (told := stopping_words(verdict, texts)):
        yield told
    bad = bad_rows(verdict)
    failing = [row for row in bad if row.outcome is not Outcome.UNDECIDED]
    yield from (row_words(row, texts) for row in failing[:_MOST_BAD])
    if len(failing) > _MOST_BAD:
        yield (texts("box.more", count=len(failing) - _MOST_BAD),)
    reasons: dict[str, list[VerdictRow]] = {}
    for row in bad:
        if row.outcome is Outcome.UNDECIDED:
            reasons.setdefault(row.note, []).append(row)
    for note, rows in reasons.items():
        about = {row.parameter for row in rows}
        names = [parameter_words(one, texts) for one in Parameter if one in about]
        reason = Given(note) if note else texts("against_pass.no_reason")
        yield texts.line("box.undecided", count=len(rows), parameters=", ".join(names), reason=reason)


def against_table(group: Sequence[ReportItem], anchors: Sequence[str], texts: Texts) -> Table:
    """Return one line for each requirement: number, outcome, worst; its name leads to its own part."""
    columns = (
        Column(texts("against.number"), number=True),
        Column(texts("against.requirement")),
        Column(texts("against.outcome"), kept=True),
        Column(texts("against.worst")),
    )
    rows = []
    for number, (item, anchor) in enumerate(zip(group, anchors, strict=True), start=1):
        verdict = item.verdict
        rows.append(
            Row(
                cells(
                    str(number),
                    (Link(anchor, Given(verdict.requirement)),),
                    outcome_line(verdict.outcome, texts),
                    nearest_words(verdict, texts),
                ),
                emphasis_of(verdict.outcome),
            )
        )
    return Table(columns, tuple(rows), (texts("against.caption", count=len(group)),))


def outcome_line(outcome: Outcome, texts: Texts) -> Line:
    """Return an outcome as a word, one against the specimen such that it is not missed."""
    word = outcome_words(outcome, texts)
    return (Strong(word),) if emphasis_of(outcome) else (word,)


def best_table(best: Sequence[BestCategory], texts: Texts) -> Table | None:
    """Return the highest category that passes in each family of which several were tried; None without."""
    tried = [one for one in best if len(one.outcomes) > 1]
    if not tried:
        return None
    columns = (Column(texts("best.of")), Column(texts("best.highest")), Column(texts("best.graded")))
    rows = [
        Row(
            cells(
                given(one.family),
                given(one.requirement) or texts("best.none"),
                _tried(one, texts),
            )
        )
        for one in tried
    ]
    return Table(columns, tuple(rows), (texts("best.caption"),))


def _tried(best: BestCategory, texts: Texts) -> Line:
    told: Line = ()
    for name, outcome in best.outcomes:
        told = line(told, ", " if told else "", Given(name), " ", outcome_words(outcome, texts))
    return told


def common_notes(group: Sequence[ReportItem]) -> tuple[str, ...]:
    """Return the notes that all verdicts of a group of several share, but for doubts and standings."""
    if len(group) == 1:
        return ()
    doubts = {doubt for item in group for doubt in item.verdict.doubts}
    notes = [_own_notes(item.verdict) for item in group]
    common = set.intersection(*map(set, notes)) - doubts
    return tuple(note for note in notes[0] if note in common)


def common_length_m(group: Sequence[ReportItem]) -> float | None:
    """Return the length that all requirements used which need one; None where none does, or they differ."""
    lengths = {item.verdict.length_m for item in group} - {None}
    return lengths.pop() if len(lengths) == 1 else None


def _own_notes(verdict: Verdict) -> tuple[str, ...]:
    """Return the notes but for decision rule and wiring, which the head and the box tell."""
    return tuple(note for note in other_notes(verdict) if not note.startswith(_TOLD))


def verdict_facts(
    verdict: Verdict, told: Collection[str], texts: Texts, *, length: bool = True
) -> Iterator[Fact]:
    """Yield what an outcome rests on beside its box: budget, `length`, notes but those in `told`."""
    yield fact(texts("facts.budget"), given(verdict.budget))
    if length and verdict.length_m is not None:
        yield fact(texts("facts.length_used"), length_words(verdict.length_m, texts))
    # Doubts stand above, and the standing of the limits below each table.
    notes = [note for note in _own_notes(verdict) if note not in told]
    yield fact(texts("facts.note"), *map(given, notes))
    if all(row.expanded_uncertainty is None for row in verdict.rows):
        yield fact(texts("facts.uncertainty"), texts("uncertainty.not_evaluated"))


def rule_words(rule: str, texts: Texts) -> str:
    """Return what a decision rule means; nothing of one that is not known."""
    kind, _, factor = rule.partition(" ")
    if kind == "simple":
        return texts("rule.simple")
    if kind == "guard-band":
        return texts("rule.guard_band", factor=factor) if factor else texts("rule.guard_band_whole")
    if kind == "four-way":
        return texts("rule.four_way", factor=factor) if factor else texts("rule.four_way_whole")
    return ""
