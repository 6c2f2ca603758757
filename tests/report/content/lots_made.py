"""Lots of the invented cable works Tollmoor Wire, for tests: drawn, tested, decided."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from benchsweep.lots import random_order
from benchsweep.records import (
    ControlChart,
    End,
    LimitCurve,
    LotClosed,
    LotOpened,
    LotState,
    Outcome,
    Parameter,
    ProcessView,
    ReelAdded,
    ReelConstants,
    ReelMargin,
    ReelResult,
    SamplingPlan,
    Trace,
)
from benchsweep.report import LotItem
from benchsweep.statistics.process import (
    capability,
    ewma_chart,
    individuals_chart,
    mean_charts,
    normality,
    tolerance_limits,
)
from benchsweep.statistics.sampling import attributes_plan, operating_curve

PARAMETERS = (
    Parameter.INSERTION_LOSS,
    Parameter.RETURN_LOSS,
    Parameter.NEXT,
    Parameter.PS_NEXT,
    Parameter.ACR_F,
    Parameter.PS_ACR_F,
    Parameter.TCL,
    Parameter.DELAY,
    Parameter.SKEW,
)
PAIRS = {
    Parameter.NEXT: ("36", "45"),
    Parameter.ACR_F: ("12", "78"),
    Parameter.SKEW: ("12", "36"),
}
NO_END = (Parameter.DELAY, Parameter.SKEW, Parameter.INSERTION_LOSS)


def digest_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def limit_of(parameter: Parameter, grid: np.ndarray) -> LimitCurve:
    megahertz = grid / 1e6
    if parameter is Parameter.INSERTION_LOSS:
        value, sense = 1.8 * np.sqrt(megahertz) + 0.017 * megahertz, "max"
    elif parameter in (Parameter.DELAY, Parameter.SKEW):
        value = np.full(grid.size, 45.0) if parameter is Parameter.SKEW else 534.0 + 36.0 / np.sqrt(megahertz)
        sense = "max"
    else:
        value, sense = 68.0 - 15.0 * np.log10(megahertz), "min"
    return LimitCurve(parameter, sense, grid, value, "from-memory", "a works standard, table 4")


def trace_of(parameter: Parameter, end: End | None, reel: str, margin: float, grid: np.ndarray) -> Trace:
    """A trace that comes nearest to the limit, by the margin, at one point."""
    limit = limit_of(parameter, grid)
    random = np.random.default_rng(int(digest_of(f"{reel}{parameter}{end}")[:8], 16))
    coarse = np.abs(random.normal(0.0, 3.0, grid.size // 8 + 2))
    bumps = np.interp(np.arange(grid.size) / 8.0, np.arange(coarse.size), coarse)
    away = margin + bumps - bumps.min()
    value = limit.value + away if limit.sense == "min" else limit.value - away
    return Trace(parameter, end, PAIRS.get(parameter, ("36",)), grid, value)


def margin_from(trace: Trace, *, outcome: Outcome | None = None, expanded: float | None = None) -> ReelMargin:
    limit = limit_of(trace.parameter, trace.frequency_hz)
    away = trace.value - limit.value if limit.sense == "min" else limit.value - trace.value
    at = int(np.argmin(away))
    return ReelMargin(
        parameter=trace.parameter,
        end=trace.end,
        pairs=trace.pairs,
        margin=float(away[at]),
        frequency_hz=float(trace.frequency_hz[at]),
        value=float(trace.value[at]),
        limit=float(limit.value[at]),
        expanded_uncertainty=expanded,
        outcome=outcome or (Outcome.PASS if away[at] >= 0.0 else Outcome.FAIL),
    )


def reel_of(
    name: str, *, points: int = 60, shift: float = 0.0, bad: Sequence[Parameter] = (), degc: float = 20.0
) -> tuple[ReelResult, tuple[Trace, ...]]:
    grid = np.linspace(1e6, 250e6, points)
    random = np.random.default_rng(int(digest_of(name)[:8], 16))
    traces, margins = [], []
    for parameter in PARAMETERS:
        ends: tuple[End | None, ...] = (None,) if parameter in NO_END else ("A", "B")
        for end in ends:
            margin = float(random.normal(3.0 + shift, 0.6))
            if parameter in bad and end in (None, "A"):
                margin = -0.42
            trace = trace_of(parameter, end, name, margin, grid)
            traces.append(trace)
            margins.append(margin_from(trace, expanded=0.35))
    failing = tuple(
        f"{each.parameter.term}, end {each.end}, pairs {'-'.join(each.pairs)}: "
        f"{-(each.margin or 0):.2f} dB outside"
        for each in margins
        if each.outcome is Outcome.FAIL
    )
    constants = tuple(
        ReelConstants(
            end=end,
            pair=pair,
            velocity_fraction=float(random.normal(0.68, 0.004)),
            mean_impedance_ohm=float(random.normal(100.0, 1.2)),
            fitted_impedance_ohm=float(random.normal(100.0, 1.0)),
            structural_return_loss_db=float(random.normal(27.0, 1.0)),
            structural_at_hz=181e6,
            capacitance_nf_per_100m=5.1,
        )
        for end in ("A", "B")
        for pair in ("12", "36", "45", "78")
    )
    result = ReelResult(
        length_m=100.2,
        temperature_degc=degc,
        outcome=Outcome.FAIL if failing else Outcome.PASS,
        margins=tuple(margins),
        failing=failing,
        doubts=("the limits of TCL are from memory",),
        notes=("insertion loss was brought to 100 m",),
        constants=constants,
        skew_ns_per_100m=float(random.normal(25.0, 2.0)),
        measured_at="2026-03-03T09:12:00+00:00",
    )
    return result, tuple(traces)


def state_of_lot(
    *,
    lot: str = "26-118",
    size: int = 60,
    plan: SamplingPlan | None = None,
    bad: Sequence[int] = (1,),
    tested: int | None = None,
    points: int = 60,
    closed: bool = True,
    seed: str = "7f3a-19",
) -> tuple[LotState, dict[str, tuple[Trace, ...]]]:
    """A lot of which the reels at the places `bad` of the sample fail NEXT."""
    reels = tuple(f"T{number:04d}" for number in range(701, 701 + size))
    plan = plan or attributes_plan(size, level="II", aql_percent=2.5)
    order = random_order(reels, seed)
    sample = order[: plan.sample_size]
    opened = LotOpened(
        at="2026-03-02T08:00:00+00:00",
        by="I. Vogt",
        lot=lot,
        supplier="Tollmoor Wire",
        product="C6-23",
        reels=reels,
        requirement="cat6-cable",
        edition="2026-01",
        requirement_digest=digest_of("cat6-cable"),
        decision_rule="simple",
        construction="u-utp",
        plan=plan,
        seed=seed,
        severity_because="normal inspection: the start (switching rules, no lot before it)",
    )
    counting, traces = {}, {}
    for place, reel in enumerate(sample[: len(sample) if tested is None else tested]):
        result, of_reel = reel_of(reel, points=points, bad=(Parameter.NEXT,) if place in bad else ())
        record = digest_of(f"record of {reel}")
        counting[reel] = ReelAdded(
            at=f"2026-03-03T09:{place % 60:02d}:30+00:00",
            by="P. Anders",
            station="bench-2",
            reel=reel,
            record=record,
            path=f"2026-03-03/{reel}-{record[:8]}.bsrec",
            result=result,
        )
        traces[reel] = of_reel
    failing = tuple(reel for reel, added in counting.items() if added.result.conforms is False)
    missing = tuple(reel for reel in sample if reel not in counting)
    accepted = len(failing) <= plan.accept
    decision = LotClosed(
        at="2026-03-03T15:00:00+00:00",
        by="I. Vogt",
        accepted=accepted,
        nonconforming=failing,
        words=f"{'accepted' if accepted else 'not accepted'}: {len(failing)} of {len(sample)} do not conform",
    )
    state = LotState(
        opened=opened,
        plan=plan,
        order=order,
        sample=sample,
        added=tuple(counting.values()),
        counting=counting,
        missing=missing,
        nonconforming=failing,
        closed=decision if closed and not missing else None,
    )
    return state, traces


def item_of(**how: object) -> LotItem:
    state, traces = state_of_lot(**how)  # type: ignore[arg-type]
    points = len(next(iter(traces.values()))[0].value) if traces else 60
    grid = np.linspace(1e6, 250e6, points)
    return LotItem(
        state=state,
        curve=operating_curve(state.plan),
        digest=digest_of(state.opened.lot),
        traces=traces,
        limits={parameter: limit_of(parameter, grid) for parameter in PARAMETERS},
        inspection=("the next lot: normal inspection (1 of its kind closed so far)",),
        software={"benchsweep": "0.9"},
    )


def view_of(
    parameter: Parameter = Parameter.NEXT,
    *,
    end: End | None = None,
    lots: int = 12,
    reels: int = 5,
    drop: float = 0.0,
    baseline: int | None = None,
) -> ProcessView:
    """A product over its lots; from the middle on its margins are smaller by `drop`."""
    random = np.random.default_rng(int(digest_of(f"{parameter}{end}")[:8], 16))
    names = [f"26-{110 + lot}" for lot in range(lots) for _ in range(reels)]
    each = [f"T{700 + place:04d}" for place in range(lots * reels)]
    margin = random.normal(3.0, 0.5, lots * reels)
    margin[margin.size // 2 :] -= drop
    groups = [margin[lot * reels : (lot + 1) * reels] for lot in range(lots)]
    labels = list(dict.fromkeys(names))
    charts: tuple[ControlChart, ...] = individuals_chart(margin, each, baseline=baseline)
    charts += (ewma_chart(margin, each, baseline=baseline),)
    charts += mean_charts(groups, labels)
    return ProcessView(
        product="C6-23",
        supplier="Tollmoor Wire",
        requirement="cat6-cable",
        parameter=parameter,
        end=end,
        unit=parameter.unit,
        lots=tuple(names),
        reels=tuple(each),
        measured_at=tuple(f"2026-{1 + place * 11 // (lots * reels):02d}-03" for place in range(lots * reels)),
        margin=margin,
        charts=charts,
        capability=capability(margin),
        tolerance=(tolerance_limits(margin, content=0.99, confidence=0.95, sides="lower", method="normal"),),
        normality=normality(margin),
        notes=("limits rest on 12 lots",),
    )


def with_views(item: LotItem, *views: ProcessView) -> LotItem:
    return replace(item, views=views)
