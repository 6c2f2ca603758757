"""What a plan by variables says of a sample."""

from __future__ import annotations

from benchsweep.lots import unjudged_by_variables
from benchsweep.records import LotState, Parameter, VariablesDecision
from benchsweep.statistics.process import normality
from benchsweep.statistics.sampling import judge_variables

__all__ = ["margins_of", "variables_of"]


def variables_of(state: LotState) -> tuple[VariablesDecision, ...]:
    """Return what the plan in force says of each of its characteristics.

    Empty for any other plan, as long as a reel of the sample is missing or undecided, and where variables
    cannot judge one of them (`lots.unjudged_by_variables`).
    """
    plan = state.plan
    if plan.method != "variables" or state.missing or state.undecided or unjudged_by_variables(state):
        return ()
    found = []
    for name in plan.characteristics:
        margins = margins_of(state, Parameter(name))
        found.append(judge_variables(plan, name, margins, normality(margins)))
    return tuple(found)


def margins_of(state: LotState, parameter: Parameter) -> list[float]:
    """Return the worst margin of both ends of each reel of the sample, in the order of the sample."""
    margins = []
    for reel in state.sample:
        worst = state.counting[reel].result.margin_of(parameter)
        assert worst is not None and worst.margin is not None  # noqa: S101, PT018 - judged reels have one
        margins.append(worst.margin)
    return margins
