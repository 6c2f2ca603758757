"""Rows of `lot_year` for series of lots under the switching rules."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import stats

from benchsweep.lots import LotDecision, decision, would_be_accepted
from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    START,
    Inspection,
    after_lot,
    attributes_plan,
    reduced_agreed,
    resumed,
)
from tests.journeys.lot_year_model import curve_at, normal_margins, tested
from tests.journeys.lot_year_rows import Row, mean_row, rate_row, reach

__all__ = [
    "LOT",
    "bad_supplier_rows",
    "good_supplier_rows",
    "inspected",
    "plan_of",
    "scheme_rows",
]

LOT, AQL = 500, 1.5
"""Letter H: normal 50, 2/3; tightened 50, 1/2; reduced 20, 1/3."""
_TIGHTER_AQL = 1.0


def plan_of(severity: Severity, aql: float = AQL) -> SamplingPlan:
    return attributes_plan(LOT, aql_percent=aql, severity=severity)


def inspected(draw: np.random.Generator, state: Inspection, share: float) -> tuple[Inspection, LotDecision]:
    """Return where inspection stands after one more lot of a process, and what was decided."""
    plan = plan_of(state.severity)
    lot = tested(plan, normal_margins(draw, (plan.sample_size,), share))
    found, bad = decision(lot), len(lot.nonconforming)
    tighter = would_be_accepted(lot, plan_of(state.severity, _TIGHTER_AQL))
    after = after_lot(
        state,
        plan=plan,
        nonconforming=bad,
        accepted=bool(found.accepted),
        ends_reduced=found.ends_reduced,
        tighter_accepted=tighter,
    )
    return after, found


def _accepted_at(severity: Severity, share: float) -> float:
    plan = plan_of(severity)
    return float(stats.binom.cdf(plan.reject - 1, plan.sample_size, share))


def _until_switch(severity: Severity, share: float) -> float:
    """Return how many lots it takes on average to leave normal or tightened inspection.

    Stephens and Larson, 1967: 2 of 5 not accepted, and 5 accepted in a row.
    """
    p = _accepted_at(severity, share)
    if severity is Severity.NORMAL:
        return (2.0 - p**4) / ((1.0 - p) * (1.0 - p**4))
    return (1.0 - p**5) / ((1.0 - p) * p**5)


def scheme_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """Long series between normal and tightened, never stopped: inspection is resumed at once.

    Every return to normal begins anew, so that the cycles between are independent: the rate is a ratio of two
    sums over them, its error that of the ratio.
    """
    for share in (0.025, 0.035):
        cycles: list[tuple[int, int]] = []
        state, hits, size = START, 0, 0
        while sum(each for _, each in cycles) < 6 * lots:
            before = state.severity
            state, found = inspected(draw, state, share)
            hits, size = hits + bool(found.accepted), size + 1
            state = resumed(state) if state.discontinued else state
            if before is Severity.TIGHTENED and state.severity is Severity.NORMAL:
                cycles.append((hits, size))
                hits = size = 0
        accepted, sizes = np.array(cycles, dtype=np.float64).T
        rate = accepted.sum() / sizes.sum()
        error = float(np.std(accepted - rate * sizes, ddof=1)) / math.sqrt(len(cycles)) / sizes.mean()
        wide = reach(error)
        a, b = _until_switch(Severity.NORMAL, share), _until_switch(Severity.TIGHTENED, share)
        long_run = a * _accepted_at(Severity.NORMAL, share) + b * _accepted_at(Severity.TIGHTENED, share)
        yield Row(
            "scheme",
            f"normal and tightened, {100 * share:g} % do not conform, {len(cycles)} cycles",
            int(sizes.sum()),
            float(rate),
            float(rate - wide),
            float(rate + wide),
            long_run / (a + b),
            "Stephens and Larson",
            curve=curve_at(plan_of(Severity.NORMAL), share, plan_of(Severity.TIGHTENED)),
        )


def bad_supplier_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """Suppliers far from the AQL: to tightened, then discontinued or back to normal."""
    for share in (0.08, 0.04):
        suppliers = max(20, lots // 2)
        to_tightened, on_tightened, stopped = [], [], 0
        for _ in range(suppliers):
            normal, tightened, state = _until_decided(draw, share)
            to_tightened.append(normal)
            on_tightened.append(tightened)
            stopped += state.discontinued
        back = _accepted_at(Severity.TIGHTENED, share) ** 5
        name, group = f"{100 * share:g} % do not conform", "bad supplier"
        a = _until_switch(Severity.NORMAL, share)
        yield mean_row(
            group, f"{name}: lots until tightened", to_tightened, a, "Stephens and Larson", sum(to_tightened)
        )
        # Five times the series of lots up to the next that is not accepted ends before five were accepted.
        yield rate_row(
            group,
            f"{name}: discontinued before it is back to normal",
            stopped,
            suppliers,
            (1.0 - back) ** 5,
            "(1 - PT^5)^5",
        )
        stretch = (1.0 - back) / (1.0 - _accepted_at(Severity.TIGHTENED, share))
        lasts = stretch * sum((1.0 - back) ** power for power in range(5))
        yield mean_row(
            group,
            f"{name}: lots on tightened until either",
            on_tightened,
            lasts,
            "geometric series",
            sum(on_tightened),
        )


def _until_decided(draw: np.random.Generator, share: float) -> tuple[int, int, Inspection]:
    """Return the lots on normal and on tightened inspection until it is discontinued or back to normal."""
    state, normal, tightened = START, 0, 0
    while state.severity is Severity.NORMAL:
        state, _ = inspected(draw, state, share)
        normal += 1
    while state.severity is Severity.TIGHTENED and not state.discontinued:
        state, _ = inspected(draw, state, share)
        tightened += 1
    return normal, tightened, state


def good_supplier_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """A good supplier earns reduced inspection, gets worse, and loses it."""
    suppliers, soon = max(20, lots // 3), 0
    good, worse, group = 0.004, 0.03, "good supplier"
    lasted, between = [], 0
    for _ in range(suppliers):
        state, number = START, 0
        while not state.reduced_possible:
            state, _ = inspected(draw, state, good)
            number += 1
        soon += number == 10
        state, number = reduced_agreed(state), 0
        while state.severity is Severity.REDUCED:
            state, found = inspected(draw, state, worse)
            number += 1
        lasted.append(number)
        between += found.ends_reduced
    tighter, reduced = plan_of(Severity.NORMAL, _TIGHTER_AQL), plan_of(Severity.REDUCED)
    ten = float(stats.binom.cdf(tighter.accept, tighter.sample_size, good)) ** 10
    yield rate_row(
        group,
        "0.4 %: reduced inspection possible after ten lots",
        soon,
        suppliers,
        ten,
        "binomial to the tenth",
    )
    ends = float(stats.binom.sf(reduced.accept, reduced.sample_size, worse))
    yield mean_row(
        group, "then 3 %: lots until reduced inspection ends", lasted, 1.0 / ends, "geometric", sum(lasted)
    )
    refused = float(stats.binom.sf(reduced.reject - 1, reduced.sample_size, worse))
    yield rate_row(
        group, "ended by a count between Ac and Re", between, suppliers, 1.0 - refused / ends, "binomial"
    )
