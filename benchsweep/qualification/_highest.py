"""The highest category that a specimen passes, and what stops the next one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from benchsweep import limits
from benchsweep.qualification._documents import row_document
from benchsweep.qualification._graded import Graded
from benchsweep.records import Outcome, Verdict, VerdictRow

__all__ = ["exit_code_of_highest", "highest_document"]

_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.UNDECIDED,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)


def highest_document(requirements: Sequence[limits.Requirement], graded: Sequence[Graded]) -> dict[str, Any]:
    """Return ``benchsweep.highest/1``: for each body and configuration the highest category that passes.

    ``next`` is the next category above that one, or the lowest where none passes, with the row that stands
    most against it; null where no higher one was graded. Its ``row`` is null where no row stands against a
    pass, but the wiring or the whole measurement: ``notes`` tell.

    Parameters
    ----------
    requirements, graded
        One verdict of one specimen for each requirement, in the same order.
    """
    found = limits.highest(
        (requirement, item.verdict) for requirement, item in zip(requirements, graded, strict=True)
    )
    verdicts = {item.verdict.requirement: item.verdict for item in graded}
    return {
        "schema": "benchsweep.highest/1",
        "record": graded[0].verdict.record if graded else None,
        "specimen": graded[0].verdict.specimen if graded else None,
        "decision_rule": graded[0].verdict.decision_rule if graded else None,
        "highest": [
            {
                "body": item.body,
                "configuration": item.configuration,
                "requirement": item.passed.requirement if item.passed else None,
                "class": item.passed.category if item.passed else None,
                "outcome": str(item.passed.outcome) if item.passed else None,
                "next": _next(item, verdicts),
                "undecided_above": _ranked(item.undecided),
                "not_passed_below": _ranked(item.below),
                "ranked": _ranked(item.ranked),
            }
            for item in found
        ],
    }


def exit_code_of_highest(documents: Sequence[Mapping[str, Any]]) -> int:
    """Return 0 when some category of every family passes, 1 when all of one fail, else 3."""
    without = [
        {item["outcome"] for item in family["ranked"]}
        for document in documents
        for family in document["highest"]
        if family["requirement"] is None
    ]
    if any(str(Outcome.UNDECIDED) not in outcomes for outcomes in without):
        return 1
    return 3 if without else 0


def _next(found: limits.Highest, verdicts: Mapping[str, Verdict]) -> dict[str, Any] | None:
    above = [item for item in found.ranked if found.passed is None or item.rank > found.passed.rank]
    if not above:
        return None
    following = min(above, key=lambda item: item.rank)
    verdict = verdicts[following.requirement]
    worst = min(verdict.rows, key=_severity, default=None)
    stands_against = worst is not None and worst.outcome not in (Outcome.PASS, Outcome.CONDITIONAL_PASS)
    return {
        **_document(following),
        "row": row_document(worst) if worst is not None and stands_against else None,
        "notes": list(verdict.notes),
    }


def _severity(row: VerdictRow) -> tuple[int, float]:
    margin = math.inf if row.worst_margin_db is None else row.worst_margin_db
    return _WORST_FIRST.index(row.outcome), margin


def _ranked(items: Iterable[limits.Ranked]) -> list[dict[str, Any]]:
    return [_document(item) for item in items]


def _document(item: limits.Ranked) -> dict[str, Any]:
    return {
        "requirement": item.requirement,
        "class": item.category,
        "rank": item.rank,
        "outcome": str(item.outcome),
    }
