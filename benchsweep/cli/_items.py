from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchsweep.limits import Conditions, Requirement
    from benchsweep.qualification import Qualified, RecordNotes
    from benchsweep.report import BestCategory, Detail, Findings, KeptOutcome, ReportItem

__all__ = ["report_items"]


def report_items(
    result: Qualified,
    requirements: Sequence[Requirement],
    *,
    conditions: Conditions | None = None,
    detail: Detail = "full",
) -> list[ReportItem]:
    """Return what the report needs of a graded specimen: one item for each requirement.

    Parameters
    ----------
    requirements, conditions
        Those that it was graded with.
    detail
        ``brief``: nothing that a brief report does not tell.
    """
    from benchsweep.qualification import budget_rows, notes_on, record_hash, shown, uncertainty_bands
    from benchsweep.records import Comment, Outcome
    from benchsweep.report import Findings, ReportItem

    said = notes_on(result.record)
    comments = tuple(note for note in said.notes if isinstance(note, Comment))
    digest = record_hash(result.record)
    full = detail == "full"
    failing = any(verdict.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL) for verdict in result.verdicts)
    placed = _placed(result, requirements) if full or failing else Findings()
    findings = _not_placed(placed, result, requirements)
    items = []
    for requirement, graded in zip(requirements, result.graded, strict=True):
        looks = shown(result.evaluation, requirement, conditions=conditions)
        items.append(
            ReportItem(
                measurement=result.evaluation.measurement,
                traces=result.evaluation.traces,
                verdict=graded.verdict,
                limits=graded.limits,
                content_hash=digest,
                budget=budget_rows(result.evaluation, graded.verdict)
                if full and result.evaluation.model
                else (),
                not_counting=looks.not_counting,
                graded=looks.graded,
                findings=findings,
                comments=comments,
                bands=uncertainty_bands(result.evaluation, requirement, graded.verdict, conditions=conditions)
                if full
                else {},
                title=requirement.title,
                edition=requirement.edition,
                kept=_kept(result, said, requirement),
            )
        )
    return items


def _kept(result: Qualified, said: RecordNotes, requirement: Requirement) -> list[KeptOutcome]:
    """Return what kept gradings say of the record, but for those made before a correction that changes them.

    Of a series nothing: a kept grading does not say of which sweep it is.
    """
    from benchsweep.qualification import is_series
    from benchsweep.report import KeptOutcome

    if not said.verdicts or is_series(result.record):
        return []
    return [
        KeptOutcome(kept.made_at, kept.verdict.decision_rule, kept.edition, kept.verdict.outcome)
        for kept in said.verdicts
        if kept.verdict.requirement == requirement.name and not said.outdated(kept)
    ]


def _placed(result: Qualified, requirements: Sequence[Requirement]) -> Findings:
    """Return what is wrong and where, and how the specimen looks over its length."""
    from benchsweep.qualification import failing_origins, locate
    from benchsweep.report import Findings, LengthRule

    location = locate(result.evaluation)
    cable = any("cable" in requirement.configuration for requirement in requirements)
    return Findings(
        faults=location.faults,
        origins=failing_origins(result.evaluation, result.verdicts),
        profiles=() if location.why_no_time_domain else location.profiles,
        why_no_profiles=location.why_no_time_domain,
        length_m=location.length_m,
        electrical_length_m=location.electrical_length_m,
        # A cord or a channel is more than cable: its constants would be those of no part of it.
        constants=location.constants if cable else (),
        length_rules=[
            LengthRule(requirement.name, requirement.length.maximum_m, requirement.length.standing)
            for requirement in requirements
            if requirement.length is not None
        ],
    )


def _not_placed(found: Findings, result: Qualified, requirements: Sequence[Requirement]) -> Findings:
    """Return the findings with what needs no distances: disturbing cables, the highest category."""
    from benchsweep.qualification import disturbers_shown

    bundles = [disturbers_shown(result.evaluation, verdict) for verdict in result.verdicts]
    return replace(
        found,
        shares=next((shares for shares, _ in bundles if shares), ()),
        enough_disturbers="; ".join(dict.fromkeys(words for _, words in bundles if words)),
        best=_best(result, requirements) if len(requirements) > 1 else (),
    )


def _best(result: Qualified, requirements: Sequence[Requirement]) -> list[BestCategory]:
    from benchsweep.qualification import highest_document
    from benchsweep.records import Outcome
    from benchsweep.report import BestCategory

    return [
        BestCategory(
            family=f"{family['body']} {family['configuration'].replace('-', ' ')}",
            requirement=family["requirement"] or "",
            outcomes=[(item["requirement"], Outcome(item["outcome"])) for item in family["ranked"]],
        )
        for family in highest_document(requirements, result.graded)["highest"]
        if len(family["ranked"]) > 1
    ]
