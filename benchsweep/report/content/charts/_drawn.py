"""The charts as pictures with captions, as a document holds them."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.report import chart as drawing
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content.charts._cable import cable_charts
from benchsweep.report.content.charts._distance import distance_charts
from benchsweep.report.content.charts._frame import Captioned
from benchsweep.report.content.charts._parameters import Detail, alien_charts, parameter_charts
from benchsweep.report.content.charts._series import series_charts
from benchsweep.report.document import Drawn
from benchsweep.report.text import Texts

__all__ = [
    "alien_drawings",
    "cable_drawings",
    "distance_drawings",
    "drawn",
    "parameter_drawings",
    "series_drawings",
]


def drawn(charts: Sequence[Captioned]) -> tuple[Drawn, ...]:
    """Return charts as pictures."""
    return tuple(Drawn(drawing.picture(chart), caption) for chart, caption in charts)


def parameter_drawings(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Detail = "full"
) -> tuple[Drawn, ...]:
    """Return the pictures of `parameter_charts`."""
    return drawn(parameter_charts(group, texts, prefix=prefix, detail=detail))


def alien_drawings(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Detail = "full"
) -> tuple[Drawn, ...]:
    """Return the pictures of `alien_charts`."""
    return drawn(alien_charts(group, texts, prefix=prefix, detail=detail))


def distance_drawings(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `distance_charts`."""
    return drawn(distance_charts(group, texts, prefix=prefix))


def cable_drawings(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `cable_charts`."""
    return drawn(cable_charts(group, texts, prefix=prefix))


def series_drawings(item: SeriesItem, texts: Texts, *, prefix: str) -> tuple[Drawn, ...]:
    """Return the pictures of `series_charts`."""
    return drawn(series_charts(item.summary, texts, prefix=prefix))
