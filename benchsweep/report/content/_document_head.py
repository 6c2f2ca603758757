"""The head of a report as of a certificate: who measured what for whom, when, how, and who stands for it.

It holds what ISO/IEC 17025:2017, clause 7.8.2.1, wants of every report (the list is from memory): title (a),
laboratory and its address (b), where the work was done (c), unique number and a clear end (d), customer (e),
method (f), item and its condition (g), when it came in (h), when the work was done (i), date of issue (j),
sampling (k), that results relate to the items only (l), deviations from the method (n), who authorises it
(o), what came from outside (p); and that it is reproduced in full only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields

from benchsweep.records import Specimen
from benchsweep.report.content._measured import ambient_line
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import Fact, fact, facts, given
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content._subject import ReportPart
from benchsweep.report.content._verdict import DECISION_RULE, rule_words
from benchsweep.report.document import Block, Given, Line, Paragraph, line
from benchsweep.report.text import Texts

__all__ = ["Reported", "head_blocks", "simulated_words"]

_MOST_NAMED = 5
_WANTED = (
    ("laboratory", "head.laboratory"),
    ("address", "head.address"),
    ("customer", "head.customer"),
    ("condition", "head.condition"),
    ("received_on", "head.received"),
    ("traceability", "head.traceability"),
    ("ambient", "head.ambient"),
    ("measured", "head.measured"),
    ("issued_on", "head.issued"),
    ("authorised_by", "head.authorised"),
)


@dataclass(frozen=True, slots=True)
class Reported:
    """What a report is about, as its head needs it.

    Parameters
    ----------
    parts
        Of the graded measurements.
    series
        Whose change is reported.
    number
        That identifies the report.
    derived
        Whether the number was derived from the content.
    """

    parts: Sequence[ReportPart]
    series: Sequence[SeriesItem]
    number: str
    derived: bool

    @property
    def simulated(self) -> tuple[int, int]:
        """How many measurements and series are of the simulated bench, and how many there are."""
        flags = [part.summary.simulated for part in self.parts]
        flags += [item.head.analyzer.simulated for item in self.series]
        return sum(flags), len(flags)


def head_blocks(reported: Reported, particulars: Particulars, texts: Texts) -> tuple[Block, ...]:
    """Return the head: what was given, what the records say, and in one line what nobody stated."""
    blocks: list[Block] = [facts(_facts(reported, particulars, texts))]
    known = {field.name: getattr(particulars, field.name) for field in fields(particulars)}
    known["measured"] = _measured_on(reported)
    known["ambient"] = _ambient(reported.parts, texts) or not reported.parts
    missing = [texts(key) for name, key in _WANTED if not known[name]]
    if missing:
        told = texts("head.not_stated", names=", ".join(missing))
        blocks.append(Paragraph((told,), legend=True))
    blocks += [Paragraph(one) for one in _lines(particulars.statement)]
    blocks.append(Paragraph((texts("head.relates"),), legend=True))
    return tuple(blocks)


def _facts(reported: Reported, particulars: Particulars, texts: Texts) -> Iterator[Fact]:
    number = Given(reported.number)
    yield fact(
        texts("head.number"), texts.line("head.derived", number=number) if reported.derived else (number,)
    )
    yield fact(texts("head.laboratory"), given(particulars.laboratory), *_lines(particulars.address))
    yield fact(texts("head.location"), given(particulars.location))
    yield fact(texts("head.customer"), given(particulars.customer), *_lines(particulars.customer_address))
    yield fact(texts("head.order"), given(particulars.order))
    yield fact(_items_name(reported, texts), *_items(reported, texts))
    yield fact(texts("head.condition"), *_lines(particulars.condition))
    yield fact(texts("head.received"), given(particulars.received_on))
    yield fact(texts("head.sampling"), *_lines(particulars.sampling))
    yield fact(texts("head.origin"), simulated_words(reported, texts))
    yield fact(texts("head.method"), *_method(reported, texts))
    yield fact(texts("head.against"), *_against(reported.parts, texts))
    yield fact(texts("head.decision_rule"), *_rules(reported.parts, texts))
    yield fact(texts("head.deviations"), *_lines(particulars.deviations))
    yield fact(texts("head.traceability"), *_lines(particulars.traceability))
    yield fact(texts("head.ambient"), *_ambient(reported.parts, texts))
    yield fact(texts("head.measured"), _span(_measured_on(reported), texts))
    yield fact(texts("head.issued"), given(particulars.issued_on))
    authorised = given(particulars.authorised_by)
    if authorised and particulars.function:
        authorised = line(authorised, ", ", Given(particulars.function))
    yield fact(texts("head.authorised"), authorised)


def _lines(text: str) -> list[Line]:
    return [given(one.strip()) for one in text.splitlines() if one.strip()]


def _specimens(reported: Reported) -> list[Specimen]:
    found = [part.specimen for part in reported.parts] + [item.head.specimen for item in reported.series]
    return list(dict.fromkeys(found))


def _items_name(reported: Reported, texts: Texts) -> str:
    return texts("head.items", count=len(_specimens(reported)))


def _items(reported: Reported, texts: Texts) -> Iterator[Line]:
    """Yield the items by name; of many how many there are, their lots, the first and the last."""
    found = _specimens(reported)
    if len(found) <= _MOST_NAMED:
        for specimen in found:
            told: Line = (Given(specimen.identifier),)
            if specimen.lot:
                told = texts.line("head.of_lot", name=told, lot=Given(specimen.lot))
            told = line(told, ": " if specimen.description else "", given(specimen.description))
            files = dict.fromkeys(
                part.source_file for part in reported.parts if part.specimen == specimen and part.source_file
            )
            yield texts.line("head.from_file", told=told, files=_listed(files)) if files else told
        return
    yield texts.line(
        "head.from_to",
        count=len(found),
        first=Given(found[0].identifier),
        last=Given(found[-1].identifier),
    )
    lots = dict.fromkeys(specimen.lot for specimen in found if specimen.lot)
    if lots:
        yield texts.line("head.lots", count=len(lots), lots=_listed(lots))


def _listed(names: Iterable[str]) -> Line:
    told: Line = ()
    for name in names:
        told = line(told, ", " if told else "", Given(name))
    return told


def _method(reported: Reported, texts: Texts) -> Iterator[Line]:
    origins = {part.origin for part in reported.parts}
    if origins - {"touchstone"}:
        yield (texts("head.method_bench"),)
    if "touchstone" in origins:
        few = len(_specimens(reported)) <= _MOST_NAMED
        yield (texts("head.method_imported" if few else "head.method_imported_many"),)
    if reported.series:
        yield (texts("head.method_series"),)


def _against(parts: Sequence[ReportPart], texts: Texts) -> Iterator[Line]:
    """Yield the requirements with their titles and editions, each once."""
    for one in dict.fromkeys(one for part in parts for one in part.against):
        rest = _listed(text for text in (one.title, one.edition) if text)
        yield line(Given(one.name), ": " if rest else "", rest)


def _rules(parts: Sequence[ReportPart], texts: Texts) -> Iterator[Line]:
    """Yield each decision rule as the verdicts state it, with source and risk; else in words of ours."""
    verdicts = [verdict for part in parts for verdict in part.summary.verdicts]
    for rule in dict.fromkeys(verdict.decision_rule for verdict in verdicts):
        notes = (note for one in verdicts if one.decision_rule == rule for note in one.notes)
        stated = (note.removeprefix(DECISION_RULE) for note in notes if note.startswith(DECISION_RULE))
        words = given(next(stated, "")) or (rule_words(rule, texts),)
        yield line(given(rule), ": " if words[0] else "", words)


def _ambient(parts: Sequence[ReportPart], texts: Texts) -> list[Line]:
    """Return the conditions while measuring, from the least to the greatest; of how many they were noted."""
    noted = [part.ambient for part in parts if part.ambient]
    told: list[Line] = []
    for name in dict.fromkeys(name for ambient in noted for name in ambient):
        values = sorted({ambient[name] for ambient in noted if name in ambient})
        low, high = f"{values[0]:g}", f"{values[-1]:g}"
        value = low if low == high else texts("head.between", low=low, high=high)
        told.append(ambient_line(name, value, texts))
    if told and len(noted) < len(parts):
        told.append(texts.line("head.ambient_of", count=len(noted), whole=len(parts)))
    return told


def simulated_words(reported: Reported, texts: Texts) -> str:
    """Return that some or all of it is practice on the simulated bench; empty where nothing is."""
    count, whole = reported.simulated
    if not count:
        return ""
    return texts("simulated.told") if count == whole else texts("simulated.some", count=count, whole=whole)


def _measured_on(reported: Reported) -> list[str]:
    """Return the dates of the measurements that were made here, in order of time."""
    times = [part.summary.created_at for part in reported.parts if part.origin != "touchstone"]
    times += [time for item in reported.series for time in (item.summary.first_at, item.summary.last_at)]
    return sorted({time[:10] for time in times if time})


def _span(dates: Sequence[str], texts: Texts) -> Line:
    if len(dates) > 1:
        return texts.line("head.span", first=Given(dates[0]), last=Given(dates[-1]))
    return given(dates[0]) if dates else ()
