"""Accepted or not: by attributes, zero acceptance, reduced inspection, variables."""

from __future__ import annotations

import math

import pytest

from benchsweep.errors import LotRefused
from benchsweep.lots import check_closed, decision, unjudged_by_variables, would_be_accepted
from benchsweep.records import LotState, Outcome, Parameter, ReelMargin, SamplingPlan, Severity
from tests.lots.entries import added, attributes, closed, judged, lot, margin, measured, result, variables

FAIL, PASS = Outcome.FAIL, Outcome.PASS


def with_failing(plan: SamplingPlan, count: int, outcome: Outcome = FAIL) -> LotState:
    state = lot(plan)
    return measured(state, dict.fromkeys(state.sample[:count], outcome))


@pytest.mark.parametrize("outcome", [FAIL, Outcome.CONDITIONAL_FAIL])
@pytest.mark.parametrize(("count", "accepted"), [(0, True), (1, True), (2, True), (3, False), (5, False)])
def test_accepted_with_ac_nonconforming_reels_and_not_with_re(
    count: int, accepted: bool, outcome: Outcome
) -> None:
    state = with_failing(attributes(5, 2), count, outcome)
    found = decision(state)
    assert (found.accepted, found.ends_reduced) == (accepted, False)
    assert f"{count} reel" in found.words
    assert all(reel in found.words for reel in state.nonconforming)
    check_closed(state, closed(accepted, state.nonconforming))


def test_conditional_pass_conforms() -> None:
    state = with_failing(attributes(5, 0), 5, Outcome.CONDITIONAL_PASS)
    assert state.nonconforming == state.undecided == ()
    assert decision(state).accepted is True


@pytest.mark.parametrize(("count", "accepted"), [(0, True), (1, False)])
def test_zero_acceptance(count: int, accepted: bool) -> None:
    plan = attributes(
        6, 0, 1, method="zero-acceptance", severity=None, aql_percent=None, level="", limiting_percent=20.0
    )
    assert decision(with_failing(plan, count)).accepted is accepted


@pytest.mark.parametrize(
    ("count", "accepted", "ends"), [(0, True, False), (1, True, False), (2, True, True), (3, False, False)]
)
def test_between_ac_and_re_of_reduced_inspection_a_lot_is_accepted_and_reduced_ends(
    count: int, accepted: bool, ends: bool
) -> None:
    # MIL-STD-105E, Table II-C: Ac 1 with Re 3 is one of its pairs; the note below the table says what is done
    # between them. From memory.
    state = with_failing(attributes(5, 1, 3, severity=Severity.REDUCED), count)
    found = decision(state)
    assert (found.accepted, found.ends_reduced) == (accepted, ends)
    assert ("reduced inspection ends" in found.words) is ends
    check_closed(state, closed(accepted, state.nonconforming, ends_reduced=ends))


def test_nothing_is_decided_before_the_sample_is_complete_but_what_is_certain_is_told() -> None:
    state = lot(attributes(5, 0))
    assert decision(state).accepted is None
    assert "5 of 5 reels of the sample are without a result" in decision(state).words
    one = lot(attributes(5, 0), added(state.sample[2], FAIL))
    assert decision(one).accepted is None
    assert "1 reel already does not conform, Re is 1" in decision(one).words
    undecided = with_failing(attributes(5, 0), 2, Outcome.UNDECIDED)
    assert decision(undecided).accepted is None
    assert "2 of 5 reels of the sample are undecided" in decision(undecided).words


@pytest.mark.parametrize(
    ("answers", "accepted"),
    [
        ((True, True), True),
        ((True, False), False),
        ((False, False), False),
        ((True, None), None),
        ((False, None), None),
    ],
)
def test_by_variables_every_characteristic_must_be_accepted(
    answers: tuple[bool | None, bool | None], accepted: bool | None
) -> None:
    both = (margin(), margin(parameter=Parameter.RETURN_LOSS))
    plan = variables(4, ("next", "return_loss"))
    state = lot(plan)
    state = measured(state, dict.fromkeys(state.sample, result(PASS, *both)))
    said = [judged(answer, name) for answer, name in zip(answers, plan.characteristics, strict=True)]
    found = decision(state, said)
    assert (found.accepted, found.ends_reduced) == (accepted, False)
    event = closed(bool(accepted), variables=tuple(said))
    if accepted is None:
        with pytest.raises(LotRefused, match="the plan decides nothing") as caught:
            check_closed(state, event)
        assert "by attributes" in caught.value.hint
    else:
        check_closed(state, event)


def test_by_variables_a_reel_that_does_not_conform_is_told_but_the_plan_decides() -> None:
    state = lot(variables())
    bad = state.sample[1]
    low = result(FAIL, margin(-0.4, outcome=FAIL))
    state = measured(state, {bad: low})
    assert unjudged_by_variables(state) == {}
    found = decision(state, [judged(True)])
    assert found.accepted is True
    assert f"1 reel of the sample does not conform ({bad}), the plan by variables decides" in found.words
    check_closed(state, closed(True, (bad,), variables=(judged(True),)))


@pytest.mark.parametrize(
    ("outcome", "margins", "why"),
    [
        (FAIL, (margin(5.0),), "for a reason that is no margin, such as its wiring"),
        (FAIL, (margin(5.0), margin(-1.0, parameter=Parameter.RETURN_LOSS, outcome=FAIL)), "in return_loss"),
        (FAIL, (margin(None, outcome=FAIL),), "it has no margin of next"),
        (PASS, (margin(5.0, parameter=Parameter.FEXT),), "it has no margin of next"),
        (FAIL, (margin(-math.inf, outcome=FAIL),), "its margin of next is infinite"),
        (PASS, (margin(math.inf),), "its margin of next is infinite"),
    ],
)
def test_what_variables_cannot_judge(outcome: Outcome, margins: tuple[ReelMargin, ...], why: str) -> None:
    state = lot(variables())
    bad = state.sample[0]
    state = measured(state, {bad: result(outcome, *margins)})
    assert list(unjudged_by_variables(state)) == [bad]
    assert why in unjudged_by_variables(state)[bad]
    found = decision(state, [judged(True)])
    assert found.accepted is None
    assert f"variables cannot judge the reel {bad}" in found.words
    with pytest.raises(LotRefused, match=f"variables cannot judge the reel {bad}") as caught:
        check_closed(state)
    assert "by attributes" in caught.value.hint


def test_the_same_reels_are_judged_by_attributes() -> None:
    state = lot(attributes(4))
    state = measured(state, {state.sample[0]: result(FAIL, margin(None, outcome=FAIL))})
    assert unjudged_by_variables(state) == {}
    assert decision(state).accepted is True


@pytest.mark.parametrize(
    "said", [(), (judged(True, "fext"),), (judged(True), judged(True)), (judged(True, count=3),)]
)
def test_what_was_computed_must_be_of_the_plan_and_of_the_sample(said: tuple) -> None:
    state = measured(lot(variables()))
    with pytest.raises(LotRefused) as caught:
        decision(state, said)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("count", "other", "accepted"),
    [
        (0, attributes(5, 1), True),
        (2, attributes(5, 1), False),
        (1, attributes(8, 1), None),
        (2, attributes(8, 1), False),
        (0, variables(), None),
    ],
)
def test_what_a_tighter_plan_would_have_said(count: int, other: SamplingPlan, accepted: bool | None) -> None:
    assert would_be_accepted(with_failing(attributes(5, 2), count), other) is accepted
    assert would_be_accepted(lot(), other) is None
