"""The highest category that a specimen passes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from benchsweep import limits
from benchsweep.qualification._qualify import Graded

__all__ = ["highest_document", "ranked_requirements"]


def ranked_requirements() -> tuple[limits.Requirement, ...]:
    """Return every requirement in force that has a rank among its categories; broken files are left out."""
    return tuple(
        item.requirement
        for item in limits.requirements_in_force()
        if item.requirement is not None and item.requirement.rank is not None
    )


def highest_document(requirements: Sequence[limits.Requirement], graded: Sequence[Graded]) -> dict[str, Any]:
    """Return ``benchsweep.highest/1``: for each body and configuration the highest category that passes.

    Parameters
    ----------
    requirements, graded
        One verdict of one specimen for each requirement, in the same order.
    """
    found = limits.highest(
        (requirement, item.verdict) for requirement, item in zip(requirements, graded, strict=True)
    )
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
                "undecided_above": _ranked(item.undecided),
                "not_passed_below": _ranked(item.below),
                "ranked": _ranked(item.ranked),
            }
            for item in found
        ],
    }


def _ranked(items: Iterable[limits.Ranked]) -> list[dict[str, Any]]:
    return [
        {
            "requirement": item.requirement,
            "class": item.category,
            "rank": item.rank,
            "outcome": str(item.outcome),
        }
        for item in items
    ]
