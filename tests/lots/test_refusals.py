"""What is refused in the life of a lot: each with words that name what is wrong, and a hint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchsweep.errors import LotRefused
from benchsweep.lots import (
    check_added,
    check_closed,
    check_event,
    check_excluded,
    check_open,
    check_reel,
    state_of,
)
from benchsweep.records import LotState, Outcome
from tests.lots.entries import (
    REELS,
    added,
    attributes,
    closed,
    excluded,
    lot,
    measured,
    opened,
    replanned,
    variables,
)

ORDER = lot().order
FAIL, PASS = Outcome.FAIL, Outcome.PASS


def refused(call: Callable[[], object], words: str, hint: str) -> LotRefused:
    with pytest.raises(LotRefused) as caught:
        call()
    assert words in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.exit_code == 2
    return caught.value


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lot": "  "}, "the name of the lot is missing"),
        ({"supplier": ""}, "the name of the supplier is missing"),
        ({"product": ""}, "the name of the product is missing"),
        ({"by": " "}, "who opens the lot is missing"),
        ({"requirement": ""}, "the requirement is missing"),
        ({"seed": ""}, "the seed of the random order is missing"),
        ({"lot": "a\nb"}, "a character that does not print"),
        ({"lot": "a\udc80"}, "a character that does not print"),
        ({"product": "x "}, "begins or ends with a blank"),
        ({"reels": (*REELS[:-1], "R011 ")}, "begins or ends with a blank"),
        ({"reels": (*REELS[:-1], "")}, "the name of a reel is missing"),
        ({"reels": (*REELS[:-1], "R004")}, "the reel R004 is named twice"),
        ({"reels": (*REELS[:-2], "Spule gr\u00fcn", "Spule gru\u0308n")}, "is named twice"),
        ({"reels": ("R001",)}, "a lot of 1 reel: nothing can be drawn"),
        ({"reels": ()}, "a lot of 0 reels"),
        ({"reels": REELS[:-1]}, "the plan is for a lot of 12 reels, the lot has 11"),
        ({"plan": attributes(13)}, "a sample of 13 from 12 reels"),
        ({"plan": attributes(0)}, "a sample of 0 from 12 reels"),
        ({"plan": attributes(5, 1, 1)}, "accepts with 1 and refuses with 1"),
        ({"plan": attributes(5, -1, 1)}, "accepts with -1"),
        ({"plan": variables(characteristics=())}, "judges no characteristic"),
        ({"resubmission_of": "delivery 7 / Nov.", "reason": "sorted"}, "a resubmission of itself"),
        ({"resubmission_of": "delivery 6"}, "the reason of the resubmission is missing"),
    ],
)
def test_a_lot_that_cannot_be_opened(changes: dict, words: str) -> None:
    check_open(opened())
    refused(lambda: check_open(opened(**changes)), words, "")
    with pytest.raises(LotRefused, match="entry 1 of the history"):
        state_of([opened(**changes)])


def test_a_size_that_is_not_the_number_of_reels() -> None:
    check_open(opened(), size=12)
    refused(lambda: check_open(opened(), size=90), "size of the lot is 90, but 12 reels are named", "Count")


def test_names_that_only_look_alike_for_a_machine_are_different_reels() -> None:
    check_open(opened(reels=(*REELS[:-1], "r001")))


def test_a_history_begins_with_the_opening_and_has_one() -> None:
    refused(lambda: state_of([]), "there is no such lot", "Open")
    refused(lambda: state_of([excluded(ORDER[0])]), "entry 1", "restore")
    refused(lambda: state_of([opened(), opened()]), "entry 2 of the history cannot stand there", "restore")
    refused(lambda: check_event(lot(), opened()), "was opened on 2026-11-02", "another name")


@pytest.mark.parametrize(
    ("reel", "words", "hint"),
    [
        ("R099", "has no reel R099", f"without a result: {', '.join(ORDER[2:6])}"),
        (ORDER[9], f"the reel {ORDER[9]} was not drawn", "Reels that somebody picked"),
        (ORDER[0], f"the reel {ORDER[0]} was excluded on 2026-11-02", "took its place"),
        (ORDER[1], f"the reel {ORDER[1]} has a result already, of 2026-11-02T08:15:00+00:00: fail", "again"),
    ],
)
def test_a_reel_that_may_not_be_measured_now(reel: str, words: str, hint: str) -> None:
    state = lot(None, excluded(ORDER[0]), added(ORDER[1], FAIL))
    refused(lambda: check_reel(state, reel, product="tollmoor-6"), words, hint)
    refused(lambda: check_added(state, added(reel, record="a" * 64)), words, hint)
    check_reel(state, ORDER[2], product="tollmoor-6", lot="delivery 7 / Nov.")
    check_reel(state, ORDER[5], product="tollmoor-6")  # it came into the sample for the excluded one


def test_a_record_of_another_product_or_lot() -> None:
    state = lot()
    event = added(ORDER[0])
    check_added(state, event, product="tollmoor-6")
    check_added(state, event, product="tollmoor-6", lot="delivery 7 / Nov.")
    refused(
        lambda: check_added(state, event, product="tollmoor-5e"), "of the product tollmoor-5e", "--product"
    )
    refused(lambda: check_added(state, event, product=""), "of no product", "--product")
    refused(
        lambda: check_added(state, event, product="tollmoor-6", lot="delivery 6"),
        "of the lot delivery 6, not of delivery 7 / Nov.",
        "--lot",
    )


def test_a_retest_needs_a_reason_and_something_to_replace() -> None:
    first = added(ORDER[0], FAIL)
    state = lot(None, first)
    again = added(ORDER[0], PASS, retest_reason="an open contact in the fixture")
    check_event(state, again)
    refused(lambda: check_event(state, replace(again, retest_reason=" ")), "has a result already", "why")
    refused(
        lambda: check_event(state, added(ORDER[1], retest_reason="just so")),
        f"the reel {ORDER[1]} has no result that could be replaced",
        "without a reason",
    )
    refused(
        lambda: check_event(state, replace(first, retest_reason="to be sure")),
        "is in the lot already, as the result of",
        "another measurement",
    )
    # A record that was corrected since has another result.
    check_event(state, replace(again, record=first.record, retest_reason="its length was corrected"))
    refused(
        lambda: check_event(state, replace(added(ORDER[1]), record=first.record)),
        f"as the result of {ORDER[0]}",
        "another measurement",
    )
    refused(lambda: check_event(state, replace(again, by="")), "who adds the record is missing", "Name")
    after = lot(None, first, again)
    assert after.nonconforming == ()
    assert after.counting[ORDER[0]] is again
    assert after.added == (first, again)


def test_what_may_not_be_excluded() -> None:
    state = lot(None, excluded(ORDER[0]), added(ORDER[1], FAIL), added(ORDER[2], Outcome.UNDECIDED))
    for reel, words in (
        (ORDER[0], "was excluded on"),
        (ORDER[8], "was not drawn"),
        ("R099", "has no reel"),
        (ORDER[1], "does not conform: excluded, it would not count any more"),
    ):
        refused(lambda reel=reel: check_excluded(state, excluded(reel)), words, "")
    check_excluded(state, excluded(ORDER[2]))  # an undecided one may be
    refused(lambda: check_excluded(state, excluded(ORDER[3], " ")), "the reason for which", "Say why")
    refused(
        lambda: check_excluded(state, replace(excluded(ORDER[3]), by="")),
        "who excludes the reel is",
        "",
    )


def test_no_more_can_be_excluded_than_there_are_spare_reels() -> None:
    events = [excluded(reel) for reel in ORDER[:2]]
    state = lot(attributes(10), *events)
    assert state.sample == ORDER[2:]
    words = f"no reel is left that could take the place of {ORDER[2]}: the sample needs 10 of 12 reels, 2 are"
    refused(lambda: check_excluded(state, excluded(ORDER[2])), words, "resubmission")
    refused(
        lambda: check_excluded(lot(attributes(12)), excluded(ORDER[0])), "no reel is left", "resubmission"
    )


def test_a_lot_with_reels_missing_or_undecided_is_not_closed() -> None:
    state = lot(None, added(ORDER[0]))
    refused(lambda: check_closed(state), f"4 of 5 reels have no result yet: {', '.join(ORDER[1:5])}", "Test")
    refused(lambda: check_closed(state, closed(True)), "4 of 5 reels have no result yet", "Test")
    open_one = measured(lot(), {ORDER[2]: Outcome.UNDECIDED})
    refused(
        lambda: check_closed(open_one, closed(True)),
        f"1 of 5 reels has a result that is undecided: {ORDER[2]}",
        "",
    )


def test_a_lot_is_closed_as_the_plan_says_and_not_else() -> None:
    state = measured(lot(), {ORDER[0]: FAIL, ORDER[3]: Outcome.CONDITIONAL_FAIL})
    bad = (ORDER[0], ORDER[3])
    check_closed(state)
    check_closed(state, closed(False, bad))
    for wrong in (
        closed(True, bad),
        closed(False, bad[:1]),
        closed(False, bad[::-1]),
        closed(False, bad, ends_reduced=True),
    ):
        refused(
            lambda wrong=wrong: check_closed(state, wrong),
            "which says: not accepted",
            "",
        )
    refused(lambda: check_closed(state, closed(False, bad, by="")), "who closes the lot is missing", "Name")


def test_nothing_happens_to_a_closed_lot() -> None:
    state = measured(lot())
    done = replace(state, closed=closed(True))
    calls: list[Callable[[LotState], None]] = [
        lambda lot: check_event(lot, added(ORDER[0], retest_reason="doubt")),
        lambda lot: check_reel(lot, ORDER[0], product="tollmoor-6"),
        lambda lot: check_event(lot, excluded(ORDER[0])),
        lambda lot: check_event(lot, replanned(attributes(8))),
        lambda lot: check_event(lot, closed(True)),
        check_closed,
    ]
    for call in calls:
        refused(lambda call=call: call(done), "was closed on 2026-11-02T08:15:00+00:00 by M.", "resubmi")
