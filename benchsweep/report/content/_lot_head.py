"""The head of a report on a lot, as of a certificate: who tested what for whom, by which plan, when.

What ISO/IEC 17025:2017, clause 7.8.2.1, wants of every report is told in `_document_head`; here sampling (k)
is the plan of the lot itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.report.content._lot_doubts import simulated_line
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._lot_words import plan_kind, plan_line
from benchsweep.report.content._measured import ambient_line
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import Fact, fact, facts, given, short_digest
from benchsweep.report.content._verdict import rule_words
from benchsweep.report.document import Block, Given, Line, Paragraph, line
from benchsweep.report.text import Texts

__all__ = ["derived_lot_number", "lot_head"]


def derived_lot_number(item: LotItem) -> str:
    """Return twelve hexadecimal digits that stand for what is reported: the same for the same history.

    They are the first of a SHA-256 over the digest of the history, the draw and the records that count.
    """
    state = item.state
    told = [
        item.digest,
        state.opened.lot,
        state.opened.seed,
        [[reel, added.record, added.result.outcome.value] for reel, added in state.counting.items()],
        None if state.closed is None else state.closed.accepted,
    ]
    return short_digest(told)


def lot_head(item: LotItem, number: str, particulars: Particulars, texts: Texts) -> tuple[Block, ...]:
    """Return the head: what was given, what the history says, and in one line what nobody stated."""
    blocks: list[Block] = [facts(_facts(item, number, particulars, texts))]
    known = {
        "head.laboratory": particulars.laboratory,
        "head.address": particulars.address,
        "head.customer": particulars.customer,
        "head.condition": particulars.condition,
        "head.received": particulars.received_on,
        "head.traceability": particulars.traceability,
        "head.measured": _dates(item),
        "head.issued": particulars.issued_on,
        "head.authorised": particulars.authorised_by,
    }
    missing = [texts(key) for key, value in known.items() if not value]
    if missing:
        blocks.append(Paragraph((texts("head.not_stated", names=", ".join(missing)),), legend=True))
    blocks += [Paragraph(one) for one in _lines(particulars.statement)]
    blocks.append(Paragraph((texts("lot_head.relates"),), legend=True))
    return tuple(blocks)


def _facts(item: LotItem, number: str, particulars: Particulars, texts: Texts) -> Iterator[Fact]:
    opened = item.state.opened
    told = (Given(number),)
    yield fact(
        texts("head.number"), told if particulars.number else texts.line("lot_head.derived", number=told)
    )
    yield fact(texts("head.laboratory"), given(particulars.laboratory), *_lines(particulars.address))
    yield fact(texts("head.location"), given(particulars.location))
    yield fact(texts("head.customer"), given(particulars.customer), *_lines(particulars.customer_address))
    yield fact(texts("head.order"), given(particulars.order))
    yield fact(texts("lot_head.lot"), given(opened.lot))
    yield fact(texts("lot_head.supplier"), given(opened.supplier))
    yield fact(texts("lot_head.product"), given(opened.product))
    yield fact(texts("lot_head.reels"), _reels(opened.reels, texts))
    yield fact(texts("head.condition"), *_lines(particulars.condition))
    yield fact(texts("head.received"), given(particulars.received_on))
    plan = item.state.plan
    sampling = [line(plan_kind(plan, texts)), plan_line(plan, texts), *_lines(particulars.sampling)]
    yield fact(texts("head.sampling"), *sampling)
    yield fact(texts("head.origin"), simulated_line(item, texts))
    yield fact(texts("head.method"), texts("lot_head.method"))
    edition = given(opened.edition)
    yield fact(texts("head.against"), line(Given(opened.requirement), ", " if edition else "", edition))
    rule = rule_words(opened.decision_rule, texts)
    yield fact(texts("head.decision_rule"), line(given(opened.decision_rule), ": " if rule else "", rule))
    yield fact(texts("head.deviations"), *_lines(particulars.deviations))
    yield fact(texts("head.traceability"), *_lines(particulars.traceability))
    yield fact(texts("head.ambient"), _temperature(item, texts))
    dates = _dates(item)
    if len(dates) > 1:
        yield fact(
            texts("head.measured"), texts.line("head.span", first=Given(dates[0]), last=Given(dates[-1]))
        )
    elif dates:
        yield fact(texts("head.measured"), given(dates[0]))
    yield fact(texts("head.issued"), given(particulars.issued_on))
    authorised = given(particulars.authorised_by)
    if authorised and particulars.function:
        authorised = line(authorised, ", ", Given(particulars.function))
    yield fact(texts("head.authorised"), authorised)


def _lines(text: str) -> list[Line]:
    return [given(one.strip()) for one in text.splitlines() if one.strip()]


def _reels(reels: tuple[str, ...], texts: Texts) -> Line:
    if len(reels) == 1:
        return given(reels[0])
    return texts.line("head.from_to", count=len(reels), first=Given(reels[0]), last=Given(reels[-1]))


def _temperature(item: LotItem, texts: Texts) -> Line:
    """Return the temperatures of the reels while they were measured, from the least to the greatest."""
    results = [added.result for added in item.state.counting.values()]
    known = sorted({each.temperature_degc for each in results if each.temperature_degc is not None})
    if not known:
        return ()
    low, high = f"{known[0]:g}", f"{known[-1]:g}"
    value = low if low == high else texts("head.between", low=low, high=high)
    return ambient_line("temperature_degc", value, texts)


def _dates(item: LotItem) -> list[str]:
    times = (added.result.measured_at or added.at for added in item.state.counting.values())
    return sorted({time[:10] for time in times if time})
