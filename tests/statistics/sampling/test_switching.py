"""Switching rules of ISO 2859-1 and MIL-STD-105E over lots whose outcome is given."""

from __future__ import annotations

import pytest

from benchsweep.errors import UsageError
from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    START,
    Inspection,
    after_lot,
    attributes_plan,
    directed,
    reduced_agreed,
    resumed,
    variables_plan,
    zero_acceptance_plan,
)

ZERO = {"lot_size": 500, "aql_percent": 0.25}  # normal H 50, 0/1
TWO = {"lot_size": 500, "aql_percent": 1.5}  # normal H 50, 2/3; reduced 20, 1/3


def plan_for(state: Inspection, kind: dict[str, float]) -> SamplingPlan:
    return attributes_plan(int(kind["lot_size"]), aql_percent=kind["aql_percent"], severity=state.severity)


def run(
    outcomes: str, state: Inspection = START, *, kind: dict[str, float] = ZERO, tighter: bool | None = None
) -> Inspection:
    """Let lots pass: ``+`` accepted, ``-`` not; ``~`` accepted between Ac and Re."""
    for outcome in outcomes:
        plan = plan_for(state, kind)
        found = {"+": 0, "-": plan.reject, "~": plan.accept + 1}[outcome]
        state = after_lot(
            state,
            plan=plan,
            nonconforming=found,
            accepted=outcome != "-",
            ends_reduced=outcome == "~",
            tighter_accepted=tighter,
        )
    return state


@pytest.mark.parametrize("outcomes", ["--", "-+-", "-++-", "-+++-", "+++-+++-", "-++++-+++-"])
def test_two_of_five_lots_tighten(outcomes: str) -> None:
    """2 of 5 or fewer consecutive lots not accepted (ISO 2859-1, MIL-STD-105E)."""
    assert run(outcomes[:-1]).severity is Severity.NORMAL
    assert run(outcomes).severity is Severity.TIGHTENED


@pytest.mark.parametrize("outcomes", ["", "-", "-++++-", "+++++", "-++++-++++-"])
def test_two_in_more_than_five_lots_do_not(outcomes: str) -> None:
    assert run(outcomes).severity is Severity.NORMAL


def test_lots_before_a_switch_are_not_counted_again() -> None:
    """On return to normal inspection the five lots begin anew."""
    back = run("--" + "+++++")
    assert back.severity is Severity.NORMAL
    assert run("-", back).severity is Severity.NORMAL
    assert run("-+-", back).severity is Severity.TIGHTENED


def test_five_accepted_in_a_row_return_to_normal() -> None:
    tightened = run("--")
    assert run("++++", tightened).severity is Severity.TIGHTENED
    assert run("+++++", tightened).severity is Severity.NORMAL
    assert run("++++-++++", tightened).severity is Severity.TIGHTENED
    assert run("++++-+++++", tightened).severity is Severity.NORMAL


def test_five_not_accepted_in_all_under_tightened_discontinue() -> None:
    """ISO 2859-1: cumulative, not in a row."""
    tightened = run("--")
    assert not run("----", tightened).discontinued
    assert run("-----", tightened).discontinued
    assert run("-+-++-+++-++++-", tightened).discontinued
    assert not run("-+-++-+++-++++" + "+" + "-", tightened).discontinued  # returned to normal before


def test_discontinued_until_a_person_resumes() -> None:
    stopped = run("--" + "-----")
    assert stopped.words == "inspection is discontinued: 5 lots were not accepted under tightened inspection"
    assert run("+++++++", stopped) is stopped
    with pytest.raises(UsageError, match="discontinued"):
        directed(stopped, Severity.TIGHTENED)
    again = resumed(stopped)
    assert (again.severity, again.discontinued, again.not_accepted) == (Severity.TIGHTENED, False, 0)
    assert run("+++++", again).severity is Severity.NORMAL
    assert not run("----", again).discontinued
    assert run("-----", again).discontinued
    with pytest.raises(UsageError, match="not discontinued"):
        resumed(START)


def test_score_of_small_acceptance_numbers() -> None:
    """Switching score, from memory: Ac 0 or 1 accepted adds 2, else it begins again; reduced from 30 on."""
    state = run("+" * 14)
    assert (state.score, state.reduced_possible) == (28, False)
    state = run("+", state)
    assert (state.score, state.reduced_possible) == (30, True)
    assert "reduced inspection is possible" in state.words
    assert run("-", state).score == 0
    assert state.severity is Severity.NORMAL  # never by itself


