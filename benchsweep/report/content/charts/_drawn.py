"""The charts as pictures with captions, as a document holds them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchsweep.report import chart as drawing
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content.charts._cable import cable_charts
from benchsweep.report.content.charts._compared import compared_charts
from benchsweep.report.content.charts._distance import distance_charts
from benchsweep.report.content.charts._frame import Captioned
from benchsweep.report.content.charts._kept import Gathered, Kept, kept_of
from benchsweep.report.content.charts._parameters import Detail, alien_charts, parameter_charts
from benchsweep.report.content.charts._series import series_charts
from benchsweep.report.content.charts._spread import spread_charts
from benchsweep.report.document import Drawn
from benchsweep.report.text import Texts

__all__ = [
    "alien_drawings",
    "cable_drawings",
    "distance_drawings",
    "drawn",
    "gathered_drawings",
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
