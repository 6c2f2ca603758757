"""What makes a lot doubtful by its own history: results taken out, margins of unknown shape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import LotState, Parameter, ReelAdded, VariablesDecision

__all__ = ["result_of_excluded", "sample_doubts"]


def sample_doubts(state: LotState, variables: Sequence[VariablesDecision]) -> tuple[str, ...]:
    """Return in words which conforming results were taken out, and where a plan by variables stands on less.

    Parameters
    ----------
    variables
        What the plan says, as it was decided or as it stands.
    """
    return (*_taken_out(state), *_not_known_normal(variables))


def result_of_excluded(state: LotState, reel: str) -> ReelAdded | None:
    """Return the result that counted of a reel before it was excluded; None when it had none."""
    return next((entry for entry in reversed(state.added) if entry.reel == reel), None)


def _taken_out(state: LotState) -> Iterator[str]:
    for gone in state.excluded:
        before = result_of_excluded(state, gone.reel)
        if before is not None and before.result.conforms:
            yield (
                f"a conforming result was taken out: {gone.reel}, tested {before.result.outcome}, was "
                f"excluded by {gone.by} on {gone.at[:10]}: {gone.reason}"
            )


def _not_known_normal(variables: Sequence[VariablesDecision]) -> Iterator[str]:
    for each in variables:
        if each.normality_p is None and each.accepted is not None:
            name = each.characteristic
            term = Parameter(name).term if name in set(Parameter) else name
            yield (
                f"the plan by variables holds for normal margins alone; whether those of {term} are normal "
                f"is not known from {each.count} reels"
            )