def test_score_of_larger_acceptance_numbers() -> None:
    """From memory: Ac of 2 or more adds 3 where the next tighter AQL would have accepted, else anew."""
    assert run("+" * 9, kind=TWO, tighter=True).score == 27
    assert run("+" * 10, kind=TWO, tighter=True).reduced_possible
    for told in (False, None):
        state = run("+", run("+" * 9, kind=TWO, tighter=True), kind=TWO, tighter=told)
        assert (state.score, state.severity) == (0, Severity.NORMAL)


def test_score_begins_again_with_normal_inspection() -> None:
    state = run("--" + "+++++", run("+" * 10))
    assert (state.severity, state.score) == (Severity.NORMAL, 0)


def test_reduced_is_agreed_to_by_a_person_and_ends() -> None:
    with pytest.raises(UsageError, match="switching score 28"):
        reduced_agreed(run("+" * 14))
    with pytest.raises(UsageError, match="tightened"):
        reduced_agreed(run("--"))
    reduced = reduced_agreed(run("+" * 15))
    assert (reduced.severity, reduced.score) == (Severity.REDUCED, 0)
    assert run("+" * 40, reduced) == reduced
    ended = run("~", reduced, kind=TWO)  # MIL-STD-105E: between Ac and Re
    assert (ended.severity, ended.recent) == (Severity.NORMAL, ())
    assert "more nonconforming units than Ac" in ended.words
    ended = run("-", reduced)
    assert ended.severity is Severity.NORMAL
    # That lot was no lot under normal inspection: one more not accepted does not tighten.
    assert run("-", ended).severity is Severity.NORMAL
    assert run("--", ended).severity is Severity.TIGHTENED


def test_a_person_directs_more_severe_inspection() -> None:
    reduced = reduced_agreed(run("+" * 15))
    assert directed(reduced, Severity.NORMAL).severity is Severity.NORMAL
    tightened = directed(START, Severity.TIGHTENED)
    assert run("+++++", tightened).severity is Severity.NORMAL
    assert directed(tightened, Severity.TIGHTENED) is tightened
    with pytest.raises(UsageError, match="only the switching rules"):
        directed(tightened, Severity.NORMAL)
    with pytest.raises(UsageError, match="only the switching rules"):
        directed(START, Severity.REDUCED)


def test_lots_opened_before_the_last_switch() -> None:
    """A plan less severe that did not accept counts; whatever else was inspected otherwise says nothing."""
    tightened, normal_plan = run("--"), plan_for(START, ZERO)

    def with_normal(accepted: bool) -> Inspection:
        return after_lot(tightened, plan=normal_plan, nonconforming=0 if accepted else 1, accepted=accepted)

    assert with_normal(True) is tightened
    assert with_normal(False).not_accepted == 1
    harder = plan_for(tightened, ZERO)
    for accepted in (True, False):
        assert after_lot(START, plan=harder, nonconforming=int(not accepted), accepted=accepted) is START


def test_plans_by_variables_switch_and_earn_no_score() -> None:
    state = START
    for _ in range(20):
        plan = variables_plan(500, aql_percent=1.0, characteristics=["next"])
        state = after_lot(state, plan=plan, nonconforming=0, accepted=True)
    assert (state.severity, state.score) == (Severity.NORMAL, 0)
    for _ in range(2):
        state = after_lot(state, plan=plan, nonconforming=0, accepted=False)
    assert state.severity is Severity.TIGHTENED


def test_zero_acceptance_has_no_switching_rules() -> None:
    plan = zero_acceptance_plan(90, limiting_percent=5.0)
    with pytest.raises(UsageError, match="no switching rules"):
        after_lot(START, plan=plan, nonconforming=0, accepted=True)


def test_words() -> None:
    # ISO 2859-1: reduced inspection from a switching score of 30 on.
    told = "normal inspection: inspection begins with normal; switching score 0, reduced inspection needs 30"
    assert START.words == told
    assert run("-+-").words.startswith(
        "tightened inspection: 2 of the last 3 lots were not accepted; 0 of the 5 lots accepted "
        "in a row that lead back to normal"
    )
    assert run("--").words.startswith("tightened inspection: 2 lots one after the other were not accepted")
    assert (
        "3 of the 5 lots accepted in a row that lead back to normal, 1 of the 5 not accepted"
        in run("--" + "-+++").words
    )
