"""An evaluation graded against several requirements; needs no bench."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchsweep import limits
from benchsweep.qualification._reduction import Evaluation, grade_evaluation
from benchsweep.records import LimitCurve, Parameter, Verdict

__all__ = ["Graded", "Qualified", "grade_all"]


@dataclass(frozen=True, slots=True, eq=False)
class Graded:
    """One verdict with the limit lines behind it, and the edition of the requirement."""

    verdict: Verdict
    limits: dict[Parameter, LimitCurve]
    edition: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Qualified:
    """A measured, archived and graded specimen; `grading` is where the verdicts are kept, None: nowhere."""

    record: Path | str
    evaluation: Evaluation
    graded: tuple[Graded, ...]
    grading: Path | None = None

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """The verdicts, in the order of the requirements."""
        return tuple(item.verdict for item in self.graded)


def grade_all(
    evaluation: Evaluation,
    requirements: Sequence[limits.Requirement],
    *,
    record: str,
    decision_rule: str,
    conditions: limits.Conditions | None = None,
    by_pattern: Collection[str] = (),
) -> tuple[Graded, ...]:
    """Grade one evaluation against each requirement.

    Parameters
    ----------
    conditions
        See `grade_evaluation`.
    by_pattern
        Names of the requirements that a pattern chose: what needs a length that nobody gave is undecided
        there, an error elsewhere.
    """
    return tuple(
        Graded(
            *grade_evaluation(
                evaluation,
                requirement,
                record=record,
                decision_rule=decision_rule,
                conditions=conditions,
                missing_length="undecided" if requirement.name in by_pattern else "error",
            ),
            edition=requirement.edition,
        )
        for requirement in requirements
    )
