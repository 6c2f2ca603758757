"""Lots of `lot_year`: margins from a model of production, decided by the code that decides everywhere."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchsweep.lots import LotDecision, decision, state_of
from benchsweep.records import (
    LotClosed,
    LotEvent,
    LotOpened,
    LotReplanned,
    LotState,
    OperatingCurve,
    Outcome,
    Parameter,
    ReelAdded,
    ReelExcluded,
    ReelMargin,
    ReelResult,
    SamplingPlan,
    VariablesDecision,
)
from benchsweep.statistics.process import normality
from benchsweep.statistics.sampling import judge_variables, operating_curve

__all__ = [
    "NEXT",
    "Floats",
    "complete",
    "curve_at",
    "curve_over_lot",
    "finite_margins",
    "names",
    "normal_margins",
    "quick",
    "skewed_margins",
    "tested",
]

Floats = NDArray[np.float64]

NEXT = Parameter.NEXT
_SIGMA_DB = 1.5
_AT = "2026-11-02T08:15:00+00:00"
_BY = "M. Lindqvist"


def normal_margins(draw: np.random.Generator, shape: tuple[int, ...], share: float) -> Floats:
    """Return margins in dB of which so many are below zero, normal."""
    return _SIGMA_DB * (draw.standard_normal(shape) - float(special.ndtri(share)))


def skewed_margins(draw: np.random.Generator, shape: tuple[int, ...], share: float) -> Floats:
    """Return margins in dB of which so many are below zero, distributed as minima are (Gumbel)."""
    scale = _SIGMA_DB * math.sqrt(6.0) / math.pi
    return scale * (-draw.gumbel(size=shape) - math.log(-math.log1p(-share)))


def finite_margins(draw: np.random.Generator, size: int, bad: int) -> Floats:
    """Return the margins of a lot with exactly so many reels below zero, these first."""
    margins = np.abs(draw.normal(0.0, _SIGMA_DB, size)) + 1e-6
    margins[:bad] *= -1.0
    return margins


@cache
def names(size: int) -> tuple[str, ...]:
    return tuple(f"R{number:03d}" for number in range(1, size + 1))


@cache
def _opened(plan: SamplingPlan, seed: str = "the year") -> LotOpened:
    return LotOpened(
        at=_AT,
        by=_BY,
        lot=f"delivery {seed}",
        supplier="Works at Tollmoor",
        product="tollmoor-6",
        reels=names(plan.lot_size),
        requirement="iec-61156-5-cat6",
        edition="2020",
        requirement_digest="0" * 64,
        decision_rule="simple",
        construction="unscreened",
        plan=plan,
        seed=seed,
    )


def tested(plan: SamplingPlan, margins: Floats) -> LotState:
    """Return a lot whose sample has these margins, without the history that led there."""
    drawn = names(plan.lot_size)[: plan.sample_size]
    bad = tuple(drawn[place] for place in np.flatnonzero(margins < 0.0))
    return LotState(_opened(plan), plan, drawn, drawn, nonconforming=bad)


def quick(plan: SamplingPlan, margins: Floats) -> LotDecision:
    """Return what a plan by counting says of a sample with these margins."""
    return decision(tested(plan, margins))


def complete(
    plan: SamplingPlan, margins: Floats, seed: str, *, excluded: int = 0, instead: SamplingPlan | None = None
) -> LotState:
    """Return the lot at the end of its history, all entries of which were written one after the other.

    Parameters
    ----------
    margins
        ``(lot size,)`` of all reels, in the order of their names.
    excluded
        So many reels of the sample cannot be tested, whatever their margins.
    instead
        By attributes: takes the place of a plan by variables that decides nothing.
    """
    of_reel = dict(zip(names(plan.lot_size), map(float, margins), strict=True))
    events: list[LotEvent] = [replace(_opened(plan), seed=seed, lot=f"delivery {seed}")]
    state = state_of(events)
    events += [ReelExcluded(_AT, _BY, reel, "crushed") for reel in state.sample[:excluded]]
    state = _measured(state_of(events), events, of_reel)
    judged = _judged(state)
    found = decision(state, judged)
    if found.accepted is None and instead is not None:
        events.append(LotReplanned(_AT, _BY, instead, "the margins are not normal"))
        state, judged = _measured(state_of(events), events, of_reel), ()
        found = decision(state)
    if found.accepted is None:
        return state
    closing = LotClosed(
        _AT, _BY, found.accepted, state.nonconforming, found.words, found.ends_reduced, judged
    )
    return state_of([*events, closing])


def _measured(state: LotState, events: list[LotEvent], of_reel: dict[str, float]) -> LotState:
    events += [_added(state.opened.lot, reel, of_reel[reel]) for reel in state.missing]
    return state_of(events)


def _added(lot: str, reel: str, margin: float) -> ReelAdded:
    outcome = Outcome.PASS if margin >= 0.0 else Outcome.FAIL
    worst = ReelMargin(NEXT, "A", ("12", "36"), margin, 1e8, 41.75 + margin, 41.75, 0.5, outcome)
    digest = hashlib.sha256(f"{lot}\n{reel}".encode()).hexdigest()
    return ReelAdded(
        _AT, _BY, "bench 2", reel, digest, f"{reel}.h5", ReelResult(100.0, 20.0, outcome, (worst,))
    )


def _judged(state: LotState) -> tuple[VariablesDecision, ...]:
    if state.plan.method != "variables":
        return ()
    margins = [state.counting[reel].result.margins[0].margin or 0.0 for reel in state.sample]
    return (judge_variables(state.plan, str(NEXT), margins, normality(margins)),)


@cache
def _curve(plan: SamplingPlan, tightened: SamplingPlan | None = None) -> OperatingCurve:
    return operating_curve(plan, tightened=tightened, points=4001)


def curve_at(plan: SamplingPlan, share: float, tightened: SamplingPlan | None = None) -> float:
    """Return what the operating characteristic of a plan, or of a scheme, says of a process."""
    curve = _curve(plan, tightened)
    accepted = curve.accepted if tightened is None else curve.scheme_accepted
    assert accepted is not None
    return float(np.interp(100.0 * share, curve.percent, accepted))


def curve_over_lot(plan: SamplingPlan, bad: int) -> float:
    """Return what the operating characteristic of a plan says of a lot with so many bad reels."""
    curve = _curve(plan)
    (place,) = np.flatnonzero(np.isclose(curve.lot_percent, 100.0 * bad / plan.lot_size))
    return float(curve.lot_accepted[place])
