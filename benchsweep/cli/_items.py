from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchsweep.limits import Conditions, Requirement
    from benchsweep.qualification import Qualified
    from benchsweep.report import BestCategory, Findings, ReportItem

__all__ = ["report_items"]


def report_items(
    result: Qualified, requirements: Sequence[Requirement], *, conditions: Conditions | None = None
) -> list[ReportItem]:
    """Return what the report needs of a graded specimen: one item for each requirement.

    `requirements` and `conditions` are those that it was graded with.
    """
    from benchsweep.qualification import budget_rows, notes_about, record_hash, shown, uncertainty_bands
    from benchsweep.records import Comment
    from benchsweep.report import ReportItem

    comments = tuple(note for note in notes_about(result.record) if isinstance(note, Comment))
    digest = record_hash(result.record)
    findings = _findings(result, requirements)
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
                budget=budget_rows(result.evaluation, graded.verdict) if result.evaluation.model else (),
                not_counting=looks.not_counting,
                graded=looks.graded,
                findings=findings,
                comments=comments,
                bands=uncertainty_bands(
                    result.evaluation, requirement, graded.verdict, conditions=conditions
                ),
            )
        )
    return items


def _findings(result: Qualified, requirements: Sequence[Requirement]) -> Findings:
    from benchsweep.qualification import disturbers_shown, failing_origins, locate
    from benchsweep.report import Findings, LengthRule

    location = locate(result.evaluation)
    cable = any("cable" in requirement.configuration for requirement in requirements)

    bundles = [disturbers_shown(result.evaluation, verdict) for verdict in result.verdicts]
    shares = next((shares for shares, _ in bundles if shares), ())
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
        shares=shares,
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
    ]
