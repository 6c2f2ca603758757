"""Another plan: the order stays, the sample may grow, no plan is chosen for its decision."""

from __future__ import annotations

import pytest

from benchsweep.errors import LotRefused
from benchsweep.lots import check_replanned, decision, state_of
from benchsweep.records import Outcome, SamplingPlan, Severity
from tests.lots.entries import (
    added,
    attributes,
    closed,
    excluded,
    judged,
    lot,
    measured,
    opened,
    replanned,
    variables,
)


def test_from_variables_to_attributes_the_sample_grows_in_the_same_order_and_results_stay() -> None:
    first = measured(lot(variables(4)))
    assert decision(first, [judged(None)]).accepted is None
    events = [opened(variables(4)), *first.added, replanned(attributes(7))]
    state = state_of(events)
    assert state.plan == attributes(7)
    assert state.order == first.order
    assert state.sample == first.order[:7]
    assert state.missing == first.order[4:7]
    assert tuple(state.counting) == first.sample
    more = [added(reel) for reel in state.missing]
    assert state_of([*events, *more, closed(True)]).closed == closed(True)


def test_excluded_reels_stay_out_of_the_larger_sample() -> None:
    order = lot().order
    state = lot(attributes(3), excluded(order[1]), replanned(attributes(6)))
    assert state.sample == (order[0], *order[2:7])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (attributes(5), attributes(5), "this is the plan in force"),
        (attributes(5), attributes(3), "the sample would shrink from 5 reels to 3"),
        (attributes(5), attributes(8, aql_percent=4.0), "the AQL would rise from 2.5 to 4 %"),
        (attributes(5), attributes(5, severity=Severity.REDUCED), "reduced is easier than normal"),
        (
            attributes(5, severity=Severity.TIGHTENED),
            attributes(8),
            "normal is easier than tightened inspection",
        ),
        (
            attributes(5, 0, method="zero-acceptance", aql_percent=None, limiting_percent=10.0),
            attributes(5, 0, method="zero-acceptance", aql_percent=None, limiting_percent=20.0),
            "the limiting quality would rise from 10 to 20 %",
        ),
    ],
)
def test_no_easier_plan_once_a_result_is_known(old: SamplingPlan, new: SamplingPlan, words: str) -> None:
    state = lot(old)
    if old != new:
        check_replanned(state, replanned(new))  # nothing is known yet
    known = lot(old, added(state.sample[0]))
    with pytest.raises(LotRefused, match=words) as caught:
        check_replanned(known, replanned(new))
    assert caught.value.hint


def test_a_lot_that_the_plan_refuses_is_not_replanned() -> None:
    state = lot(attributes(5, 1))
    bad = [added(reel, Outcome.FAIL) for reel in state.sample[:2]]
    check_replanned(lot(attributes(5, 1), bad[0]), replanned(attributes(8, 2)))
    with pytest.raises(LotRefused, match="the plan in force does not accept the lot"):
        check_replanned(lot(attributes(5, 1), *bad), replanned(attributes(8, 2)))
    by_variables = measured(lot(variables(4)))
    check_replanned(by_variables, replanned(attributes(8)), [judged(None)])
    with pytest.raises(LotRefused, match="does not accept the lot, for next"):
        check_replanned(by_variables, replanned(attributes(8)), [judged(False)])


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (replanned(attributes(8), " "), "the reason for another plan is missing"),
        (replanned(attributes(8, lot_size=90)), "for a lot of 90 reels, the lot has 12"),
        (replanned(attributes(12)), "a sample of 12, but only 11 reels are not excluded"),
    ],
)
def test_other_plans_that_cannot_be(event: object, words: str) -> None:
    order = lot().order
    with pytest.raises(LotRefused, match=words):
        check_replanned(lot(None, excluded(order[0])), event)
