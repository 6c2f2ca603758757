"""The worst trace of every reel of a sample over the limit; those that do not conform stand out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import End, LimitCurve, Outcome, Parameter, ReelMargin, Trace
from benchsweep.report.chart import Axis, Chart, Curve, LimitLine, Look, Mark, Panel
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content.charts._apart import ReadApart
from benchsweep.report.content.charts._frame import (
    Floats,
    Grids,
    frequency_axis,
    named,
    over_frequency,
    reach_of,
    told_apart,
)
from benchsweep.report.content.charts._looks import PAIR_LOOKS
from benchsweep.report.document import clean
from benchsweep.report.text import ORDER, Texts, megahertz, pairs_words, parameter_words, signed

__all__ = ["MOST_SINGLED", "lot_trace_charts"]

MOST_SINGLED = 6
"""So many reels have a look of their own; others share one: those that conform, and those that do not."""

_LOOKS = (
    *(replace(look, width=1.3) for look in PAIR_LOOKS.values()),
    *(replace(look, width=1.3, marker="circle") for look in PAIR_LOOKS.values()),
)
# A hundred of them are one grey field; lighter than a lone curve may be, so that others stand out in print.
_CONFORMING = Look("#B4B4B4", width=0.45)
_NONCONFORMING = Look("#333333", (2.0, 1.0), 0.8)

_ROOM = 1.06

Found = dict[str, tuple[Trace, ReelMargin]]


def lot_trace_charts(item: LotItem, texts: Texts, *, prefix: str) -> list[ReadApart]:
    """Return a chart for each parameter of which there are traces and a limit, a panel for each end.

    Each reel is a curve: its worst trace at that end, as it is held against the limit. Of up to
    `MOST_SINGLED` + 2 reels each has a look of its own; of more those that do not conform in this parameter,
    and the worst, up to `MOST_SINGLED`: the rest is thin and grey where it conforms, else dark. Values are
    read off those with a look of their own.
    """
    grids = Grids()
    found = []
    for parameter in Parameter:
        if parameter not in item.limits:
            continue
        by_end = _by_end(item, parameter)
        if by_end:
            found.append(_chart(item, parameter, by_end, texts, grids, prefix))
    return found


def _by_end(item: LotItem, parameter: Parameter) -> dict[End | None, Found]:
    """Return end -> reel -> its trace and the margin that is read off it, reels in the order of the draw."""
    by_end: dict[End | None, Found] = {}
    for reel, added in item.state.counting.items():
        margins = {each.end: each for each in added.result.margins if each.parameter is parameter}
        for trace in item.traces.get(reel, ()):
            margin = margins.get(trace.end)
            if trace.parameter is parameter and margin is not None and margin.pairs == trace.pairs:
                by_end.setdefault(trace.end, {})[reel] = (trace, margin)
    return {end: by_end[end] for end in sorted(by_end, key=lambda end: end or "")}


def _chart(
    item: LotItem,
    parameter: Parameter,
    by_end: Mapping[End | None, Found],
    texts: Texts,
    grids: Grids,
    prefix: str,
) -> ReadApart:
    reels = [reel for reel in item.state.counting if any(reel in found for found in by_end.values())]
    singled = _singled(reels, by_end)
    short = dict(zip(reels, told_apart([clean(reel) for reel in reels]), strict=True))
    looks = {reel: (short[reel], _LOOKS[place]) for place, reel in enumerate(singled)}
    panels = [_panel(item, parameter, end, found, looks, texts, grids) for end, found in by_end.items()]
    reach = [reach_of(panel, parameter) for panel in panels]
    low, high = min(low for low, _ in reach), max(high for _, high in reach)
    panels = [replace(panel, y=replace(panel.y, low=low, high=high)) for panel in panels]
    words = parameter_words(parameter, texts)
    reel, worst = min(
        ((reel, margin) for found in by_end.values() for reel, (_, margin) in found.items()), key=_badness
    )
    told = texts(
        "lot_traces.told",
        what=over_frequency(words, list(by_end), texts),
        count=len(reels),
        reel=clean(reel),
        margin=signed(worst.margin, texts),
        unit=parameter.unit,
    )
    name = named(prefix, f"traces-{parameter.value.replace('_', '-')}")
    whole = Chart(name, told, tuple(panels), named_curves=False)
    names = {short[reel] for reel in singled}
    kept = [
        replace(panel, curves=tuple(curve for curve in panel.curves if curve.name in names))
        for panel in panels
    ]
    caption = texts("lot_traces.caption", parameter=words, count=len(reels))
    return ReadApart(whole, replace(whole, panels=tuple(kept)), (caption,))


def _badness(entry: tuple[str, ReelMargin]) -> tuple[int, float]:
    _, margin = entry
    return ORDER.index(margin.outcome), np.inf if margin.margin is None else margin.margin


def _singled(reels: Sequence[str], by_end: Mapping[End | None, Found]) -> list[str]:
    """Return the reels with a look of their own, in the order of the draw."""
    if len(reels) <= MOST_SINGLED + 2:
        return list(reels)
    worst: dict[str, tuple[int, float]] = {}
    for found in by_end.values():
        for reel, (_, margin) in found.items():
            worst[reel] = min(worst.get(reel, (len(ORDER), np.inf)), _badness((reel, margin)))
    ranked = sorted(worst, key=lambda reel: worst[reel])
    bad = [reel for reel in ranked if worst[reel][0] < ORDER.index(Outcome.CONDITIONAL_PASS)]
    chosen = set((bad or ranked[:1])[:MOST_SINGLED])
    return [reel for reel in reels if reel in chosen]


def _panel(
    item: LotItem,
    parameter: Parameter,
    end: End | None,
    found: Found,
    looks: Mapping[str, tuple[str, Look]],
    texts: Texts,
    grids: Grids,
) -> Panel:
    limits = _limits(item, parameter, texts, grids)
    # What stands out lies over the rest.
    order = sorted(found, key=lambda reel: (reel in looks, _is_bad(found[reel][1])))
    curves = []
    for reel in order:
        trace, margin = found[reel]
        if reel in looks:
            name, look = looks[reel]
        else:
            bad = _is_bad(margin)
            name = texts("lot_traces.other_bad" if bad else "lot_traces.conforming")
            look = _NONCONFORMING if bad else _CONFORMING
        inside = _within(trace.frequency_hz, item.limits[parameter])
        curves.append(Curve(name, grids(trace.frequency_hz[inside]), trace.value[inside], look, limit=0))
    reel, worst = min(((reel, margin) for reel, (_, margin) in found.items()), key=_badness)
    head = "" if end is None else texts("where.end", end=end)
    told = texts(
        "lot_traces.worst",
        reel=clean(reel),
        pairs=pairs_words(worst.pairs, texts),
        margin=signed(worst.margin, texts),
        unit=parameter.unit,
        frequency=megahertz(worst.frequency_hz),
    )
    return Panel(
        title=f"{head}: {told}" if head else told,
        name=head,
        x=frequency_axis(texts, [*(each.x for each in curves), *(each.x for each in limits)]),
        y=Axis(parameter_words(parameter, texts), parameter.unit),
        curves=tuple(curves),
        limits=limits,
        marks=_marks(found, looks, reel),
    )


def _is_bad(margin: ReelMargin) -> bool:
    return ORDER.index(margin.outcome) < ORDER.index(Outcome.CONDITIONAL_PASS)


def _limits(item: LotItem, parameter: Parameter, texts: Texts, grids: Grids) -> tuple[LimitLine, ...]:
    curve = item.limits[parameter]
    inside = _within(curve.frequency_hz, curve)
    held = curve.held[inside] if curve.held is not None and curve.held[inside].any() else None
    grid, value = grids(curve.frequency_hz[inside]), curve.value[inside]
    return (LimitLine(texts("chart.limit"), grid, value, curve.sense, held=held),)


def _within(frequency_hz: Floats, limit: LimitCurve) -> NDArray[np.bool_]:
    """Tell which frequencies are shown: those of the band that is limited, and a little room about it."""
    limited = limit.frequency_hz[np.isfinite(limit.value)]
    inside = np.ones(frequency_hz.size, dtype=np.bool_)
    if limited.size:
        inside = (frequency_hz >= limited[0] / _ROOM) & (frequency_hz <= limited[-1] * _ROOM)
    return inside if np.count_nonzero(inside) > 1 else np.ones_like(inside)


def _marks(found: Found, looks: Mapping[str, tuple[str, Look]], worst: str) -> tuple[Mark, ...]:
    """Return a ring at the worst point of the panel, with the names of reels that do not conform there."""
    marks = []
    for reel, (_, margin) in found.items():
        if margin.frequency_hz is None or margin.value is None or not np.isfinite(margin.value):
            continue
        bad = reel in looks and _is_bad(margin)
        if reel == worst or bad:
            words = clean(reel) if bad else ""
            at = margin.frequency_hz / 1e6
            marks.append(Mark(at, margin.value, "worst" if reel == worst else "dot", words))
    return tuple(marks)
