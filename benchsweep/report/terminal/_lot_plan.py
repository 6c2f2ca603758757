"""A sampling plan and what it accepts, before it is used."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchsweep.records import OperatingCurve, Parameter, SamplingPlan
from benchsweep.report.terminal._canvas import ASCII, UNICODE, Canvas, Glyphs
from benchsweep.report.terminal._english import parameter_words
from benchsweep.report.terminal._frame import framed, number_axis, tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, wrapped
from benchsweep.report.terminal._ticks import value_ticks

__all__ = ["characteristic_words", "percent_words", "plan_words", "sampling_table"]

_ROWS = 10
_MOST_POINTS = 9
_FIRST = 4
_LADDER: tuple[float, ...] = (
    *(
        0.01,
        0.025,
        0.05,
        0.1,
        0.25,
        0.5,
        1.0,
        1.5,
        2.0,
        3.0,
        4.0,
        5.0,
        7.5,
        10.0,
        15.0,
        20.0,
        25.0,
        30.0,
        40.0,
    ),
    *(50.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0, 500.0, 1000.0, 2000.0),
)
_STANDINGS = {
    "published": "published",
    "common-practice": "common practice in the trade",
    "from-memory": "from memory, to be verified against the standard",
}
# Where the curve is all but flat there is nothing to be seen.
_HIGH, _LOW = 0.995, 0.01


def percent_words(value: float | None) -> str:
    """Return a percentage with three digits."""
    return "-" if value is None or not np.isfinite(value) else f"{float(f'{value:.3g}'):g}"


def characteristic_words(name: str) -> str:
    """Return the field's term for a characteristic; one that is no parameter as it was given."""
    return parameter_words(Parameter(name)) if name in set(Parameter) else name


def plan_words(plan: SamplingPlan) -> str:
    """Return a plan in a line: what is tested, and with what the lot is accepted."""
    units = "all" if plan.whole_lot else str(plan.sample_size)
    tested = f"test {units} of {plan.lot_size} reels"
    if plan.method == "variables":
        of = " and of ".join(map(characteristic_words, plan.characteristics)) or "each characteristic"
        if plan.largest_percent is not None:
            return f"{tested}; accept where the estimated percentage nonconforming of {of} is at most M = \
{plan.largest_percent:g} %"
        known = "" if plan.constant_k is None else f" is at least k = {plan.constant_k:g}"
        return f"{tested}; accept where mean / s of the worst margins of {of}{known}"
    accept = "none" if plan.accept == 0 else f"{plan.accept} or fewer"
    return f"{tested}; accept with {accept} nonconforming (Ac\u00a0{plan.accept}, Re\u00a0{plan.reject})"


