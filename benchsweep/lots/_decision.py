from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from benchsweep.errors import LotRefused
from benchsweep.lots._names import some
from benchsweep.records import LotState, Outcome, Parameter, ReelResult, SamplingPlan, VariablesDecision

__all__ = ["LotDecision", "decision", "unjudged_by_variables", "would_be_accepted"]

_BAD = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)


class LotDecision(NamedTuple):
    """What the plan says of the sample.

    Parameters
    ----------
    accepted
        None: it cannot be decided yet, or not by this plan; `words` say why.
    ends_reduced
        Accepted, but with more nonconforming reels than Ac: the next lot is inspected under normal severity
        (MIL-STD-105E 4.7.4, "reduced to normal").
    words
        The decision and its reason in a sentence.
    """

    accepted: bool | None
    ends_reduced: bool
    words: str


def decision(state: LotState, variables: Sequence[VariablesDecision] = ()) -> LotDecision:
    """Return what the plan in force says of the sample as it is now.

    By attributes a lot is accepted with Ac nonconforming reels or fewer, not accepted with Re or more.
    Between the two, which only a plan of reduced inspection leaves room for, it is accepted and reduced
    inspection ends (MIL-STD-105E, Table II-C). Zero acceptance is the same with Ac = 0 and Re = 1.

    By variables it is accepted when each characteristic is. That a reel does not conform is told then, but
    the plan decides: it asks how much of the process lies beyond the limit, and a good one may well have a
    reel there (ISO 3951-1 counts no units). A plan by variables cannot judge a sample with a reel that
    `unjudged_by_variables` names; then nothing is decided, and a plan by attributes has to take its place.

    Parameters
    ----------
    state
        Where the lot stands.
    variables
        What was found of each characteristic of the plan; needed for a plan by variables only.

    Raises
    ------
    LotRefused
        `variables` are not those of the plan.
    """
    for reels, why in ((state.missing, "without a result"), (state.undecided, "undecided")):
        if reels:
            count = f"{len(reels)} of {len(state.sample)} reels of the sample are {why}: {some(reels)}"
            return LotDecision(None, False, count + _already(state))
    if state.plan.method == "variables":
        return _by_variables(state, variables)
    return _by_attributes(state)


def unjudged_by_variables(state: LotState) -> dict[str, str]:
    """Return reel -> why the plan by variables in force cannot judge it; empty for any other plan.

    It judges nothing but the worst margins of its characteristics, as drawn from a normal distribution. So it
    cannot judge a reel of which one has no margin or an infinite one (a broken pair, a trace that was not
    measured), nor one that does not conform for another reason: its wiring, or another parameter.
    """
    if state.plan.method != "variables":
        return {}
    names = state.plan.characteristics
    found = {reel: _unjudged(entry.result, names) for reel, entry in state.counting.items()}
    return {reel: why for reel, why in found.items() if why}


def would_be_accepted(state: LotState, plan: SamplingPlan) -> bool | None:
    """Tell whether another plan by attributes would accept what was found in the sample.

    For the switching score of ISO 2859-1: would the lot have been accepted with the next tighter AQL?

    Returns
    -------
    None when the sample is not complete, or when the other plan asks for more reels than were tested and does
    not refuse the lot even so, or when it is by variables.
    """
    if plan.method == "variables" or state.missing or state.undecided:
        return None
    count = len(state.nonconforming)
    if count >= plan.reject:
        return False
    return None if plan.sample_size > len(state.sample) else count <= plan.accept


def _by_attributes(state: LotState) -> LotDecision:
    plan, count = state.plan, len(state.nonconforming)
    found = f"{_reels(count)} of {len(state.sample)} {'does' if count == 1 else 'do'} not conform"
    which = f" ({some(state.nonconforming)})" if count else ""
    if count <= plan.accept:
        return LotDecision(True, False, f"accepted: {found}{which}, Ac is {plan.accept}")
    if count >= plan.reject:
        return LotDecision(False, False, f"not accepted: {found}{which}, Re is {plan.reject}")
    words = (
        f"accepted: {found}{which}, which is more than Ac = {plan.accept} and fewer than Re = {plan.reject}: "
        "reduced inspection ends"
    )
    return LotDecision(True, True, words)


def _by_variables(state: LotState, variables: Sequence[VariablesDecision]) -> LotDecision:
    wanted, given = state.plan.characteristics, tuple(each.characteristic for each in variables)
    if unjudged := unjudged_by_variables(state):
        reel, why = next(iter(unjudged.items()))
        more = f"; the same holds for {_reels(len(unjudged) - 1)} more" if len(unjudged) > 1 else ""
        return LotDecision(None, False, f"variables cannot judge the reel {reel}: {why}{more}")
    if sorted(given) != sorted(wanted):
        raise LotRefused(
            f"the plan judges {some(wanted)}, but {some(given) or 'nothing'} was computed",
            hint="Judge each characteristic of the plan once.",
        )
    for each in variables:
        if each.count != len(state.sample):
            raise LotRefused(
                f"{each.characteristic} was judged from {each.count} margins, not from {len(state.sample)}",
                hint="Judge each characteristic from one margin of every reel of the sample.",
            )
    undecided = [each for each in variables if each.accepted is None]
    refused = [each for each in variables if not each.accepted]
    count = len(state.nonconforming)
    told = f"; {_reels(count)} of the sample {'does' if count == 1 else 'do'} not conform" if count else ""
    told += f" ({some(state.nonconforming)}), the plan by variables decides" if count else ""
    if undecided:
        return LotDecision(None, False, "; ".join(map(_judged, undecided)) + told)
    if refused:
        return LotDecision(False, False, f"not accepted: {'; '.join(map(_judged, refused))}{told}")
    return LotDecision(True, False, f"accepted: {some([_term(name) for name in wanted])} by variables{told}")


def _judged(found: VariablesDecision) -> str:
    return f"{_term(found.characteristic)}: {found.reason}"


def _term(characteristic: str) -> str:
    """Return the field's term for a characteristic; one that is no parameter as it was given."""
    return Parameter(characteristic).term if characteristic in set(Parameter) else characteristic


def _unjudged(result: ReelResult, characteristics: Sequence[str]) -> str:
    for name in characteristics:
        of_it = [each for each in result.margins if each.parameter == name]
        if not of_it or any(each.margin is None for each in of_it):
            return f"it has no margin of {name}"
        if any(not math.isfinite(each.margin) for each in of_it if each.margin is not None):
            return f"its margin of {name} is infinite"
    if result.conforms is False:
        bad = {each.parameter for each in result.margins if each.outcome in _BAD}
        if others := sorted(bad - set(characteristics)):
            return f"it does not conform in {some(others)}, which the plan does not judge"
        if not bad:
            return "it does not conform for a reason that is no margin, such as its wiring"
    return ""


def _already(state: LotState) -> str:
    """Return what is certain although results are missing."""
    plan, count = state.plan, len(state.nonconforming)
    if plan.method == "variables" or count < plan.reject:
        return ""
    return f"; {_reels(count)} already {'does' if count == 1 else 'do'} not conform, Re is {plan.reject}"


def _reels(count: int) -> str:
    return "1 reel" if count == 1 else f"{count} reels"
