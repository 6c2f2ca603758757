"""A field tester less the bench over frequency, with the uncertainty of that; limits of agreement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import (
    Agreement,
    BlandAltman,
    ComparedPoint,
    ComparedTrace,
    End,
    Parameter,
    TraceDifference,
)
from benchsweep.report.chart import Axis, Chart, Curve, Mark, Panel
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content.charts._frame import (
    Captioned,
    Floats,
    Grids,
    frequency_axis,
    named,
    over_frequency,
)
from benchsweep.report.content.charts._looks import dot_look, trace_look
from benchsweep.report.text import Texts, megahertz, pairs_words, parameter_words, signed

__all__ = ["agreement_charts", "difference_charts"]

_PANEL_HEIGHT = 150.0
_WIDEST = 4.0
"""Differences beyond so many times the largest that counts, or its uncertainty, are cut off."""
_LEAST_DB = 0.5
_MOST_DOTS = 60
_BESIDE = 1.15
"""A band that spans less than this in frequency reaches so far beside its ends: else nobody would see it."""


def difference_charts(item: ComparisonItem, texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return a chart for each parameter, a panel for each end: tester less bench of every pair.

    Points at which a difference means nothing are left out. The band is the expanded uncertainty of the
    difference of the worst trace around zero: what of that trace leaves it is more than both uncertainties
    explain. The title of each panel names the trace, so that nothing written covers a point.
    """
    grids = Grids()
    found: list[Captioned] = []
    for parameter in Parameter:
        of = [each for each in item.differences if each.parameter is parameter and each.frequency_hz.size > 1]
        if of:
            found.append(_chart(item, parameter, of, texts, grids, prefix))
    return found


def _chart(
    item: ComparisonItem,
    parameter: Parameter,
    differences: Sequence[TraceDifference],
    texts: Texts,
    grids: Grids,
    prefix: str,
) -> Captioned:
    rows = {(row.parameter, row.end, row.pairs): row for row in item.comparison.rows}
    ends: list[End | None] = sorted({each.end for each in differences}, key=lambda end: end or "")
    panels = []
    for end in ends:
        of = [each for each in differences if each.end == end]
        panels.append(_panel(item, parameter, end, of, rows, texts, grids))
    low = min(panel.y.low for panel in panels if panel.y.low is not None)
    high = max(panel.y.high for panel in panels if panel.y.high is not None)
    scaled = tuple(replace(panel, y=replace(panel.y, low=low, high=high)) for panel in panels)
    what = parameter_words(parameter, texts)
    worst = _worst([row for row in rows.values() if row.parameter is parameter])
    told = texts("differences.told", what=over_frequency(what, ends, texts), words=_worst_words(worst, texts))
    chart = Chart(
        named(prefix, f"difference-{parameter.value.replace('_', '-')}"),
        told,
        scaled,
        panel_height=_PANEL_HEIGHT,
    )
    caption = texts("differences.caption", parameter=what)
    return chart, (caption,)


def _panel(
    item: ComparisonItem,
    parameter: Parameter,
    end: End | None,
    differences: Sequence[TraceDifference],
    rows: dict[tuple[Parameter, End | None, tuple[str, ...]], ComparedTrace],
    texts: Texts,
    grids: Grids,
) -> Panel:
    mine = [rows[key] for each in differences if (key := (parameter, end, each.pairs)) in rows]
    worst = _worst(mine)
    curves: list[Curve] = []
    for each in differences:
        heaviest = worst is not None and worst.pairs == each.pairs
        look = trace_look(each.pairs, worst=heaviest)
        grid = grids(each.frequency_hz)
        shown = np.where(each.counts, each.difference, np.nan)
        curves.append(Curve(pairs_words(each.pairs, texts), grid, shown, look, pairs=each.pairs))
        alone = np.flatnonzero(_alone(each.counts))[:_MOST_DOTS]
        if alone.size:
            dots = dot_look(each.pairs[0], filled=True)
            curves.append(Curve("", grid[alone], shown[alone], dots, pairs=each.pairs))
    band = _band(item, differences, worst, texts, grids)
    marks = []
    for row in mine:
        point = row.decisive
        if point is None or point.frequency_hz is None:
            continue
        bad = row.outcome is Agreement.DISAGREES
        if not bad and row is not worst:
            continue
        marks.append(Mark(point.frequency_hz / 1e6, point.difference, "worst"))
    reach = _reach(differences, [point for row in mine if (point := row.decisive)], band)
    return Panel(
        title=_title(end, worst, banded=bool(band), texts=texts),
        x=frequency_axis(texts, [curve.x for curve in curves]),
        y=Axis(texts("differences.axis"), parameter.unit, low=-reach, high=reach),
        curves=(*curves, *band),
        marks=tuple(marks),
        levels=(0.0,),
        name=texts("where.end", end=end) if end else "",
    )


def _title(end: End | None, worst: ComparedTrace | None, *, banded: bool, texts: Texts) -> str:
    """Return which end it is, which trace is the furthest and whose band is drawn."""
    named = texts("differences.panel_end", end=end) if end else texts("differences.panel")
    if worst is None or worst.decisive is None:
        return named
    pairs, point = pairs_words(worst.pairs, texts), worst.decisive
    told = texts("differences.ring_and_band" if banded else "differences.ring", panel=named, pairs=pairs)
    if point.e_n is None:
        return told
    return texts("differences.numbered", told=told, number=signed(point.e_n, texts))


