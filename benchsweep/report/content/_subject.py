"""One measurement in a report, with everything it was graded against."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from benchsweep.records import FOUR_PAIRS, Measurement, Specimen
from benchsweep.report.content import charts
from benchsweep.report.content._budget import budget_section
from benchsweep.report.content._bundle import bundle_section
from benchsweep.report.content._cable import cable_section
from benchsweep.report.content._calibration import calibration_section
from benchsweep.report.content._comments import comments_section
from benchsweep.report.content._doubts import doubt_lines, doubts_section, kept_lines
from benchsweep.report.content._findings_distance import distance_section
from benchsweep.report.content._findings_faults import faults_section
from benchsweep.report.content._fixture import fixture_section
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content._limits import limits_section
from benchsweep.report.content._matrix import matrix_blocks
from benchsweep.report.content._means import Means, means_of
from benchsweep.report.content._measured import measured_section
from benchsweep.report.content._pieces import Fact, fact, facts, given
from benchsweep.report.content._provenance import provenance_section
from benchsweep.report.content._summary import Summary, summary_of
from benchsweep.report.content._traces import traces_section
from benchsweep.report.content._verdict import (
    against_table,
    best_table,
    common_length_m,
    common_notes,
    fails,
    outcome_box,
    verdict_facts,
)
from benchsweep.report.content._verdict_rows import reading_legend, rows_section, worst_blocks
from benchsweep.report.document import Block, Given, Line, Section, line, plain
from benchsweep.report.text import Texts, length_words, wiring_words

__all__ = ["Against", "Detail", "ReportPart", "report_part", "subject_section"]

Detail: TypeAlias = Literal["full", "brief"]
"""``full``: everything; ``brief``: for one among many, whether it passes, why not, and by how much."""


@dataclass(frozen=True, slots=True)
class Against:
    """A requirement as the head of a report names it; title and edition may be empty."""

    name: str
    title: str
    edition: str


@dataclass(frozen=True, slots=True)
class ReportPart:
    """The part of one specimen, and what the rest of the report has to know of it.

    It is small beside a record, and may be made in another process.

    Parameters
    ----------
    section
        What is printed of it.
    summary
        Name, verdicts and time, for the parts about several.
    specimen
        The part under test.
    origin
        ``bench`` or ``touchstone``.
    source_file
        Of an import: the file it came from; else empty.
    ambient
        Conditions while measuring, by name; empty when nobody noted them.
    against
        What it was graded against.
    content_hash
        Of the record; empty when it is not stored.
    kept
        What charts of several show of it.
    means
        With what it was made and graded.
    """

    section: Section
    summary: Summary
    specimen: Specimen
    origin: str
    source_file: str
    ambient: Mapping[str, float]
    against: tuple[Against, ...]
    content_hash: str
    kept: charts.Kept
    means: Means


def report_part(
    group: Sequence[ReportItem], texts: Texts, *, place: int, detail: Detail = "full"
) -> ReportPart:
    """Return the part of one measurement; see `subject_section`."""
    first = group[0]
    section = subject_section(group, texts, place=place, detail=detail)
    return ReportPart(
        section=section,
        summary=summary_of(group, section.anchor, texts),
        specimen=first.measurement.specimen,
        origin=first.measurement.origin,
        source_file=first.measurement.source_file,
        ambient=dict(first.measurement.ambient),
        against=tuple(Against(item.verdict.requirement, item.title, item.edition) for item in group),
        content_hash=first.content_hash,
        kept=charts.kept_of(group),
        means=means_of(group, texts),
    )


def subject_section(
    group: Sequence[ReportItem], texts: Texts, *, place: int, detail: Detail = "full"
) -> Section:
    """Return the section of one measurement.

    Parameters
    ----------
    group
        Its items: one measurement, one item for each requirement; not empty.
    place
        Its number in the report, from 1: its anchor is ``specimen-<place>``, charts in it are named so.
    detail
        How much is told.
    """
    anchor = f"specimen-{place}"
    blocks = tuple(block for block in _blocks(group, texts, anchor, detail) if block is not None)
    used = {pair for trace in group[0].traces for pair in trace.pairs}
    tellable = tuple(pair for pair in FOUR_PAIRS if pair in used)
    return Section(
        _name(group[0], texts), blocks, anchor=anchor, tellable=tellable if len(tellable) > 1 else ()
    )


def _name(item: ReportItem, texts: Texts) -> Line:
    name = Given(item.verdict.specimen)
    if item.sweep is None:
        return (name,)
    return texts.line("specimen.sweep", specimen=name, number=item.sweep)


def _blocks(group: Sequence[ReportItem], texts: Texts, anchor: str, detail: Detail) -> Iterator[Block | None]:
    findings = findings_of(group)
    failing = fails(group)
    full = detail == "full"
    several = len(group) > 1
    anchors = [f"{anchor}-{number}" for number in range(1, len(group) + 1)]
    doubts = doubt_lines(group, texts)
    if several:
        yield against_table(group, anchors, texts)
        yield doubts_section(doubts, texts)
    else:
        yield outcome_box(group[0].verdict, texts, doubts)
    yield faults_section(group, texts)
    yield best_table(findings.best, texts)
    yield facts(_facts(group, texts, detail))
    if several:
        told = common_notes(group)
        length = common_length_m(group) is None
        for number, (item, own) in enumerate(zip(group, anchors, strict=True), start=1):
            yield _against(item, number, own, told, texts, length=length)
    else:
        yield from _margins(group[0], texts, folded=False)
    rows = [row for item in group for row in item.verdict.rows]
    if rows and full:
        yield reading_legend(rows, texts)
    yield traces_section(group, texts, prefix=f"{anchor}-", detail=detail)
    yield from _found(group, texts, anchor, failing=failing, full=full)
    if full:
        yield from _rest(group, texts)
    else:
        yield comments_section(group, texts)
        yield facts(_short_provenance(group[0], texts))


def _margins(item: ReportItem, texts: Texts, *, folded: bool) -> Iterator[Block]:
    yield from worst_blocks(item, texts)
    matrix = matrix_blocks(item.verdict, texts)
    if matrix:
        yield Section((texts("matrix.title"),), matrix, folded=folded)


def _against(
    item: ReportItem, number: int, anchor: str, told: Sequence[str], texts: Texts, *, length: bool
) -> Section:
    """Return what one requirement of several says, but for the notes in `told`; `length`: with its length."""
    verdict = item.verdict
    title = texts.line("against.title", number=number, requirement=Given(verdict.requirement))
    blocks = (
        outcome_box(verdict, texts),
        facts(verdict_facts(verdict, told, texts, length=length)),
        *_margins(item, texts, folded=True),
    )
    return Section(title, blocks, anchor=anchor)


def _facts(group: Sequence[ReportItem], texts: Texts, detail: Detail) -> Iterator[Fact]:
    first = group[0]
    measurement = first.measurement
    yield fact(texts("facts.wiring"), *_wiring(group, texts))
    if len(group) == 1:
        yield from verdict_facts(first.verdict, (), texts)
    else:
        length_m = common_length_m(group)
        yield fact(texts("facts.length_used"), "" if length_m is None else length_words(length_m, texts))
        yield fact(texts("facts.note"), *map(given, common_notes(group)))
    yield fact(texts("facts.kept"), *kept_lines(group, texts))
    yield fact(_taken_at(measurement, texts), given(measurement.created_at))
    if measurement.reduced_at and detail == "full":
        at, reason = Given(measurement.reduced_at), Given(measurement.reason)
        yield fact(texts("facts.reduced_again"), line(at, ": " if measurement.reason else "", reason))


def _wiring(group: Sequence[ReportItem], texts: Texts) -> Iterator[Line]:
    """Yield the wiring check in sentences, without what the faults above it say already."""
    wiring = group[0].verdict.wiring
    faults = findings_of(group).faults
    named = {(fault.kind, frozenset(fault.pairs)) for fault in faults}
    told = {fault.words for fault in faults}
    told |= {
        finding.words
        for finding in (() if wiring is None else wiring.findings)
        if (finding.kind, frozenset(finding.pairs)) in named
    }
    lines = wiring_words(wiring, texts)
    rest = [one for one in lines if plain(one) not in told]
    if len(rest) == 1 and len(lines) > 1:
        yield texts.line("wiring.see_above", told=rest[0])
    else:
        yield from rest


def _taken_at(measurement: Measurement, texts: Texts) -> str:
    return texts("facts.imported_at") if measurement.origin == "touchstone" else texts("facts.measured_at")


def _found(
    group: Sequence[ReportItem], texts: Texts, anchor: str, *, failing: bool, full: bool
) -> Iterator[Section | None]:
    """Yield what was found out besides the outcome: over the distance, in the bundle, of the cable."""
    if full or failing:
        drawn = charts.distance_drawings(group, texts, prefix=f"{anchor}-")
        yield distance_section(group, texts, drawings=drawn)
    yield bundle_section(group, texts, drawings=charts.alien_drawings(group, texts, prefix=f"{anchor}-"))
    if full:
        yield cable_section(group, texts, drawings=charts.cable_drawings(group, texts, prefix=f"{anchor}-"))


def _rest(group: Sequence[ReportItem], texts: Texts) -> Iterator[Section | None]:
    """Yield how it was measured and graded, all the rows, and where it all comes from."""
    yield measured_section(group, texts)
    yield calibration_section(group, texts)
    yield fixture_section(group, texts)
    yield budget_section(group, texts)
    yield limits_section(group, texts)
    yield comments_section(group, texts)
    yield rows_section(group, texts)
    yield provenance_section(group, texts)


def _short_provenance(item: ReportItem, texts: Texts) -> Iterator[Fact]:
    analyzer = item.measurement.analyzer
    if analyzer is not None and analyzer.simulated:
        yield fact(texts("measured.origin"), texts("simulated.told"))
    yield fact(texts("facts.operator"), given(item.measurement.operator))
    yield fact(texts("facts.record"), given(item.verdict.record) or texts("facts.not_stored"))
    yield fact(texts("facts.content_hash"), given(item.content_hash))
    yield fact(texts("provenance.source_file"), given(item.measurement.source_file))
