"""Control charts of one parameter of a product over its reels and lots."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import ChartKind, ControlChart, ProcessView
from benchsweep.report.chart import Axis, Chart, Curve, Look, Mark, Panel, Span
from benchsweep.report.content.charts._apart import ReadApart
from benchsweep.report.content.charts._frame import named, told_apart
from benchsweep.report.document import clean
from benchsweep.report.text import Texts, number, parameter_words

__all__ = ["CHART_NAMES", "chart_name", "control_charts", "followed_charts", "of_lots"]

CHART_NAMES: Mapping[ChartKind, str] = MappingProxyType(
    {
        "individuals": "process.individuals",
        "moving-range": "process.moving_range",
        "mean": "process.mean_chart",
        "range": "process.range_chart",
        "deviation": "process.deviation_chart",
        "ewma": "process.ewma",
    }
)
"""Keys of what charts are called."""

_VALUE = Look("#0072B2", width=0.7)
_POINT = Look("#0072B2", width=0.0, marker="circle", filled=True)
_SIGNAL = Look("#D55E00", width=0.0, marker="diamond", filled=True)
_INFORMING = Look("#555555", width=0.0, marker="square")
_CENTRE = Look("#000000", width=0.7)
_LIMIT = Look("#882255", (5.0, 2.0), 1.0)
_PANEL_HEIGHT = 150.0
_MANY = 80
"""Of so many points a chart takes the whole width."""
_MOST_NAMED = 3
_MOST_DOTS = 200


def control_charts(
    view: ProcessView, texts: Texts, *, prefix: str, chosen: Sequence[ControlChart] | None = None
) -> list[ReadApart]:
    """Return the control charts of a view in one drawing, each in a panel.

    Points of a decisive signal are filled diamonds with a ring where it was noticed, those of a run rule for
    information open squares; centre and limits are told with their last values at the right.

    Parameters
    ----------
    chosen
        Which of its charts; None: all.
    """
    shown = [each for each in (view.charts if chosen is None else chosen) if np.isfinite(each.value).any()]
    if not shown:
        return []
    panels = tuple(_panel_of(view, each, texts) for each in shown)
    what = parameter_words(view.parameter, texts)
    where = texts("process.worst_of_ends") if view.end is None else texts("where.end", end=view.end)
    told = texts(
        "process.told",
        parameter=what,
        where=where,
        charts=", ".join(chart_name(view, each, texts) for each in shown),
        count=sum(signal.decisive for each in shown for signal in each.signals),
    )
    end = "" if view.end is None else f"-{view.end.lower()}"
    many = any(len(each.labels) > _MANY for each in shown)
    chart = Chart(
        named(prefix, f"control-{view.parameter.value.replace('_', '-')}{end}"),
        told,
        panels,
        across=1 if many or len(shown) == 1 else 2,
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
    )
    read = tuple(_readable(panel, texts) for panel in panels)
    caption = (texts("process.chart_caption", parameter=what, where=where),)
    return [ReadApart(chart, replace(chart, panels=read), caption)]


def _readable(panel: Panel, texts: Texts) -> Panel:
    """Return a panel with the values, then centre and limits, each point by point instead of as steps."""
    values = next(curve for curve in panel.curves if not curve.name and curve.look.width > 0.0)
    levels = [
        replace(curve, x=values.x, y=np.ascontiguousarray(curve.y[::2]))
        for curve in panel.curves
        if curve.name
    ]
    return replace(panel, curves=(replace(values, name=texts("process.value")), *levels))


def of_lots(view: ProcessView, chart: ControlChart) -> bool:
    """Tell whether each point of a chart is a lot; else it is a reel."""
    labels = set(chart.labels)
    return not labels - set(view.lots) and labels != set(view.reels)


def chart_name(view: ProcessView, chart: ControlChart, texts: Texts) -> str:
    """Return what a chart is called, with what its points are."""
    name = texts(CHART_NAMES[chart.kind])
    if not of_lots(view, chart):
        return texts("process.of_reels", chart=name)
    means = chart.kind in ("individuals", "moving-range", "ewma")
    return texts("process.of_lot_means" if means else "process.of_lots", chart=name)


def followed_charts(
    charts: Mapping[str, ControlChart], texts: Texts, *, prefix: str, axis: str, unit: str, points: str
) -> list[ReadApart]:
    """Return control charts that are no margins of a process, by their names, each in a panel.

    Parameters
    ----------
    axis, unit
        Of the values.
    points
        What each point is, for the words of the x axis.
    """
    shown = {name: each for name, each in charts.items() if np.isfinite(each.value).any()}
    if not shown:
        return []
    panels = tuple(_panel(each, clean(name), points, axis, unit, texts) for name, each in shown.items())
    told = texts(
        "followed.told",
        charts=", ".join(clean(name) for name in shown),
        count=sum(signal.decisive for each in shown.values() for signal in each.signals),
    )
    chart = Chart(
        named(prefix, "followed"),
        told,
        panels,
        across=1 if len(shown) == 1 or any(len(each.labels) > _MANY for each in shown.values()) else 2,
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
    )
    read = tuple(_readable(panel, texts) for panel in panels)
    return [ReadApart(chart, replace(chart, panels=read), (texts("followed.caption", points=points),))]


def _panel_of(view: ProcessView, chart: ControlChart, texts: Texts) -> Panel:
    """Return the panel of a chart of a process: of a margin zero is the limit."""
    margin = chart.kind in ("individuals", "mean", "ewma")
    points = texts("process.lots_axis" if of_lots(view, chart) else "process.reels_axis")
    axis = texts("chart.worst_margin") if margin else texts("process.scatter")
    panel = _panel(chart, chart_name(view, chart, texts), points, axis, view.unit, texts)
    return panel if margin else replace(panel, levels=())


def _panel(chart: ControlChart, title: str, points: str, axis: str, unit: str, texts: Texts) -> Panel:
    at = np.arange(1.0, len(chart.labels) + 1.0)
    known = np.isfinite(chart.value)
    steps = _stepped(at)
    decimals = _decimals(chart)
    curves = [
        _level(texts("process.centre"), steps, chart.centre, _CENTRE, decimals, texts),
        _level(texts("process.upper"), steps, chart.upper, _LIMIT, decimals, texts),
        _level(texts("process.lower"), steps, chart.lower, _LIMIT, decimals, texts),
    ]
    found = [each for each in curves if each is not None]
    found.append(Curve("", at, chart.value, _VALUE))
    decisive = {place for signal in chart.signals if signal.decisive for place in signal.points}
    informing = {place for signal in chart.signals if not signal.decisive for place in signal.points}
    plain = np.array([place not in decisive | informing for place in range(at.size)]) & known
    for chosen, look in (
        (plain, _POINT),
        (_those(informing - decisive, at.size) & known, _INFORMING),
        (_those(decisive, at.size) & known, _SIGNAL),
    ):
        # No more dots than the drawing takes in one curve: none of a signal may be left out.
        places = np.flatnonzero(chosen)
        for first in range(0, places.size, _MOST_DOTS):
            part = places[first : first + _MOST_DOTS]
            found.append(Curve("", at[part], chart.value[part], look))
    spans: tuple[Span, ...] = ()
    if 1 < chart.baseline < at.size:
        edge = chart.baseline + 0.5
        spans = (Span(edge, edge, texts("process.baseline"), faint=True),)
    return Panel(
        title=title,
        x=Axis(points, low=0.5, high=at.size + 0.5, ticks=_ticks(chart.labels)),
        y=Axis(axis, unit),
        curves=tuple(found),
        marks=_marks(chart, at),
        spans=spans,
        levels=(0.0,) if _near_zero(chart) else (),
    )


def _near_zero(chart: ControlChart) -> bool:
    """Tell whether zero can be shown without pressing what is shown together."""
    shown = np.concatenate((chart.value, chart.lower, chart.upper, chart.centre))
    shown = shown[np.isfinite(shown)]
    low, high = float(shown.min()), float(shown.max())
    return max(low, -high) <= high - low


def _those(places: set[int], size: int) -> NDArray[np.bool_]:
    found = np.zeros(size, dtype=np.bool_)
    found[list(places)] = True
    return found


def _stepped(at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return both edges of the place of each point, rising."""
    edges: NDArray[np.float64] = np.repeat(at, 2)
    edges[::2] -= 0.5
    edges[1::2] += 0.499
    return edges


