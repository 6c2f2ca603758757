"""What is said of plans, reels and margins in every part about a lot."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from benchsweep.records import (
    Outcome,
    Parameter,
    ReelMargin,
    ReelResult,
    SamplingPlan,
    Severity,
    VariablesDecision,
)
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Given, Line, line
from benchsweep.report.text import Texts, megahertz, number, parameter_words, signed, trace_words

__all__ = [
    "OUTCOME_LETTERS",
    "characteristic_line",
    "judged",
    "listed",
    "margin_words",
    "percent_words",
    "plan_kind",
    "plan_line",
    "severity_words",
    "some_reels",
    "worst_margin",
]

_MOST_NAMED = 12

OUTCOME_LETTERS: Mapping[Outcome, str] = {
    Outcome.FAIL: "matrix.fail",
    Outcome.CONDITIONAL_FAIL: "matrix.conditional_fail",
    Outcome.CONDITIONAL_PASS: "matrix.conditional_pass",
    Outcome.UNDECIDED: "matrix.undecided",
}
"""Keys of the letters that stand behind a margin that is no plain pass."""

_SEVERITIES = {
    Severity.NORMAL: "lot_plan.normal",
    Severity.TIGHTENED: "lot_plan.tightened",
    Severity.REDUCED: "lot_plan.reduced",
}


def percent_words(value: float | None, texts: Texts) -> str:
    """Return a percentage with three significant digits; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return number(None, texts)
    return f"{float(f'{value:.3g}'):g}"


def severity_words(severity: Severity, texts: Texts) -> str:
    """Return the name of a severity of inspection."""
    return texts(_SEVERITIES[severity])


def characteristic_line(name: str, texts: Texts) -> Line:
    """Return the field's term for a characteristic; one that is no parameter as it was given."""
    return (parameter_words(Parameter(name), texts),) if name in set(Parameter) else given(name)


def plan_kind(plan: SamplingPlan, texts: Texts) -> str:
    """Return by which kind of plan a lot is sampled."""
    if plan.method == "zero-acceptance":
        risk = None if plan.consumer_risk is None else 100.0 * plan.consumer_risk
        return texts(
            "lot_plan.zero",
            limiting=percent_words(plan.limiting_percent, texts),
            risk=percent_words(risk, texts),
        )
    key = "lot_plan.variables" if plan.method == "variables" else "lot_plan.attributes"
    told = texts(key, level=plan.level, aql=percent_words(plan.aql_percent, texts))
    if plan.severity is None:
        return told
    return texts("lot_plan.severely", told=told, severity=severity_words(plan.severity, texts))


def plan_line(plan: SamplingPlan, texts: Texts) -> Line:
    """Return a plan in a sentence: what is tested, and with what the lot is accepted."""
    key = "lot_plan.test_all" if plan.whole_lot else "lot_plan.test"
    tested = (
        texts(key, count=plan.lot_size)
        if plan.whole_lot
        else texts(key, sample=plan.sample_size, count=plan.lot_size)
    )
    if plan.method == "variables":
        names: Line = ()
        for name in plan.characteristics:
            names = line(names, ", " if names else "", characteristic_line(name, texts))
        if plan.largest_percent is not None:
            most = f"{plan.largest_percent:g}"
            return texts.line("lot_plan.accept_percent", tested=tested, names=names, most=most)
        least = number(None, texts) if plan.constant_k is None else f"{plan.constant_k:g}"
        return texts.line("lot_plan.accept_quality", tested=tested, names=names, least=least)
    if plan.accept == 0 and plan.reject == 1:
        return texts.line("lot_plan.accept_none", tested=tested, accept=0, reject=1)
    return texts.line("lot_plan.accept", tested=tested, accept=plan.accept, reject=plan.reject)


def judged(item: LotItem) -> tuple[VariablesDecision, ...]:
    """Return what a plan by variables says: of a closed lot as it was decided."""
    closed = item.state.closed
    return closed.variables if closed is not None and closed.variables else item.variables


def listed(names: Sequence[str]) -> Line:
    """Return all names, with commas."""
    told: Line = ()
    for name in names:
        told = line(told, ", " if told else "", Given(name))
    return told


def some_reels(reels: Sequence[str], texts: Texts) -> Line:
    """Return names of reels; of very many the first and how many there are."""
    if len(reels) <= _MOST_NAMED:
        return listed(reels)
    return texts.line("lot.and_more", names=listed(reels[:_MOST_NAMED]), count=len(reels) - _MOST_NAMED)


def worst_margin(result: ReelResult) -> ReelMargin | None:
    """Return the smallest margin in decibels of a reel; in nanoseconds where there is none in decibels."""
    known = [each for each in result.margins if each.margin is not None]
    in_db = [each for each in known if each.parameter.unit == "dB"]
    return min(in_db or known, key=lambda each: each.margin or 0.0, default=None)


def margin_words(found: ReelMargin, texts: Texts) -> str:
    """Return a margin in short: ``NEXT, end A, pairs 12-36: -0.42 dB at 250.00 MHz``."""
    what = trace_words(found.parameter, found.end, found.pairs, texts)
    told = signed(found.margin, texts)
    if found.frequency_hz is None:
        return texts("lot.margin", what=what, margin=told, unit=found.parameter.unit)
    return texts(
        "lot.margin_at",
        what=what,
        margin=told,
        unit=found.parameter.unit,
        frequency=megahertz(found.frequency_hz),
    )
