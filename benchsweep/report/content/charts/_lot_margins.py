"""A dot for the worst margin of each reel, parameter by parameter, and how many lie where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from benchsweep.records import Outcome, Parameter, ReelMargin
from benchsweep.report.chart import Axis, Chart, Curve, Mark, Panel
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content.charts._frame import Captioned, named
from benchsweep.report.content.charts._spread import OUTCOME_LOOKS
from benchsweep.report.document import clean
from benchsweep.report.text import ORDER, Texts, outcome_words, parameter_words, signed

__all__ = ["lot_margin_charts"]

_SPREAD = 0.38
_BINS = 24
_MOST_NAMED = 8
_PANEL_HEIGHT = 200.0

Found = dict[Parameter, dict[str, tuple[ReelMargin, Outcome]]]


def lot_margin_charts(item: LotItem, texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return one chart: in the column of each parameter a dot for each reel, the worst of both ends.

    Dots of about the same margin stand side by side, so that a column is a histogram on its side. Those that
    fail are named where there are few.
    """
    found: Found = {}
    for parameter in Parameter:
        for reel, added in item.state.counting.items():
            worst = added.result.margin_of(parameter)
            if worst is not None and worst.margin is not None and np.isfinite(worst.margin):
                rows = [each.outcome for each in added.result.margins if each.parameter is parameter]
                found.setdefault(parameter, {})[reel] = (worst, min(rows, key=ORDER.index))
    if not found:
        return []
    units = dict.fromkeys(parameter.unit for parameter in found)
    panels = [
        _panel({p: there for p, there in found.items() if p.unit == unit}, unit, texts) for unit in units
    ]
    everything = [(p, reel, margin) for p, there in found.items() for reel, (margin, _) in there.items()]
    in_db = [each for each in everything if each[0].unit == "dB"] or everything
    parameter, reel, margin = min(in_db, key=lambda each: each[2].margin or 0.0)
    told = texts(
        "lot_spread.told",
        count=len({reel for there in found.values() for reel in there}),
        parameter=parameter_words(parameter, texts),
        margin=signed(margin.margin, texts),
        unit=parameter.unit,
        reel=clean(reel),
    )
    chart = Chart(
        named(prefix, "margins"),
        told,
        tuple(panels),
        across=1,
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
        named_curves=False,
    )
    return [(chart, (texts("lot_spread.chart_caption"),))]


def _panel(
    found: Mapping[Parameter, dict[str, tuple[ReelMargin, Outcome]]], unit: str, texts: Texts
) -> Panel:
    margins = [margin.margin or 0.0 for there in found.values() for margin, _ in there.values()]
    width = max((max(margins) - min(margins)) / _BINS, 1e-9)
    curves: list[Curve] = []
    bad: list[Mark] = []
    for column, there in enumerate(found.values()):
        points: dict[Outcome, list[tuple[float, float]]] = {}
        values = [margin.margin or 0.0 for margin, _ in there.values()]
        for (reel, (_, outcome)), x, y in zip(there.items(), _beside(values, width), values, strict=True):
            points.setdefault(outcome, []).append((column + x, y))
            if ORDER.index(outcome) < ORDER.index(Outcome.CONDITIONAL_PASS):
                bad.append(Mark(column + x, y, "words", clean(reel)))
        for outcome, dots in points.items():
            at, margin_there = np.array(dots).T
            curves.append(Curve(outcome_words(outcome, texts), at, margin_there, OUTCOME_LOOKS[outcome]))
    curves.sort(key=lambda curve: -_rank(curve.name, texts))
    ticks = tuple((float(column), parameter_words(p, texts)) for column, p in enumerate(found))
    return Panel(
        title="",
        x=Axis("", low=-0.5, high=len(found) - 0.5, ticks=ticks),
        y=Axis(texts("chart.worst_margin"), unit),
        curves=tuple(curves),
        marks=tuple(bad) if len(bad) <= _MOST_NAMED else (),
        levels=(0.0,),
    )


def _rank(name: str, texts: Texts) -> int:
    return next(place for place, outcome in enumerate(ORDER) if outcome_words(outcome, texts) == name)


def _beside(values: Sequence[float], width: float) -> list[float]:
    """Return how far each dot stands beside the middle of its column: those of one bin around it."""
    bins: dict[int, list[int]] = {}
    for place, value in enumerate(values):
        bins.setdefault(int(np.floor(value / width)), []).append(place)
    most = max(map(len, bins.values()), default=1)
    step = min(2.0 * _SPREAD / max(most - 1, 1), 0.06)
    found = [0.0] * len(values)
    for places in bins.values():
        for rank, place in enumerate(places):
            found[place] = step * (rank - (len(places) - 1) / 2.0)
    return found