def _alone(counts: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the points that count and have no neighbour that does: no line leads to them."""
    padded = np.pad(counts, 1)
    return counts & ~padded[:-2] & ~padded[2:]


def _band(
    item: ComparisonItem,
    differences: Sequence[TraceDifference],
    worst: ComparedTrace | None,
    texts: Texts,
    grids: Grids,
) -> tuple[Curve, ...]:
    """Return zero with the uncertainty of the worst trace around it; nothing where it is not known."""
    chosen = next((each for each in differences if worst is not None and each.pairs == worst.pairs), None)
    if chosen is None:
        return ()
    wide = item.uncertainties.get((chosen.parameter, chosen.end, chosen.pairs))
    if wide is None or not np.isfinite(wide).any():
        return ()
    # Beside a null or far above the limit nothing is compared, and the uncertainty there is of no meaning.
    known = chosen.counts & np.isfinite(wide)
    grid, high = grids(chosen.frequency_hz)[known], wide[known]
    if not grid.size:
        return ()
    if grid[-1] < _BESIDE * grid[0]:
        grid = np.concatenate([grid[:1] / _BESIDE, grid, grid[-1:] * _BESIDE])
        high = np.concatenate([high[:1], high, high[-1:]])
    name = texts("differences.band", pairs=pairs_words(chosen.pairs, texts))
    look = replace(trace_look(chosen.pairs), width=0.3, marker="")
    return (Curve(name, grid, np.zeros(grid.size), look, low=high, high=high, short=" "),)


def _reach(differences: Sequence[TraceDifference], points: Sequence[object], band: Sequence[Curve]) -> float:
    """Return how far the axis reaches above and below zero: what counts is seen, nulls may be cut off."""
    counting: list[Floats] = [np.abs(each.difference[each.counts]) for each in differences]
    most = max((float(each.max()) for each in counting if each.size), default=0.0)
    wide = max((float(np.quantile(curve.high, 0.9)) for curve in band if curve.high is not None), default=0.0)
    decisive = max((abs(getattr(point, "difference", 0.0)) for point in points), default=0.0)
    return 1.15 * max(_LEAST_DB, decisive, min(max(most, wide), _WIDEST * max(wide, decisive, _LEAST_DB)))


def _worst(rows: Sequence[ComparedTrace]) -> ComparedTrace | None:
    known = [row for row in rows if row.decisive is not None]

    def rank(row: ComparedTrace) -> float:
        point = row.decisive
        if point is None:
            return -1.0
        return abs(point.e_n if point.e_n is not None else point.difference)

    return max(known, key=rank, default=None)


def _worst_words(row: ComparedTrace | None, texts: Texts) -> str:
    if row is None or row.decisive is None:
        return texts("differences.nothing")
    return texts(
        "differences.worst",
        pairs=pairs_words(row.pairs, texts),
        difference=signed(row.decisive.difference, texts),
        unit=row.parameter.unit,
        frequency=megahertz(row.decisive.frequency_hz),
    )


def agreement_charts(item: ComparisonItem, texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return the differences over the means of both results, a panel for each parameter that has limits."""
    panels, told = [], []
    for parameter, limits in item.comparison.bland_altman:
        points = [
            (row.pairs[0], row.decisive)
            for row in item.comparison.rows
            if row.parameter is parameter and row.decisive is not None
        ]
        if len(points) < 2:
            continue
        panels.append(_agreement_panel(parameter, limits, points, texts))
        told.append(
            texts(
                "differences.agreement_told",
                what=parameter_words(parameter, texts),
                bias=signed(limits.bias, texts),
                lower=signed(limits.lower, texts),
                upper=signed(limits.upper, texts),
                unit=parameter.unit,
            )
        )
    if not panels:
        return []
    chart = Chart(
        named(prefix, "agreement"),
        "; ".join(told),
        tuple(panels),
        across=min(len(panels), 2),
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
        named_curves=False,
    )
    return [(chart, (texts("differences.agreement_caption"),))]


def _agreement_panel(
    parameter: Parameter,
    limits: BlandAltman,
    points: Sequence[tuple[str, ComparedPoint]],
    texts: Texts,
) -> Panel:
    means = np.array([0.5 * (point.bench + point.tester) for _, point in points])
    gaps = np.array([point.difference for _, point in points])
    pad = 0.06 * float(np.ptp(means)) or 0.5
    low, high = float(means.min()) - pad, float(means.max()) + pad
    curves = []
    for pair in dict.fromkeys(pair for pair, _ in points):
        chosen = np.array([each == pair for each, _ in points])
        curves.append(Curve(pair, means[chosen], gaps[chosen], dot_look(pair, filled=True), pairs=(pair,)))
    what = parameter_words(parameter, texts)
    reach = float(np.max(np.abs(np.append(gaps, (limits.lower, limits.upper))))) * 1.15 or _LEAST_DB
    # The values of the lines stand in the title: written at the lines they would cover points.
    title = texts(
        "differences.agreement_panel",
        what=what,
        bias=signed(limits.bias, texts),
        lower=signed(limits.lower, texts),
        upper=signed(limits.upper, texts),
    )
    return Panel(
        title=title,
        name=what,
        x=Axis(texts("differences.mean_axis"), parameter.unit, low=low, high=high),
        y=Axis(texts("differences.axis"), parameter.unit, low=-reach, high=reach),
        curves=tuple(curves),
        levels=(limits.lower, limits.bias, limits.upper),
    )
