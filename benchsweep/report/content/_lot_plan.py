"""How a lot is sampled, why so severely, and what such a plan accepts."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from benchsweep.records import OperatingCurve, SamplingPlan
from benchsweep.report.content import charts
from benchsweep.report.content._budget import standing_line
from benchsweep.report.content._limits import limits_table, standing_lines
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_words import (
    characteristic_line,
    judged,
    percent_words,
    plan_kind,
    plan_line,
)
from benchsweep.report.content._pieces import Fact, cells, fact, facts, given
from benchsweep.report.document import (
    Block,
    Column,
    Given,
    Items,
    Line,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
    line,
)
from benchsweep.report.text import Texts, number, signed

__all__ = ["curve_section", "plan_section", "requirement_section"]

_JUDGED = {True: "lot.passes", False: "lot.refused", None: "lot.not_judged"}


def plan_section(item: LotItem, texts: Texts) -> Section:
    """Return the plan, why this severity, and for a plan by variables what it says of each characteristic."""
    blocks: list[Block] = [facts(_facts(item, texts))]
    decisions = judged(item)
    if decisions:
        columns = (
            Column(texts("lot_plan.characteristic")),
            Column(texts("lot_plan.reels"), number=True),
            Column(texts("lot_plan.mean"), number=True),
            Column(texts("lot_plan.deviation"), number=True),
            Column(texts("lot_plan.quality"), number=True),
            Column(texts("lot_plan.estimated"), number=True),
            Column(texts("lot_plan.normality"), number=True),
            Column(texts("lot_plan.says"), kept=True),
        )
        rows = tuple(
            Row(
                cells(
                    characteristic_line(each.characteristic, texts),
                    str(each.count),
                    signed(each.mean, texts),
                    number(each.deviation, texts, 3),
                    number(each.quality, texts, 3),
                    percent_words(each.estimated_percent, texts),
                    number(each.normality_p, texts, 3),
                    texts(_JUDGED[each.accepted]),
                ),
                "fail" if each.accepted is False else "undecided" if each.accepted is None else "",
            )
            for each in decisions
        )
        blocks.append(Table(columns, rows, (texts("lot_plan.variables_caption"),)))
        told = [
            line(characteristic_line(each.characteristic, texts), ": ", given(each.reason))
            for each in decisions
            if each.words
        ]
        blocks.append(Items(tuple(told)))
    return Section((texts("lot_plan.title"),), tuple(blocks), anchor="plan")


def _facts(item: LotItem, texts: Texts) -> Iterator[Fact]:
    state = item.state
    plan, opened = state.plan, state.opened
    yield fact(texts("lot_plan.plan"), plan_line(plan, texts), _between(plan, texts))
    yield fact(texts("lot_plan.kind"), plan_kind(plan, texts), *_letters(plan, texts))
    yield fact(texts("lot_plan.because"), given(opened.severity_because))
    yield fact(texts("lot_plan.reason"), given(opened.reason))
    if state.replanned:
        earlier = [opened.plan, *(change.plan for change in state.replanned[:-1])]
        told = [
            line(plan_line(one, texts), "; ", texts.line("lot_plan.replaced", reason=Given(change.reason)))
            for one, change in zip(earlier, state.replanned, strict=True)
        ]
        yield fact(texts("lot_plan.before"), *told)
    yield fact(texts("lot_plan.next"), *map(given, item.inspection))
    yield fact(texts("lot_plan.source"), given(plan.source), standing_line(plan.standing, texts))


def _between(plan: SamplingPlan, texts: Texts) -> str:
    if plan.method == "variables" or plan.reject <= plan.accept + 1:
        return ""
    return texts("lot_plan.between", first=plan.accept + 1, last=plan.reject - 1)


def _letters(plan: SamplingPlan, texts: Texts) -> Iterator[str]:
    """Yield code letter and arrow, and that a table asks for more than there is."""
    if plan.plan_letter and plan.plan_letter != plan.code_letter:
        yield texts("lot_plan.arrow", letter=plan.code_letter, plan=plan.plan_letter)
    elif plan.code_letter:
        yield texts("lot_plan.letter", letter=plan.code_letter)
    if plan.whole_lot and plan.table_sample_size > plan.lot_size:
        yield texts("lot_plan.whole", asked=plan.table_sample_size)


def requirement_section(item: LotItem, texts: Texts) -> Section:
    """Return what reels are graded against, with the standing of its limits."""
    opened = item.state.opened
    entries = [
        fact(texts("lot_plan.requirement"), given(opened.requirement)),
        fact(texts("lot_plan.edition"), given(opened.edition)),
        fact(texts("lot_plan.construction"), given(opened.construction)),
        fact(texts("lot_plan.text_digest"), given(opened.requirement_digest)),
    ]
    blocks: list[Block] = [facts(entries)]
    if item.limits:
        blocks.append(Items(tuple(standing_lines(item.limits.values(), texts))))
        table = limits_table(item.limits, texts)
        lines = Section((texts("lot_plan.limit_lines"),), (table,), folded=True)
        blocks += [lines, Paragraph((texts("limits_used.legend"),), legend=True)]
    return Section((texts("lot_plan.requirement_title"),), tuple(blocks), anchor="requirement")


def curve_section(curve: OperatingCurve, texts: Texts) -> Section:
    """Return what the plan accepts: a chart, the risks, average outgoing quality."""
    blocks: list[Block] = [*charts.operating_drawings(curve, texts, prefix="plan-")]
    blocks.append(_points(curve, texts))
    entries = [
        fact(texts("lot_curve.producer"), _producer(curve, texts)),
        fact(texts("lot_curve.consumer"), _consumer(curve, texts)),
        fact(texts("lot_curve.outgoing"), _outgoing(curve, texts)),
    ]
    blocks.append(facts(entries))
    legend = texts("lot_curve.legend")
    if curve.lot_percent.size:
        legend = f"{legend} {texts('lot_curve.legend_lot')}"
    if curve.scheme_accepted is not None:
        legend = f"{legend} {texts('lot_curve.legend_scheme')}"
    blocks.append(Paragraph((legend,), legend=True))
    return Section((texts("lot_curve.title"),), tuple(blocks), anchor="operating-curve")


def _points(curve: OperatingCurve, texts: Texts) -> Table:
    """Return the points of the curve by which plans are compared, least percentage first."""
    plan = curve.plan
    found: list[tuple[float, str]] = [
        (curve.producer_percent, texts("lot_curve.at_95")),
        (curve.indifferent_percent, texts("lot_curve.at_50")),
        (curve.consumer_percent, texts("lot_curve.at_10")),
    ]
    if plan.aql_percent is not None and plan.aql_percent <= curve.percent[-1]:
        found.append((plan.aql_percent, texts("lot_curve.at_aql")))
    if plan.limiting_percent is not None and plan.limiting_percent <= curve.percent[-1]:
        found.append((plan.limiting_percent, texts("lot_curve.at_limiting")))
    rows = []
    for percent, name in sorted(found):
        accepted = 100.0 * float(np.interp(percent, curve.percent, curve.accepted))
        outgoing = float(np.interp(percent, curve.percent, curve.outgoing_percent))
        inspected = float(np.interp(percent, curve.percent, curve.inspected))
        rows.append(
            Row(
                cells(
                    name,
                    percent_words(percent, texts),
                    number(accepted, texts, 1),
                    number(outgoing, texts, 3),
                    number(inspected, texts, 1),
                )
            )
        )
    columns = (
        Column(texts("lot_curve.point")),
        Column(texts("lot_curve.process"), number=True),
        Column(texts("lot_curve.accepted"), number=True),
        Column(texts("lot_curve.aoq"), number=True),
        Column(texts("lot_curve.tested"), number=True),
    )
    return Table(columns, tuple(rows), (texts("lot_curve.caption"),))


def _producer(curve: OperatingCurve, texts: Texts) -> Line:
    if curve.producer_risk is None or curve.plan.aql_percent is None:
        return ()
    risk = percent_words(100.0 * curve.producer_risk, texts)
    return (texts("lot_curve.producer_risk", risk=risk, aql=percent_words(curve.plan.aql_percent, texts)),)


def _consumer(curve: OperatingCurve, texts: Texts) -> Line:
    plan = curve.plan
    told = texts("lot_curve.consumer_risk", percent=percent_words(curve.consumer_percent, texts))
    if plan.limiting_percent is None or plan.consumer_risk is None:
        return (told,)
    limiting = percent_words(plan.limiting_percent, texts)
    promised = texts(
        "lot_curve.promised", limiting=limiting, risk=percent_words(100.0 * plan.consumer_risk, texts)
    )
    return line(told, "; ", Strong(promised))


def _outgoing(curve: OperatingCurve, texts: Texts) -> Line:
    if not np.isfinite(curve.outgoing_limit_percent):
        return ()
    most = percent_words(curve.outgoing_limit_percent, texts)
    return (texts("lot_curve.aoql", most=most, at=percent_words(curve.outgoing_limit_at, texts)),)
