"""The head of a report on a field tester, as of a certificate: whose tester, compared where, with what.

What ISO/IEC 17025:2017, clause 7.8.2.1, wants of every report is told in `_document_head`; a comparison has
no sampling, and its item is the tester.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._comparison_opening import simulated_comparison
from benchsweep.report.content._measured import ambient_line
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import Fact, fact, facts, given, short_digest
from benchsweep.report.document import Block, Given, Line, Paragraph, line
from benchsweep.report.text import Texts, length_words

__all__ = ["comparison_head", "derived_comparison_number"]


def derived_comparison_number(item: ComparisonItem) -> str:
    """Return twelve hexadecimal digits that stand for what is reported: the same for the same comparison."""
    found = item.comparison
    return short_digest(
        [
            found.tester,
            found.channel,
            item.number,
            found.record_digest,
            found.source_digest,
            found.outcome.value,
            item.digest,
        ]
    )


def comparison_head(
    item: ComparisonItem, number: str, particulars: Particulars, texts: Texts
) -> tuple[Block, ...]:
    """Return the head: what was given, what the histories say, and in one line what nobody stated."""
    blocks: list[Block] = [facts(_facts(item, number, particulars, texts))]
    known = {
        "head.laboratory": particulars.laboratory,
        "head.address": particulars.address,
        "head.customer": particulars.customer,
        "head.condition": particulars.condition,
        "head.received": particulars.received_on,
        "head.traceability": particulars.traceability,
        "head.ambient": item.temperature_degc is not None,
        "head.issued": particulars.issued_on,
        "head.authorised": particulars.authorised_by,
    }
    missing = [texts(key) for key, value in known.items() if not value]
    if missing:
        blocks.append(Paragraph((texts("head.not_stated", names=", ".join(missing)),), legend=True))
    blocks += [Paragraph(one) for one in _lines(particulars.statement)]
    blocks.append(Paragraph((texts("comparison_head.relates"),), legend=True))
    return tuple(blocks)


def _facts(item: ComparisonItem, number: str, particulars: Particulars, texts: Texts) -> Iterator[Fact]:
    found = item.comparison
    told = (Given(number),)
    yield fact(
        texts("head.number"),
        told if particulars.number else texts.line("comparison_head.derived", number=told),
    )
    yield fact(texts("head.laboratory"), given(particulars.laboratory), *_lines(particulars.address))
    yield fact(texts("head.location"), given(particulars.location))
    yield fact(texts("head.customer"), given(particulars.customer), *_lines(particulars.customer_address))
    yield fact(texts("head.order"), given(particulars.order))
    yield fact(texts("comparison_head.tester"), given(found.tester), *_lines(item.tester.remarks))
    yield fact(texts("comparison_head.declared"), given(item.tester.accuracy))
    yield fact(texts("comparison_head.repairs"), given(item.repairs))
    yield fact(texts("head.condition"), *_lines(particulars.condition))
    yield fact(texts("head.received"), given(particulars.received_on))
    parts = [given(part) for part in item.channel.parts]
    length = (length_words(item.channel.length_m, texts),) if item.channel.length_m is not None else ()
    yield fact(texts("comparison_head.channel"), given(found.channel), *parts, length)
    yield fact(texts("head.origin"), simulated_comparison(item, texts))
    yield fact(texts("head.method"), texts("comparison_head.method"))
    yield fact(texts("comparison_head.requirement"), given(found.requirement))
    yield fact(texts("head.decision_rule"), texts("comparison_head.rule"))
    yield fact(texts("head.deviations"), *_lines(particulars.deviations))
    yield fact(texts("head.traceability"), *_lines(particulars.traceability))
    if item.temperature_degc is not None:
        yield fact(
            texts("head.ambient"), ambient_line("temperature_degc", f"{item.temperature_degc:g}", texts)
        )
    yield fact(texts("comparison_head.bench"), given(item.measured_at[:10]))
    yield fact(texts("comparison_head.measured"), given(found.measured_at[:10]))
    yield fact(texts("comparison_head.compared"), given(found.at[:10]))
    yield fact(texts("head.issued"), given(particulars.issued_on))
    authorised = given(particulars.authorised_by)
    if authorised and particulars.function:
        authorised = line(authorised, ", ", Given(particulars.function))
    yield fact(texts("head.authorised"), authorised)


def _lines(text: str) -> list[Line]:
    return [given(one.strip()) for one in text.splitlines() if one.strip()]
