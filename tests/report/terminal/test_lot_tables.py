"""Pick list, standing of a lot, list of lots: what a person needs stands there, whatever the names hold."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from hashlib import sha256
from statistics import fmean, stdev
from typing import Any

import pytest

from benchsweep.lots import decision, random_order, state_of
from benchsweep.records import (
    LotClosed,
    LotOpened,
    LotState,
    Outcome,
    Parameter,
    ReelAdded,
    ReelExcluded,
    ReelMargin,
    ReelResult,
    SamplingPlan,
    Severity,
)
from benchsweep.report import lot_list, lot_proof_table, lot_table, pick_list
from benchsweep.statistics.process import normality
from benchsweep.statistics.sampling import judge_variables, variables_plan

REELS = tuple(f"R{number:03d}" for number in range(1, 13))
PLAN = SamplingPlan("attributes", 12, 5, 0, 1, 1.5, "II", Severity.NORMAL, "B", "D", 8)


def opened(**changes: object) -> LotOpened:
    first = LotOpened(
        *("2026-03-01T08:00:00Z", "R. Lind", "26-118", "Tollmoor Wire", "C6-23", REELS, "tia-6-cable"),
        *("ed", "0" * 64, "simple", "", PLAN, "the seed"),
        severity_because="normal by the switching rules, after no lot before it",
    )
    return replace(first, **changes)  # type: ignore[arg-type]


def result(margin: float, outcome: Outcome = Outcome.PASS, **more: object) -> ReelResult:
    rows = (
        ReelMargin(Parameter.NEXT, "A", ("12", "36"), margin, 62.5e6, 44.0, 44.0 - margin, 0.3, outcome),
        ReelMargin(Parameter.RETURN_LOSS, "B", ("78",), margin + 3.0, 10e6, 25.0, 20.0, 0.3, Outcome.PASS),
        ReelMargin(Parameter.DELAY, None, ("78",), 0.01, 10e6, 500.0, 545.4, None, Outcome.PASS),
    )
    return ReelResult(100.0, 21.0, outcome, rows, measured_at="2026-03-02T09:00:00Z", **more)  # type: ignore[arg-type]


def added(reel: str, found: ReelResult, at: str = "2026-03-02T10:00:00Z", why: str = "") -> ReelAdded:
    record = sha256(f"{reel} {at}".encode()).hexdigest()
    return ReelAdded(at, "M. Olsen", "bench-1", reel, record, f"{at}-{reel}.h5", found, why)


@pytest.fixture
def order() -> tuple[str, ...]:
    return random_order(REELS, "the seed")


@pytest.fixture
def half(order: tuple[str, ...]) -> LotState:
    """The third reel of the draw excluded, two tested, of which one fails and was tested again."""
    gone = ReelExcluded("2026-03-02T08:00:00Z", "M. Olsen", order[2], "crushed by the fork lift")
    bad = result(-1.25, Outcome.FAIL, failing=("NEXT, end A, 12-36: 1.25 dB below the limit at 62.5 MHz",))
    return state_of(
        [
            opened(),
            gone,
            added(order[0], result(2.5)),
            added(order[1], result(-3.0, Outcome.FAIL)),
            added(order[1], bad, "2026-03-02T11:00:00Z", "connector was loose"),
        ]
    )


def test_a_pick_list_is_in_the_order_of_the_draw_with_spares_after(order: tuple[str, ...]) -> None:
    told = pick_list(state_of([opened()]))
    places = [told.index(f"{number} {reel}") for number, reel in enumerate(order[:5], start=1)]
    assert len(set(places)) == 5
    assert told.count("[ ]") == 5
    spares = ", ".join(f"{reel} (no. {number})" for number, reel in enumerate(order[5:10], start=6))
    assert f"next in the order, for a reel that is excluded: {spares}, … (7 in all)" in " ".join(told.split())
    assert "random order from the seed 'the seed' (by chance)" in " ".join(told.split())


def test_what_is_tested_is_ticked_and_an_excluded_reel_is_replaced(
    half: LotState, order: tuple[str, ...]
) -> None:
    told = pick_list(half)
    assert f"[x] 1 {order[0]} pass" in told
    assert f"[x] 2 {order[1]} fail" in told
    # Numbers stay those of the draw, which are on paper and labels already.
    assert f"--- 3 {order[2]} excluded" in told
    assert f"[ ] 4 {order[3]}" in told
    assert order[2] not in told.split("spare")[1]


def test_a_whole_lot_has_no_spares() -> None:
    plan = replace(PLAN, sample_size=12)
    assert "none: every reel of the lot is drawn" in pick_list(state_of([opened(plan=plan)]))


def test_an_open_lot_tells_first_what_is_missing(half: LotState, order: tuple[str, ...]) -> None:
    told = lot_table(half, digest="f" * 64)
    lines = told.splitlines()
    assert lines[0] == "open         2 of 5 reels tested, 1 does not conform"
    assert f"still to be tested: {', '.join(order[3:6])}" in told
    assert "1 or more reels that do not conform refuse it (rejection number Re 1)" in " ".join(told.split())
    assert f"{order[1]}: NEXT, end A, 12-36: 1.25 dB below the limit" in " ".join(told.split())
    flat = " ".join(told.split())
    assert f"M. Olsen excluded {order[2]}: crushed by the fork lift" in flat
    assert f"M. Olsen tested {order[1]} again (fail before, fail now): connector was loose" in flat
    assert "normal inspection normal by the switching rules, after no lot before it" in flat
    rows = {line.split()[1]: line for line in lines if line.split()[:1] and line.split()[0] in "12345"}
    assert "+2.50  NEXT" in rows[order[0]], "in dB, although the margin of the delay is a smaller number"
    assert "fail*" in rows[order[1]]
    assert "-1.25" in rows[order[1]]
    assert rows[order[3]].endswith("to be tested")
    assert "f" * 64 in told


def test_a_closed_lot_tells_the_decision_first(order: tuple[str, ...]) -> None:
    results = [added(reel, result(1.0 + place)) for place, reel in enumerate(order[:5])]
    words = "accepted: 0 reels of 5 do not conform, Ac is 0"
    closed = LotClosed("2026-03-03T09:00:00Z", "R. Lind", True, (), words)
    state = state_of([opened(), *results, closed])
    assert lot_table(state).splitlines()[0] == f"decision     {words}"
    listed = lot_list([state, state_of([opened(lot="26-119")])]).splitlines()
    assert listed[2].split()[-3:] == ["5/5", "0", "accepted"]
    assert listed[3].split()[0] == "26-119"
    assert listed[3].split()[-3:] == ["0/5", "0", "open"]


def test_long_names_push_out_what_matters_least() -> None:
    reels = tuple(f"tollmoor-category-6-{number:04d}" for number in range(1, 6))
    state = state_of([opened(reels=reels, plan=replace(PLAN, lot_size=5, sample_size=5))])
    first = state.sample[0]
    state = state_of([opened(reels=reels, plan=state.plan), added(first, result(2.5))])
    lines = lot_table(state).splitlines()
    (head,) = (line for line in lines if line.startswith("# "))
    assert head.split() == ["#", "reel", "outcome", "margin", "parameter", "end", "MHz", "tested"]
    assert [line for line in lines if first in line][-1].split() == [
        *("1", first, "pass", "+2.50", "NEXT", "A", "62.500", "2026-03-02")
    ]


NASTY = {
    "override": "a\u202eb\x1b[31mc",
    "wide": "電線卸売" * 9,
    "long": "x" * 130,
    "marks": "e\u0301" * 50,
    "line": "reel\naccepted: all",
}


def proof_of(name: str) -> dict[str, Any]:
    """The document of a lot of two reels, of which one cannot be read any more."""
    margins = [
        {"parameter": "delay", "unit": "ns", "worst_margin": 0.01},
        {"parameter": "next", "unit": "dB", "worst_margin": 1.25},
        {"parameter": "return_loss", "unit": "dB", "worst_margin": None},
    ]
    one = {
        "reel": name,
        "was": "pass",
        "outcome": "fail",
        "matrix_difference": 3e-5,
        "result": {"margins": margins},
    }
    other = {"reel": "R2", "was": "pass", "outcome": None, "matrix_difference": None, "result": None}
    return {
        **{
            "lot": name,
            "digest": "f" * 64,
            "requirement": name,
            "edition": name,
            "against": False,
            "same": False,
        },
        **{"was": {"words": name}, "decision": {"words": name}, "variables": [], "other_outcome": [name]},
        **{"reels": [one, other], "differs": [f"{name} {at}" for at in range(30)], "doubts": [name]},
    }


def test_a_proof_tells_what_differs_and_the_raw_sweeps() -> None:
    told = lot_proof_table(proof_of("R1"))
    assert "not as it was: 30 differences" in told
    assert "… and 10 more; --json tells all" in told
    rows = told.splitlines()[-2:]
    assert rows[0].split() == ["R1", "pass", "fail", "+1.25", "NEXT", "differ", "by", "3e-05"]
    assert rows[1].split() == ["R2", "pass", "none", "-", "none", "kept"]


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
def test_names_of_any_sort_stay_within_the_columns(name: str, width: int) -> None:
    reels = (name, f"{name} 2", f"{name} 3")
    plan = replace(PLAN, lot_size=3, sample_size=2)
    state = LotState(
        opened(lot=name, supplier=name, product=name, by=name, reels=reels, seed=name, plan=plan),
        plan,
        reels,
        reels[:2],
        excluded=(ReelExcluded("2026-03-02T08:00:00Z", name, reels[2], name),),
        added=(one := added(name, result(-1.0, Outcome.FAIL, failing=(name,), notes=(name,))),),
        counting={name: one},
        missing=reels[1:2],
        nonconforming=reels[:1],
    )
    for told in (
        pick_list(state, width=width),
        lot_table(state, doubts=[name], inspection=[name], width=width),
        lot_list([state], width=width),
        lot_proof_table(proof_of(name), width=width),
    ):
        found = {char for char in told if unicodedata.category(char)[0] == "C"}
        assert found <= {"\n"}
        assert not [line for line in told.splitlines() if line.startswith("accepted")]
        for line in told.splitlines():
            taken = sum(
                0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
                for char in line
            )
            assert taken <= width


def test_doubts_of_a_result_are_no_mere_notes(order: tuple[str, ...]) -> None:
    odd = result(4.0, doubts=("the bench was cold",), notes=("corrected to 20 degC",))
    state = state_of([opened(), added(order[0], result(3.0)), added(order[1], odd)])
    told = lot_table(state)
    assert f"doubtful     {order[1]}: the bench was cold\n" in told
    assert f"note         {order[1]}: corrected to 20 degC\n" in told


def test_a_plan_by_variables_can_be_followed() -> None:
    plan = variables_plan(12, aql_percent=2.5, characteristics=("return_loss",))
    sample = state_of([opened(plan=plan)]).sample
    # NEXT is nearer to its limit than return loss, which the plan judges, by 3 dB.
    margins = [1.5 + 0.25 * number for number in range(len(sample))]
    state = state_of(
        [opened(plan=plan), *(added(reel, result(m - 3.0)) for reel, m in zip(sample, margins, strict=True))]
    )
    found = judge_variables(plan, "return_loss", margins, normality(margins))
    table = lot_table(state, variables=[found], width=120)
    spread = f"mean {fmean(margins):+.2f} dB, s {stdev(margins):.3f} dB"
    assert f"{len(margins)} worst margins, {spread}" in " ".join(table.split())
    for reel, margin in zip(sample, margins, strict=True):
        (row,) = [line.split() for line in table.splitlines() if f" {reel} " in line]
        assert row[2:6] == ["pass", f"{margin:+.2f}", f"{margin - 3.0:+.2f}", "NEXT"]
    assert "return loss: worst margin of both ends, which the plan judges" in table
    assert decision(state, [found]).words == "accepted: return loss by variables"
