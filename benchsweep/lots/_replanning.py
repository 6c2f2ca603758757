from __future__ import annotations

from collections.abc import Sequence

from benchsweep.errors import LotRefused
from benchsweep.lots._names import refuse_empty, some
from benchsweep.records import LotReplanned, LotState, SamplingPlan, Severity, VariablesDecision

__all__ = ["check_replanned", "refuse_plan"]

_STRICTNESS = {Severity.REDUCED: 0, Severity.NORMAL: 1, Severity.TIGHTENED: 2}


def refuse_plan(plan: SamplingPlan, count: int) -> None:
    """Refuse a plan that is not for a lot of so many reels, or none at all.

    Raises
    ------
    LotRefused
    """
    if plan.lot_size != count:
        raise LotRefused(
            f"the plan is for a lot of {plan.lot_size} reels, the lot has {count}",
            hint="Look the plan up for the size of the lot.",
        )
    if not 1 <= plan.sample_size <= count:
        raise LotRefused(
            f"the plan takes a sample of {plan.sample_size} from {count} reels",
            hint="Take a plan of the tables.",
        )
    if not 0 <= plan.accept < plan.reject:
        raise LotRefused(
            f"the plan accepts with {plan.accept} and refuses with {plan.reject}",
            hint="Take a plan of the tables.",
        )
    if plan.method == "variables" and not plan.characteristics:
        raise LotRefused(
            "the plan by variables judges no characteristic", hint="Name at least one parameter."
        )


def check_replanned(
    state: LotState, event: LotReplanned, variables: Sequence[VariablesDecision] = ()
) -> None:
    """Refuse a plan that may not take the place of the one in force.

    The order of the reels stays, so that the new sample holds the old one. As long as no reel has a result
    any plan may take the place of another. Afterwards a plan could be chosen for the decision that it brings:
    then the sample may grow only, the AQL and the severity may not become easier, and nothing can be
    replanned once the plan in force does not accept the lot, whatever the other reels say.

    Parameters
    ----------
    variables
        What the plan by variables in force says; a lot that it refuses is not replanned. Empty for others.

    Raises
    ------
    LotRefused
    """
    if state.closed is not None:
        raise LotRefused(
            f"the lot {state.opened.lot} was closed on {state.closed.at} by {state.closed.by}",
            hint="Its plan stays. Open a resubmission if the lot was sorted or repaired.",
        )
    refuse_empty("who plans anew", event.by, "Name who does it.")
    refuse_empty("the reason for another plan", event.reason, "Say why the plan in force will not do.")
    refuse_plan(event.plan, len(state.order))
    if event.plan == state.plan:
        raise LotRefused("this is the plan in force", hint="Name what is to be another one.")
    left = len(state.order) - len(state.excluded)
    if event.plan.sample_size > left:
        raise LotRefused(
            f"the plan takes a sample of {event.plan.sample_size}, but only {left} reels are not excluded",
            hint="Take a plan with a smaller sample, or open a new lot without the excluded reels.",
        )
    if state.added:
        _refuse_easier(state, event.plan)
        _refuse_decided(state, variables)


def _refuse_easier(state: LotState, plan: SamplingPlan) -> None:
    old, hint = state.plan, "Results are known already; a plan that is easier on them has no meaning."
    if plan.sample_size < old.sample_size:
        raise LotRefused(
            f"the sample would shrink from {old.sample_size} reels to {plan.sample_size} with results known",
            hint="Take a plan with the same sample or a larger one.",
        )
    if old.aql_percent is not None and plan.aql_percent is not None and plan.aql_percent > old.aql_percent:
        raise LotRefused(f"the AQL would rise from {old.aql_percent:g} to {plan.aql_percent:g} %", hint=hint)
    if old.severity is not None and plan.severity is not None:
        if _STRICTNESS[plan.severity] < _STRICTNESS[old.severity]:
            raise LotRefused(f"{plan.severity} is easier than {old.severity} inspection", hint=hint)
    limits = (old.limiting_percent, plan.limiting_percent)
    if limits[0] is not None and limits[1] is not None and limits[1] > limits[0]:
        raise LotRefused(f"the limiting quality would rise from {limits[0]:g} to {limits[1]:g} %", hint=hint)


def _refuse_decided(state: LotState, variables: Sequence[VariablesDecision]) -> None:
    hint = "Close it as it is; a sorted or repaired lot is a resubmission."
    if state.plan.method == "variables":
        refused = [each.characteristic for each in variables if each.accepted is False]
        if refused and not (state.missing or state.undecided):
            raise LotRefused(f"the plan in force does not accept the lot, for {some(refused)}", hint=hint)
    elif len(state.nonconforming) >= state.plan.reject:
        raise LotRefused(
            f"the plan in force does not accept the lot: {some(state.nonconforming)} do not conform, "
            f"Re is {state.plan.reject}",
            hint=hint,
        )
