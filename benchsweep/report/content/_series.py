"""A series: how one hookup changed over time, what happened meanwhile, and how it was recorded."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.records import FOUR_PAIRS, SeriesHead, SeriesSummary
from benchsweep.report.content._calibration import calibration_of
from benchsweep.report.content._comments import comments_of
from benchsweep.report.content._fixture import fixture_of
from benchsweep.report.content._measured import ambient_line, analyzer_lines, grid_line, settings_line
from benchsweep.report.content._pieces import Fact, cells, fact, facts, given
from benchsweep.report.content._provenance import definition_section, software_line
from benchsweep.report.content._series_change import largest_tables, slope_tables
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content.charts import marker_legend, pair_legend, series_drawings
from benchsweep.report.document import Block, Column, Given, Line, Paragraph, Row, Section, Table, line
from benchsweep.report.text import Texts, any_wanders, length_words, number

__all__ = ["series_section"]

_MOST_EVENTS = 100
_KINDS = {
    "gap": "series.kind_gap",
    "power": "series.kind_power",
    "resumed": "series.kind_resumed",
    "late": "series.kind_late",
    "ambient": "series.kind_ambient",
    "clock": "series.kind_clock",
    "lost": "series.kind_lost",
    "ended": "series.kind_ended",
}


def series_section(item: SeriesItem, texts: Texts, *, place: int) -> Section:
    """Return all that is told of a series.

    Parameters
    ----------
    place
        Counts the series of a report from 1; names the section and its charts.
    """
    summary = item.summary
    blocks: list[Block] = [facts(_facts(item, texts))]
    comments = comments_of(item.comments, texts)
    blocks += [] if comments is None else [comments]
    if summary.changes:
        blocks.append(_changes(item, texts, place))
    if summary.events:
        blocks.append(_events(summary, texts))
    head = item.head
    blocks.append(Section((texts("series.recorded"),), (facts(_recorded(head, texts)),)))
    if head.calibration is not None:
        calibration = calibration_of(head.calibration, texts, used_at=head.started_at, settings=head.settings)
        blocks.append(calibration)
    blocks.append(fixture_of(head.fixture_toml, texts))
    blocks.append(_provenance(item, texts))
    title = texts.line("series.title", name=given(item.head.specimen.identifier), count=summary.sweeps)
    used = {pair for change in summary.changes for pair in change.pairs}
    tellable = tuple(pair for pair in FOUR_PAIRS if pair in used)
    return Section(
        title, tuple(blocks), anchor=f"series-{place}", tellable=tellable if len(tellable) > 1 else ()
    )


def _facts(item: SeriesItem, texts: Texts) -> Iterator[Fact]:
    head, summary = item.head, item.summary
    yield fact(texts("series.description"), given(head.description))
    yield fact(texts("series.numbers"), _numbers(summary, texts))
    first, last = Given(summary.first_at), Given(summary.last_at)
    yield fact(texts("series.from"), texts.line("series.from_to", first=first, last=last))
    yield fact(texts("series.ended"), given(summary.ended) or texts("series.not_ended"))
    legs = head.hookup.connections.values()
    attached = dict.fromkeys(leg.partition(".")[0] for leg in legs)
    yield fact(texts("series.attached"), given(", ".join(attached)))
    ambient = [
        texts.line(
            "series.ambient_mean",
            told=ambient_line(name, texts("series.reach", low=f"{low:g}", high=f"{high:g}"), texts),
            mean=f"{mean:.4g}",
        )
        for name, (low, high, mean) in summary.ambient.items()
    ]
    yield fact(texts("measured.ambient"), *(ambient or [(texts("measured.ambient_unknown"),)]))
    if summary.changes:
        kind = "series.changes_corrected" if summary.corrected else "series.changes_raw"
        yield fact(texts("series.changes"), texts(kind))
    yield fact(texts("series.uncertainty"), texts("series.no_uncertainty"))
    yield fact(texts("series.notes"), *map(given, summary.notes))


def _numbers(summary: SeriesSummary, texts: Texts) -> Line:
    if summary.sweeps == 1:
        return (texts("series.one_number", number=summary.first_number),)
    told = texts("series.number_range", first=summary.first_number, last=summary.last_number)
    if not summary.missing:
        return (told,)
    return (texts("series.without", numbers=told, missing=", ".join(map(str, summary.missing))),)


def _changes(item: SeriesItem, texts: Texts, place: int) -> Section:
    summary = item.summary
    blocks: list[Block] = [*largest_tables(summary.changes, texts), *slope_tables(summary, texts)]
    blocks.append(Paragraph((texts("series.legend"),), legend=True))
    if any_wanders(summary):
        blocks.append(Paragraph((texts("series.wanders"),), legend=True))
    drawings = series_drawings(item, texts, prefix=f"series-{place}-")
    if drawings:
        charts = texts("series.charts_legend", markers=marker_legend(texts))
        blocks += [Paragraph((f"{pair_legend(texts)} {charts}",), legend=True), *drawings]
    return Section((texts("series.change"),), tuple(blocks))


def _events(summary: SeriesSummary, texts: Texts) -> Section:
    """Return what happened: how often each kind, then one by one, of very many the first."""
    counts = [
        line(_kind(kind, count, texts), f": {count}") for kind, count in summary.event_counts.items() if count
    ]
    columns = (
        Column(texts("series.at"), kept=True),
        Column(texts("series.kind")),
        Column(texts("series.what")),
        Column("s", number=True),
    )
    rows = tuple(
        Row(
            cells(
                given(event.at),
                _kind(event.kind, 1, texts),
                given(event.words),
                number(event.seconds, texts, 1),
            )
        )
        for event in summary.events[:_MOST_EVENTS]
    )
    blocks: list[Block] = [facts([fact(texts("series.counts"), *counts)])] if counts else []
    blocks.append(Table(columns, rows))
    more = max(sum(summary.event_counts.values()), len(summary.events)) - len(rows)
    if more > 0:
        blocks.append(Paragraph((texts("series.more_events", count=more),), legend=True))
    return Section((texts("series.events"),), tuple(blocks))


def _kind(kind: str, count: int, texts: Texts) -> Line:
    key = _KINDS.get(kind)
    return given(kind) if key is None else (texts(key, count=count),)


def _recorded(head: SeriesHead, texts: Texts) -> Iterator[Fact]:
    specimen = head.specimen
    yield fact(texts("measured.specimen"), given(specimen.identifier), given(specimen.description))
    yield fact(texts("measured.lot"), given(specimen.lot))
    yield fact(texts("measured.product"), given(specimen.product))
    yield fact(texts("measured.length"), length_words(specimen.length_m, texts))
    yield fact(texts("series.started_at"), given(head.started_at))
    yield fact(texts("measured.station"), given(head.station))
    yield fact(texts("measured.operator"), given(head.operator))
    analyzer = head.analyzer
    yield fact(
        texts("measured.analyzer"), *analyzer_lines(analyzer.idn, analyzer.family, analyzer.ports, texts)
    )
    yield fact(texts("measured.grid"), grid_line(head.frequency_hz, texts))
    yield fact(texts("measured.settings"), settings_line(head.settings, texts))
    places = ", ".join(f"{port} {leg}" for port, leg in head.hookup.connections.items())
    yield fact(texts("series.ports"), given(places))
    if head.calibration is None:
        yield fact(texts("series.calibration"), texts("series.no_calibration"))
    if head.safety is not None:
        by, at = Given(head.safety.by), Given(head.safety.at)
        yield fact(
            texts("measured.safety"),
            texts.line("measured.confirmed", by=by, at=at),
            *map(given, head.safety.cautions),
        )


def _provenance(item: SeriesItem, texts: Texts) -> Section:
    entries = [
        fact(texts("provenance.record"), given(item.record) or texts("provenance.not_stored")),
        fact(texts("provenance.content_hash"), given(item.content_hash) or texts("series.no_hash")),
        fact(texts("provenance.software"), software_line(item.head.software)),
    ]
    blocks: list[Block] = [facts(entries)]
    if item.head.fixture_toml:
        title = (texts("provenance.fixture_definition"),)
        blocks.append(definition_section(item.head.fixture_toml, title, texts))
    return Section((texts("provenance.title"),), tuple(blocks))
