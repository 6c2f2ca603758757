"""Curves: lines, markers, and how sure they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from benchsweep.report.chart._axes import markers
from benchsweep.report.chart._layout import Frame
from benchsweep.report.chart._lettering import escaped, number
from benchsweep.report.chart._model import Curve, Floats, Look, Mark, Mask
from benchsweep.report.chart._path import lone
from benchsweep.report.chart._traces import Trace, between, gapped, traced

__all__ = ["curves", "for_pairs"]

_IDLE = 'stroke="#8a8a8a" stroke-width=".5"'
_MOST_DOTS = 200
_MARKERS = 5


def for_pairs(pairs: Sequence[str]) -> str:
    """Return the attribute that tells a reader's choice of pairs which ones something belongs to."""
    return escaped(" ".join("".join(pair.split()) for pair in pairs))


@dataclass(slots=True)
class _Parts:
    """What is drawn of one curve."""

    counting: Trace | None = None
    idle: Trace | None = None
    low: Trace | None = None
    high: Trace | None = None
    markers: list[tuple[float, float]] = field(default_factory=list)


def curves(frame: Frame, names: Mapping[int, str]) -> str:
    """Return the curves of a panel, each a group with its band, markers and its name of `named`."""
    panel = frame.panel
    parts = _traced(frame)
    # One that is known to be sure to some extent is drawn last: else the others would hide its band.
    order = sorted(range(len(panel.curves)), key=lambda place: parts[place].low is not None)
    return "".join(_group(frame, panel.curves[place], parts[place], names.get(place, "")) for place in order)


def _group(frame: Frame, curve: Curve, parts: _Parts, name: str) -> str:
    look = curve.look
    told = []
    if parts.low is not None and parts.high is not None:
        edge = f'stroke="{look.colour}" stroke-width=".45" stroke-dasharray=".9 1.1"'
        filled = f'fill="{look.colour}" fill-opacity=".15" {edge}'
        told.append(between(parts.low, parts.high, filled))
    if parts.idle is not None and parts.idle.path:
        told.append(f'<path d="{parts.idle.path}" fill="none" {_IDLE}{parts.idle.clip}/>')
    if parts.counting is not None and parts.counting.path:
        stroke = f'stroke="{look.colour}" stroke-width="{look.width:g}"{_dashes(look)}'
        told.append(f'<path d="{parts.counting.path}" fill="none" {stroke}{parts.counting.clip}/>')
        told.extend(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="1.1" fill="{look.colour}"/>'
            for x, y in lone(*parts.counting.piece)
            if frame.holds(x, y)
        )
    if parts.markers:
        told.append(markers(parts.markers, look))
    told.append(name)
    return f'<g class="curve" data-pairs="{for_pairs(curve.pairs)}">{"".join(told)}</g>'


def _dashes(look: Look) -> str:
    if not look.dashes:
        return ' stroke-linejoin="round"'
    return f' stroke-dasharray="{" ".join(f"{part:g}" for part in look.dashes)}"'


def _traced(frame: Frame) -> list[_Parts]:
    """Return the points of all curves; those over one grid are thinned together."""
    parts = [_Parts() for _ in frame.panel.curves]
    grids: dict[bytes, list[int]] = {}
    for place, curve in enumerate(frame.panel.curves):
        if curve.look.width <= 0.0:
            parts[place].markers = _dots(frame, curve)
        elif curve.x.size:
            grids.setdefault(curve.x.tobytes(), []).append(place)
    for places in grids.values():
        _trace_grid(frame, places, parts)
    return parts


def _trace_grid(frame: Frame, places: Sequence[int], parts: list[_Parts]) -> None:
    over = [frame.panel.curves[place] for place in places]
    x = frame.x(over[0].x)
    values = np.array([curve.y for curve in over])
    finite = np.isfinite(values)
    if not finite.all():
        values = np.where(finite, values, np.nan)
    rows: list[tuple[int, str, Floats]] = []
    edges: list[tuple[int, str, Floats]] = []
    for row, (place, curve) in enumerate(zip(places, over, strict=True)):
        counting = values[row]
        if curve.idle is not None and curve.idle.any():
            rows.append((place, "idle", gapped(counting, curve.idle, joined=True)))
            counting = gapped(counting, ~curve.idle)
        rows.append((place, "counting", counting))
        edges.extend((place, *edge) for edge in _edges(curve))
    everything = [*rows, *edges]
    y = frame.y(np.array([value for _, _, value in everything]))
    keep = _kept(frame, [place for place, _, _ in everything])
    traces = traced(frame, x, y, keep, len(rows))
    for row, (place, what, _) in enumerate(everything):
        setattr(parts[place], what, traces[row])
        if what == "counting" and frame.panel.curves[place].look.marker:
            parts[place].markers = _spread(frame, x, y[row], place)


def _edges(curve: Curve) -> list[tuple[str, Floats]]:
    """Return the edges of the band of a curve, both or none."""
    if curve.low is None or curve.high is None:
        return []
    known = np.isfinite(curve.y) & ~np.isnan(curve.low) & ~np.isnan(curve.high)
    if not known.any():
        return []
    with np.errstate(invalid="ignore"):
        low, high = curve.y - curve.low, curve.y + curve.high
    return [("low", np.where(known, low, np.nan)), ("high", np.where(known, high, np.nan))]


def _kept(frame: Frame, rows: Sequence[int]) -> Mask | None:
    """Return the points of the curves of `rows` that marks stand at; None: there are none."""
    keep: Mask | None = None
    for row, place in enumerate(rows):
        curve = frame.panel.curves[place]
        for mark in frame.panel.marks:
            if not mark.pairs or mark.pairs == curve.pairs:
                if keep is None:
                    keep = np.zeros((len(rows), curve.x.size), dtype=np.bool_)
                keep[row, _nearest(curve.x, mark)] = True
    return keep


def _nearest(x: Floats, mark: Mark) -> int:
    after = min(int(np.searchsorted(x, mark.x)), x.size - 1)
    return after - 1 if after and mark.x - x[after - 1] < x[after] - mark.x else after


def _spread(frame: Frame, x: Floats, y: Floats, place: int) -> list[tuple[float, float]]:
    """Return where markers stand: a few along the curve, those of different curves beside each other."""
    inside = np.flatnonzero((y >= frame.top) & (y <= frame.bottom) & (x >= frame.left) & (x <= frame.right))
    if inside.size > 2 * _MARKERS:
        # Of twelve curves that follow each other none has its markers where another has them.
        share = (np.arange(_MARKERS) + (place * 5 % 12 + 0.5) / 12.0) / _MARKERS
        wanted = frame.left + share * frame.width
        wanted = wanted[(wanted >= x[inside[0]]) & (wanted <= x[inside[-1]])]
        inside = inside[np.unique(np.minimum(np.searchsorted(x[inside], wanted), inside.size - 1))]
    return list(zip(x[inside].tolist(), y[inside].tolist(), strict=True))


def _dots(frame: Frame, curve: Curve) -> list[tuple[float, float]]:
    """Return the points of a curve without a line, 200 at most, evenly chosen."""
    x, y = frame.x(curve.x), frame.y(np.where(np.isfinite(curve.y), curve.y, np.nan))
    inside = np.flatnonzero((y >= frame.top) & (y <= frame.bottom) & (x >= frame.left) & (x <= frame.right))
    if inside.size > _MOST_DOTS:
        inside = inside[np.linspace(0, inside.size - 1, _MOST_DOTS).astype(np.intp)]
    return list(zip(x[inside].tolist(), y[inside].tolist(), strict=True)) if curve.look.marker else []
