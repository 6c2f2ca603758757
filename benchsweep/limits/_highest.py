"""The highest category that passes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchsweep.limits._requirement import Requirement
from benchsweep.records import Outcome, Verdict

__all__ = ["Highest", "Ranked", "highest"]

_PASSES = (Outcome.PASS, Outcome.CONDITIONAL_PASS)


@dataclass(frozen=True, slots=True)
class Ranked:
    """One category and what became of the specimen against it."""

    requirement: str
    category: str
    rank: int
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Highest:
    """The answer for the categories of one body and configuration.

    Parameters
    ----------
    body, configuration
        Of all of them.
    passed
        The highest one that passes, conditional passes included; None when none does.
    undecided
        Those above it that could not be decided, best first: the specimen may meet them.
    below
        Those below it that do not pass, best first: empty unless a lower category is harder in some point or
        could not be decided.
    ranked
        All, best first.
    """

    body: str
    configuration: str
    passed: Ranked | None
    undecided: tuple[Ranked, ...]
    below: tuple[Ranked, ...]
    ranked: tuple[Ranked, ...]


def highest(graded: Iterable[tuple[Requirement, Verdict]]) -> tuple[Highest, ...]:
    """Return for every body and configuration the highest category that passes.

    Requirements without a rank take no part.

    Parameters
    ----------
    graded
        Requirements with the verdicts of one specimen against them.
    """
    groups: dict[tuple[str, str], list[Ranked]] = {}
    for requirement, verdict in graded:
        if requirement.rank is not None:
            groups.setdefault((requirement.body, requirement.configuration), []).append(
                Ranked(requirement.name, requirement.category, requirement.rank, verdict.outcome)
            )
    return tuple(
        _highest_of(body, configuration, sorted(found, key=lambda item: (-item.rank, item.requirement)))
        for (body, configuration), found in sorted(groups.items())
    )


def _highest_of(body: str, configuration: str, ranked: list[Ranked]) -> Highest:
    passed = next((item for item in ranked if item.outcome in _PASSES), None)
    above = [item for item in ranked if passed is None or item.rank > passed.rank]
    under = [item for item in ranked if passed is not None and item.rank < passed.rank]
    return Highest(
        body=body,
        configuration=configuration,
        passed=passed,
        undecided=tuple(item for item in above if item.outcome is Outcome.UNDECIDED),
        below=tuple(item for item in under if item.outcome not in _PASSES),
        ranked=tuple(ranked),
    )