def _level(
    what: str,
    steps: NDArray[np.float64],
    values: NDArray[np.float64],
    look: Look,
    decimals: int,
    texts: Texts,
) -> Curve | None:
    """Return centre or a limit as steps, named with its last value; None where there is none."""
    known = values[np.isfinite(values)]
    if not known.size:
        return None
    name = texts("process.level", name=what, value=number(float(known[-1]), texts, decimals))
    return Curve(name, steps, np.repeat(values, 2), look)


def _decimals(chart: ControlChart) -> int:
    """Return how many decimals tell centre and limits apart: two, or more where these are close together."""
    width = np.nanmax(np.append(chart.upper - chart.centre, np.append(chart.centre - chart.lower, 0.0)))
    if not width > 0.0:
        return 2
    return min(max(2, 1 - math.floor(math.log10(float(width)))), 5)


def _ticks(labels: Sequence[str]) -> tuple[tuple[float, str], ...]:
    """Return places and names; where names repeat a part at their beginning, only what differs."""
    names = [clean(label) for label in labels]
    return tuple(enumerate(told_apart(names), start=1))


def _marks(chart: ControlChart, at: NDArray[np.float64]) -> tuple[Mark, ...]:
    """Return a ring where each decisive signal was noticed, with the name of the point where few are."""
    noticed = [
        signal.noticed
        for signal in chart.signals
        if signal.decisive and np.isfinite(chart.value[signal.noticed])
    ]
    places = list(dict.fromkeys(noticed))
    named_too = len(places) <= _MOST_NAMED
    return tuple(
        Mark(
            float(at[place]),
            float(chart.value[place]),
            "worst",
            clean(chart.labels[place]) if named_too else "",
        )
        for place in places
    )
