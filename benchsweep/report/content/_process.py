"""A product over its lots: signals, capability with its bound, tolerance limits, control charts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import ChartSignal, ControlChart, ProcessView
from benchsweep.report.content import charts
from benchsweep.report.content._pieces import fact as named_fact
from benchsweep.report.content._pieces import facts, given
from benchsweep.report.content._process_tables import capability_table, tolerance_table
from benchsweep.report.document import (
    Block,
    Drawn,
    Given,
    Items,
    Line,
    Paragraph,
    Section,
    Strong,
    line,
)
from benchsweep.report.text import Texts, parameter_words

__all__ = ["parameter_what", "process_blocks", "process_section", "signals_of"]

_MOST_POINTS = 4


def process_section(views: Sequence[ProcessView], texts: Texts) -> Section:
    """Return a product over its lots, with fewer charts than `process_blocks` draws at the most."""
    blocks = process_blocks(views, texts, prefix="process-", whole=False)
    return Section((texts("process.title"),), blocks, anchor="process")


def process_blocks(
    views: Sequence[ProcessView], texts: Texts, *, prefix: str, whole: bool
) -> tuple[Block, ...]:
    """Return what is told of views: each requirement by itself, signals first.

    Parameters
    ----------
    prefix
        Names charts, unique in the document.
    whole
        Draw every chart; else the chart of single values, the one that sees slow drift, and those with a
        decisive signal.
    """
    blocks: list[Block] = []
    requirements = list(dict.fromkeys(view.requirement for view in views))
    for place, requirement in enumerate(requirements, start=1):
        of = [view for view in views if view.requirement == requirement]
        part = f"{prefix}{place}-"
        inner = _requirement(of, texts, part, whole=whole)
        if len(requirements) == 1:
            blocks += inner
        else:
            blocks.append(Section(texts.line("process.against", requirement=Given(requirement)), inner))
    return tuple(blocks)


def signals_of(
    views: Sequence[ProcessView], *, decisive: bool
) -> list[tuple[ProcessView, ControlChart, ChartSignal]]:
    """Return all signals of a kind, view by view."""
    return [
        (view, chart, signal)
        for view in views
        for chart in view.charts
        for signal in chart.signals
        if signal.decisive == decisive
    ]


def _requirement(
    views: Sequence[ProcessView], texts: Texts, prefix: str, *, whole: bool
) -> tuple[Block, ...]:
    blocks: list[Block] = [facts(_facts(views[0], texts))]
    blocks.append(_signals(views, texts))
    blocks.append(capability_table(views, texts))
    blocks.append(Paragraph((texts("process.capability_legend"),), legend=True))
    blocks.append(tolerance_table(views, texts))
    blocks.append(Paragraph((texts("process.tolerance_legend"),), legend=True))
    notes = _notes(views, texts)
    if notes:
        blocks.append(Section((texts("process.notes"),), (Items(notes),)))
    drawings: list[Block] = []
    for view in views:
        drawings += _drawings(view, texts, prefix, whole=whole)
    if drawings:
        legend = Paragraph((texts("process.charts_legend"),), legend=True)
        blocks.append(Section((texts("process.charts"),), (legend, *drawings)))
    return tuple(blocks)


def _facts(view: ProcessView, texts: Texts) -> Iterator[tuple[Line, tuple[Line, ...]]]:
    lots = list(dict.fromkeys(view.lots))
    yield named_fact(texts("process.product"), given(view.product))
    yield named_fact(texts("process.supplier"), given(view.supplier) or (texts("process.suppliers"),))
    yield named_fact(texts("process.requirement"), given(view.requirement))
    if lots:
        told = given(lots[0])
        if len(lots) > 1:
            told = texts.line("head.from_to", count=len(lots), first=Given(lots[0]), last=Given(lots[-1]))
        yield named_fact(texts("process.lots"), told)
    times = sorted(time[:10] for time in view.measured_at if time)
    if times:
        span = texts.line("head.span", first=Given(times[0]), last=Given(times[-1]))
        yield named_fact(texts("process.measured"), span)


def parameter_what(view: ProcessView, texts: Texts) -> str:
    """Return the parameter of a view, and the end where it is of one."""
    told = parameter_words(view.parameter, texts)
    return told if view.end is None else f"{told}, {texts('where.end', end=view.end)}"


def _signals(views: Sequence[ProcessView], texts: Texts) -> Section:
    decisive = list(_told(signals_of(views, decisive=True), texts))
    informing = list(_told(signals_of(views, decisive=False), texts))
    blocks: list[Block] = []
    if decisive:
        blocks.append(Items(tuple(decisive)))
    else:
        blocks.append(Paragraph((texts("process.no_signal"),)))
    if informing:
        folded = (Items(tuple(informing)), Paragraph((texts("process.runs_legend"),), legend=True))
        blocks.append(Section((texts("process.runs", count=len(informing)),), folded, folded=True))
    return Section((texts("process.signals"),), tuple(blocks))


def _told(signals: Sequence[tuple[ProcessView, ControlChart, ChartSignal]], texts: Texts) -> Iterator[Line]:
    """Yield a line for each rule that a chart breaks: by which points, and with which it could be seen."""
    found: dict[tuple[int, str], list[tuple[ProcessView, ControlChart, ChartSignal]]] = {}
    for entry in signals:
        found.setdefault((id(entry[1]), entry[2].rule), []).append(entry)
    for group in found.values():
        view, chart, first = group[0]
        points: Line = ()
        for _, _, signal in group:
            points = line(points, ", " if points else "", _points(chart, signal.points, texts))
        head = texts(
            "process.signal_head",
            what=parameter_what(view, texts),
            chart=charts.chart_name(view, chart, texts),
        )
        told = texts.line(
            "process.signal",
            head=Strong(head) if first.decisive else head,
            words=Given(first.words),
            rule=Given(first.rule),
            points=points,
        )
        if len(group) > 1 or len(first.points) > 1:
            seen = min(signal.noticed for _, _, signal in group)
            told = texts.line("process.noticed", told=told, point=_point(chart, seen, texts))
        yield told


def _points(chart: ControlChart, points: Sequence[int], texts: Texts) -> Line:
    if len(points) > _MOST_POINTS:
        first, last = _point(chart, points[0], texts), _point(chart, points[-1], texts)
        return texts.line("process.points_from_to", first=first, last=last)
    told: Line = ()
    for place in points:
        told = line(told, ", " if told else "", _point(chart, place, texts))
    return told


def _point(chart: ControlChart, place: int, texts: Texts) -> Line:
    return texts.line("process.point", label=Given(chart.labels[place]), number=place + 1)


def _notes(views: Sequence[ProcessView], texts: Texts) -> tuple[Line, ...]:
    """Return what a reader must know, each once with what it is about."""
    found: dict[str, list[str]] = {}
    for view in views:
        for note in view.notes:
            found.setdefault(note, []).append(parameter_what(view, texts))
    return tuple(
        given(note)
        if len(about) == len(views)
        else texts.line("process.note_on", about=", ".join(about), note=Given(note))
        for note, about in found.items()
    )


def _drawings(view: ProcessView, texts: Texts, prefix: str, *, whole: bool) -> tuple[Drawn, ...]:
    chosen = list(view.charts)
    if not whole:
        single = next((chart for chart in chosen if chart.kind == "individuals"), None)
        drift = next((chart for chart in chosen if chart.kind == "ewma"), None)
        chosen = [
            chart
            for chart in chosen
            if chart in (single, drift) or any(signal.decisive for signal in chart.signals)
        ]
    return charts.control_drawings(view, texts, prefix=prefix, chosen=chosen)
