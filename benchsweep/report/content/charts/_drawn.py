"""The charts as pictures with captions, as a document holds them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from benchsweep.records import ControlChart, OperatingCurve, ProcessView
from benchsweep.report import chart as drawing
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content.charts._apart import ReadApart
from benchsweep.report.content.charts._cable import cable_charts
from benchsweep.report.content.charts._compared import compared_charts
from benchsweep.report.content.charts._control import control_charts, followed_charts
from benchsweep.report.content.charts._difference import agreement_charts, difference_charts
from benchsweep.report.content.charts._distance import distance_charts
from benchsweep.report.content.charts._frame import Captioned
from benchsweep.report.content.charts._kept import Gathered, Kept, kept_of
from benchsweep.report.content.charts._lot_margins import lot_margin_charts
from benchsweep.report.content.charts._lot_traces import lot_trace_charts
from benchsweep.report.content.charts._operating import operating_charts
from benchsweep.report.content.charts._parameters import Detail, alien_charts, parameter_charts
from benchsweep.report.content.charts._series import series_charts
from benchsweep.report.content.charts._spread import spread_charts
from benchsweep.report.document import Drawn
from benchsweep.report.text import Texts

__all__ = [
    "agreement_drawings",
    "alien_drawings",
    "cable_drawings",
    "control_drawings",
    "difference_drawings",
    "distance_drawings",
    "drawn",
    "followed_drawings",
    "gathered_drawings",
    "lot_margin_drawings",
    "lot_trace_drawings",
    "operating_drawings",
    "overview_drawings",
    "parameter_drawings",
    "series_drawings",
]


def drawn(charts: Sequence[Captioned], *, readout: bool = True, coarse: bool = False) -> tuple[Drawn, ...]:
    """Return charts as pictures; with `readout` their values can be read off; `coarse`: in fewer letters."""
    return tuple(
        Drawn(drawing.picture(chart, readout=readout, coarse=coarse), caption) for chart, caption in charts
    )


def parameter_drawings(
    group: Sequence[ReportItem],
    texts: Texts,
    *,
    prefix: str,
    detail: Detail = "full",
    judged: bool | None = None,
) -> tuple[Drawn, ...]:
    """Return the pictures of `parameter_charts`."""
    made = parameter_charts(group, texts, prefix=prefix, detail=detail, judged=judged)
    return drawn(made, coarse=detail == "brief")


def alien_drawings(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Detail = "full"
) -> tuple[Drawn, ...]:
    """Return the pictures of `alien_charts`."""
    return drawn(alien_charts(group, texts, prefix=prefix, detail=detail), coarse=detail == "brief")


def distance_drawings(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `distance_charts`."""
    return drawn(distance_charts(group, texts, prefix=prefix))


def cable_drawings(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `cable_charts`."""
    return drawn(cable_charts(group, texts, prefix=prefix))


def series_drawings(item: SeriesItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `series_charts`."""
    return drawn(series_charts(item.summary, texts, prefix=prefix))


def overview_drawings(
    groups: Iterable[Sequence[ReportItem]], texts: Texts, *, prefix: str
) -> tuple[Drawn, ...]:
    """Return the pictures of many measurements together, each of `groups` the items of one.

    One after the other is taken from `groups`; what is kept of each is told at `Kept`.
    """
    return gathered_drawings(map(kept_of, groups), texts, prefix=prefix)


def gathered_drawings(kept: Iterable[Kept], texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of many measurements together, from what was kept of each."""
    gathered = Gathered()
    for one in kept:
        gathered.add(one)
    # The x axis of a spread has no numbers, so there is nothing to read off it; a table tells its margins.
    spread = drawn(spread_charts(gathered.kept, texts, prefix=prefix), readout=False)
    return (*spread, *drawn(compared_charts(gathered.kept, texts, prefix=prefix)))


def operating_drawings(curve: OperatingCurve, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the picture of `operating_charts`."""
    return drawn(operating_charts(curve, texts, prefix=prefix))


def lot_margin_drawings(item: LotItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the picture of `lot_margin_charts`; its x axis has no numbers, so nothing is read off it."""
    return drawn(lot_margin_charts(item, texts, prefix=prefix), readout=False)


def lot_trace_drawings(item: LotItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `lot_trace_charts`.

    Values are read off the reels that are told apart: those of a hundred would be megabytes.
    """
    return _read_apart(lot_trace_charts(item, texts, prefix=prefix), coarse=True)


def control_drawings(
    view: ProcessView, texts: Texts, *, prefix: str, chosen: Sequence[ControlChart] | None = None
) -> tuple[Drawn, ...]:
    """Return the picture of `control_charts`."""
    return _read_apart(control_charts(view, texts, prefix=prefix, chosen=chosen))


def followed_drawings(
    charts: Mapping[str, ControlChart], texts: Texts, *, prefix: str, axis: str, unit: str, points: str
) -> tuple[Drawn, ...]:
    """Return the picture of `followed_charts`."""
    return _read_apart(followed_charts(charts, texts, prefix=prefix, axis=axis, unit=unit, points=points))


def difference_drawings(item: ComparisonItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `difference_charts`."""
    return drawn(difference_charts(item, texts, prefix=prefix))


def agreement_drawings(item: ComparisonItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `agreement_charts`; its dots do not follow each other, so none is read off."""
    return drawn(agreement_charts(item, texts, prefix=prefix), readout=False)


def _read_apart(charts: Sequence[ReadApart], *, coarse: bool = False) -> tuple[Drawn, ...]:
    """Return charts as pictures of the whole, with the values of what is read off."""
    made = []
    for one in charts:
        picture = drawing.picture(one.whole, readout=False, coarse=coarse)
        values = drawing.picture(one.read, coarse=coarse).readout
        made.append(Drawn(replace(picture, readout=values), one.caption))
    return tuple(made)
