"""Entries of histories of lots, as short as tests want them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from benchsweep.lots import state_of
from benchsweep.records import (
    LotClosed,
    LotEvent,
    LotOpened,
    LotReplanned,
    LotState,
    Outcome,
    Parameter,
    ReelAdded,
    ReelExcluded,
    ReelMargin,
    ReelResult,
    SamplingPlan,
    Severity,
    VariablesDecision,
)

AT = "2026-11-02T08:15:00+00:00"
REELS = tuple(f"R{number:03d}" for number in range(1, 13))


def attributes(sample: int = 5, accept: int = 1, reject: int | None = None, **changes: Any) -> SamplingPlan:
    plan = SamplingPlan(
        "attributes",
        len(REELS),
        sample,
        accept,
        accept + 1 if reject is None else reject,
        aql_percent=2.5,
        level="II",
        severity=Severity.NORMAL,
        code_letter="B",
        plan_letter="C",
        table_sample_size=sample,
        source="made up",
        standing="from-memory",
    )
    return replace(plan, **changes)


def variables(sample: int = 4, characteristics: tuple[str, ...] = ("next",), **changes: Any) -> SamplingPlan:
    plan = attributes(
        sample, 0, 1, method="variables", level="IV", characteristics=characteristics, constant_k=1.09
    )
    return replace(plan, **changes)


def opened(plan: SamplingPlan | None = None, **changes: Any) -> LotOpened:
    event = LotOpened(
        AT,
        "M. Lindqvist",
        "delivery 7 / Nov.",
        "Works at Tollmoor",
        "tollmoor-6",
        REELS,
        "iec-61156-5-cat6",
        "2020",
        "0" * 64,
        "simple",
        "unscreened",
        plan or attributes(),
        "seed of the test",
        severity_because="the first lot of this supplier",
    )
    return replace(event, **changes)


def margin(
    value: float | None = 3.25, *, parameter: Parameter = Parameter.NEXT, outcome: Outcome = Outcome.PASS
) -> ReelMargin:
    return ReelMargin(parameter, "A", ("12", "36"), value, 1e8, 45.0, 41.75, 0.5, outcome)


def result(outcome: Outcome = Outcome.PASS, *margins: ReelMargin, **changes: Any) -> ReelResult:
    return replace(ReelResult(100.0, 20.5, outcome, margins or (margin(outcome=outcome),)), **changes)


def added(
    reel: str, outcome: Outcome | ReelResult = Outcome.PASS, *, record: str = "", retest_reason: str = ""
) -> ReelAdded:
    content = record or hashlib.sha256(f"{reel} {outcome} {retest_reason}".encode()).hexdigest()
    found = outcome if isinstance(outcome, ReelResult) else result(outcome)
    return ReelAdded(AT, "M. Lindqvist", "bench 2", reel, content, f"{reel}.h5", found, retest_reason)


def excluded(reel: str, reason: str = "crushed by the fork lift") -> ReelExcluded:
    return ReelExcluded(AT, "M. Lindqvist", reel, reason)


def replanned(plan: SamplingPlan, reason: str = "the margins are not normal") -> LotReplanned:
    return LotReplanned(AT, "M. Lindqvist", plan, reason)


def closed(
    accepted: bool, nonconforming: Sequence[str] = (), *, ends_reduced: bool = False, **changes: Any
) -> LotClosed:
    event = LotClosed(AT, "M. Lindqvist", accepted, tuple(nonconforming), "in words", ends_reduced)
    return replace(event, **changes)


def judged(accepted: bool | None, name: str = "next", count: int = 4) -> VariablesDecision:
    words = {True: "Q is 2, k is 1.09", False: "Q is 0.5, k is 1.09", None: "not normal"}[accepted]
    return VariablesDecision(name, count, 3.0, 1.5, 2.0, 0.5, accepted, words, 0.4)


def lot(plan: SamplingPlan | None = None, *events: LotEvent) -> LotState:
    return state_of([opened(plan), *events])


def measured(state: LotState, outcomes: dict[str, Outcome | ReelResult] | None = None) -> LotState:
    """Return the state after every missing reel of the sample got a result, a pass unless told else."""
    events = [added(reel, (outcomes or {}).get(reel, Outcome.PASS)) for reel in state.missing]
    return state_of([state.opened, *state.excluded, *state.replanned, *state.added, *events])