def sampling_table(
    plan: SamplingPlan, curve: OperatingCurve, *, width: int = 80, ascii_only: bool = False
) -> str:
    """Return a plan, its risks, its operating characteristic as a plot and as numbers.

    Plain text of at most `width` columns, at least 40. The plot shows the probability of acceptance over the
    percentage nonconforming; the line is that of the scheme with switching between normal and tightened
    inspection, where there is one; X marks the AQL, or the limiting quality.
    """
    width = max(width, NARROWEST)
    lines: list[str] = []
    for label, texts in (
        ("plan", [plan_words(plan)]),
        ("chosen by", _chosen(plan)),
        ("between", [_between(plan)]),
        ("risks", _risks(plan, curve)),
        ("outgoing", [_outgoing(curve)]),
        ("source", [plan.source]),
        ("standing", [_STANDINGS.get(plan.standing, plan.standing)]),
    ):
        lines += entry(label, texts, width)
    lines += ["", *_plot(plan, curve, width, ASCII if ascii_only else UNICODE)]
    lines += ["", *_process_points(plan, curve, width)]
    lines += _lot_points(curve, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _chosen(plan: SamplingPlan) -> Sequence[str]:
    if plan.method == "zero-acceptance":
        risk = 0.0 if plan.consumer_risk is None else 100.0 * plan.consumer_risk
        return [
            f"zero acceptance: a lot with {percent_words(plan.limiting_percent)} % nonconforming is accepted "
            f"in at most {risk:g} of 100 cases (exact, hypergeometric)",
            plan.rounded_up,
        ]
    severity = "" if plan.severity is None else f", {plan.severity.value} inspection"
    lines = [f"{plan.method}, level {plan.level}, AQL {plan.aql_percent:g} %{severity}"]
    if plan.plan_letter and plan.plan_letter != plan.code_letter:
        way = "down" if plan.plan_letter > plan.code_letter else "up"
        lines.append(
            f"code letter {plan.code_letter}; there the table has an arrow {way} to letter "
            f"{plan.plan_letter}, whose sample size counts with its numbers"
        )
    elif plan.code_letter:
        lines.append(f"code letter {plan.code_letter}")
    if plan.whole_lot and plan.table_sample_size > plan.lot_size:
        lines.append(f"the table asks for {plan.table_sample_size}: the whole lot is tested")
    return lines


def _between(plan: SamplingPlan) -> str:
    if plan.method == "variables" or plan.reject <= plan.accept + 1:
        return ""
    most = plan.reject - 1
    numbers = str(most) if most == plan.accept + 1 else f"{plan.accept + 1} to {most}"
    return f"with {numbers} nonconforming the lot is accepted and reduced inspection ends"


def _risks(plan: SamplingPlan, curve: OperatingCurve) -> Sequence[str]:
    lines = []
    if curve.producer_risk is not None and plan.aql_percent is not None:
        lines.append(
            f"producer's risk at the AQL: {percent_words(100.0 * curve.producer_risk)} % of lots from a "
            f"process with {plan.aql_percent:g} % nonconforming are not accepted"
        )
    lines.append(
        "lots from a process: accepted in 95 % of cases at "
        f"{percent_words(curve.producer_percent)} % nonconforming, in 50 % at "
        f"{percent_words(curve.indifferent_percent)} %, in 10 % at {percent_words(curve.consumer_percent)} % "
        "(consumer's risk of the process)"
    )
    if plan.limiting_count is not None:
        at = np.flatnonzero(np.isclose(curve.lot_percent, 100.0 * plan.limiting_count / plan.lot_size))
        for accepted in curve.lot_accepted[at[:1]]:
            lines.append(
                f"this lot: accepted in {percent_words(100.0 * float(accepted))} % of cases with "
                f"{plan.limiting_count} of {plan.lot_size} nonconforming (consumer's risk of the lot, which "
                "the plan was made for)"
            )
    return lines


def _outgoing(curve: OperatingCurve) -> str:
    if not np.isfinite(curve.outgoing_limit_percent):
        return ""
    return (
        f"AOQL {percent_words(curve.outgoing_limit_percent)} %, reached at "
        f"{percent_words(curve.outgoing_limit_at)} %: the worst average outgoing quality where lots that are "
        "not accepted are tested whole and put right"
    )


def _shown(curve: OperatingCurve) -> int:
    """Return how many of the first points are worth showing."""
    low = np.flatnonzero(curve.accepted < _LOW)
    return int(low[0]) + 1 if low.size else curve.percent.size


def _marked(plan: SamplingPlan) -> tuple[float | None, str]:
    if plan.aql_percent is not None:
        return plan.aql_percent, "AQL"
    return plan.limiting_percent, "limiting quality"


def _plot(plan: SamplingPlan, curve: OperatingCurve, width: int, glyphs: Glyphs) -> list[str]:
    count = _shown(curve)
    x, y = curve.percent[:count], 100.0 * curve.accepted[:count]
    if count < 2 or x[-1] <= x[0]:
        return []
    span = (0.0, 100.0)
    left = 5
    canvas = Canvas(width - left - 1, _ROWS, (float(x[0]), float(x[-1])), span, glyphs)
    canvas.trace(x, y)
    legend = f"{glyphs.sample} accepted, % of lots"
    if curve.scheme_accepted is not None:
        canvas.limit(x, 100.0 * curve.scheme_accepted[:count])
    at, name = _marked(plan)
    if at is not None and x[0] <= at <= x[-1]:
        canvas.mark(at, float(np.interp(at, x, y)))
        mark = f"   {glyphs.mark} {name}"
    else:
        mark = ""
    drawn = canvas.lines()
    if curve.scheme_accepted is not None:
        sample = canvas.limit_sample()
        legend += f"   {sample} with switching to tightened" if sample else ""
    lines = wrapped(legend + mark, width)
    lines += framed(drawn, [(at, f"{at:.0f}") for at in (0.0, 25.0, 50.0, 75.0, 100.0)], left, glyphs, span)
    ticks = value_ticks(float(x[0]), float(x[-1]), 16)
    places = [(canvas.column(value), words) for value, words in ticks]
    unit = "%" if left < 12 else ""
    return [*lines, *number_axis(places, canvas.columns, left, glyphs, unit=unit)]


def _process_points(plan: SamplingPlan, curve: OperatingCurve, width: int) -> list[str]:
    """Return a table over the percentage nonconforming of the process, with the AQL among it."""
    count = _shown(curve)
    low, high = float(curve.percent[0]), float(curve.percent[count - 1])
    found = [
        percent
        for percent in _LADDER
        if low <= percent <= high and np.interp(percent, curve.percent, curve.accepted) < _HIGH
    ]
    while len(found) > _MOST_POINTS:
        found = found[::-2][::-1]
    at, _ = _marked(plan)
    if at is not None and low <= at <= high:
        found = sorted({*found, at})
    scheme = curve.scheme_accepted
    heads = ["process, % nonconforming", "accepted %", "with switching %", "AOQ %", "tested on average"]
    rows = []
    for percent in found:
        row = [f"{percent:g}{' *' if percent == at else ''}"]
        row.append(f"{100.0 * _at(percent, curve, curve.accepted):.1f}")
        row.append("" if scheme is None else f"{100.0 * _at(percent, curve, scheme):.1f}")
        row.append(f"{_at(percent, curve, curve.outgoing_percent):.3f}")
        row.append(f"{_at(percent, curve, curve.inspected):.1f}")
        rows.append(row)
    if scheme is None:
        heads = [*heads[:2], *heads[3:]]
        rows = [[*row[:2], *row[3:]] for row in rows]
    if not rows:
        return []
    lines = tabled(heads, rows, width, figures=heads[1:])
    if at is not None and at in found:
        lines += wrapped(f"* {_marked(plan)[1]}", width)
    return lines


def _at(percent: float, curve: OperatingCurve, column: np.ndarray) -> float:
    return float(np.interp(percent, curve.percent, column))


def _lot_points(curve: OperatingCurve, width: int) -> list[str]:
    """Return how often a lot of just this size with so many nonconforming units is accepted."""
    if not curve.lot_percent.size:
        return []
    places = [
        place
        for place in range(curve.lot_percent.size)
        if curve.lot_accepted[place] < 1.0 and curve.lot_accepted[place] >= _LOW / 10.0
    ]
    if not places:
        return []
    while len(places) > _MOST_POINTS:  # the first few are what a lot is likely to have
        places = places[:_FIRST] + places[_FIRST::2]
    limiting = [
        place for place in range(curve.lot_percent.size) if _count(curve, place) == curve.plan.limiting_count
    ]
    places = sorted({*places, *limiting})
    rows = [
        [
            f"{_count(curve, place)}{' *' if place in limiting else ''}",
            f"{curve.lot_percent[place]:.2f}",
            f"{100.0 * curve.lot_accepted[place]:.1f}",
        ]
        for place in places
    ]
    heads = ["nonconforming in this lot", "%", "accepted %"]
    lines = ["", *tabled(heads, rows, width, figures=heads[1:])]
    if limiting:
        risk = 0.0 if curve.plan.consumer_risk is None else 100.0 * curve.plan.consumer_risk
        lines += wrapped(
            f"* limiting quality in this lot: the plan keeps this risk to {risk:g} % at most", width
        )
    return lines


def _count(curve: OperatingCurve, place: int) -> int:
    """Return how many nonconforming units a lot has at a point of its curve."""
    return round(float(curve.lot_percent[place]) * curve.plan.lot_size / 100.0)
