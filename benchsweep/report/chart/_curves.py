"""Curves: lines, markers, and how sure they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep.report.chart._axes import markers
from benchsweep.report.chart._layout import Frame
from benchsweep.report.chart._lettering import escaped, number
from benchsweep.report.chart._model import Curve, Floats, Look, Mark, Mask
from benchsweep.report.chart._traces import Trace, Traces, between, gapped

__all__ = ["Rows", "curve_rows", "curves", "for_pairs"]

_IDLE = 'stroke="#8a8a8a" stroke-width=".5"'
_MOST_DOTS = 200
_MARKERS = 5


def for_pairs(pairs: Sequence[str]) -> str:
    """Return the attribute that tells a reader's choice of pairs which ones something belongs to."""
    return escaped(" ".join("".join(pair.split()) for pair in pairs))


@dataclass(slots=True)
class Rows:
    """The numbers of the rows that are traced of a curve; None: there is none."""

    counting: int | None = None
    idle: int | None = None
    low: int | None = None
    high: int | None = None


def curve_rows(frame: Frame, traces: Traces) -> list[Rows]:
    """Give the rows of the curves of a panel to `traces`."""
    return [_rows(frame, curve, traces) for curve in frame.panel.curves]


def _rows(frame: Frame, curve: Curve, traces: Traces) -> Rows:
    if curve.look.width <= 0.0 or curve.x.size == 0:
        return Rows()
    rows = Rows()
    finite = np.isfinite(curve.y)
    counting = curve.y if finite.all() else np.where(finite, curve.y, np.nan)
    keep = _kept(frame, curve)
    if curve.low is not None and curve.high is not None:
        known = finite & ~np.isnan(curve.low) & ~np.isnan(curve.high)
        if known.any():
            with np.errstate(invalid="ignore"):
                low, high = curve.y - curve.low, curve.y + curve.high
            rows.low = traces.add(curve.x, np.where(known, low, np.nan), keep, points_only=True)
            rows.high = traces.add(curve.x, np.where(known, high, np.nan), keep, points_only=True)
    if curve.idle is not None and curve.idle.any():
        rows.idle = traces.add(curve.x, gapped(counting, curve.idle, joined=True), keep)
        counting = gapped(counting, ~curve.idle)
    rows.counting = traces.add(curve.x, counting, keep)
    return rows


def curves(frame: Frame, rows: Sequence[Rows], traces: Sequence[Trace], names: Mapping[int, str]) -> str:
    """Return the curves of a panel, each a group with its band, markers and its name of `named`."""
    # One that is known to be sure to some extent is drawn last: else the others would hide its band.
    order = sorted(range(len(rows)), key=lambda place: rows[place].low is not None)
    return "".join(_group(frame, place, rows[place], traces, names.get(place, "")) for place in order)


def _group(frame: Frame, place: int, rows: Rows, traces: Sequence[Trace], name: str) -> str:
    curve = frame.panel.curves[place]
    look = curve.look
    told = []
    if rows.low is not None and rows.high is not None:
        edge = f'stroke="{look.colour}" stroke-width=".45" stroke-dasharray=".9 1.1"'
        filled = f'fill="{look.colour}" fill-opacity=".15" {edge}'
        told.append(between(traces[rows.low], traces[rows.high], filled))
    if rows.idle is not None:
        told.append(traces[rows.idle].line(_IDLE + _dashes(look)))
    if rows.counting is not None:
        trace = traces[rows.counting]
        told.append(trace.line(f'stroke="{look.colour}" stroke-width="{look.width:g}"{_dashes(look)}'))
        told.extend(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="1.1" fill="{look.colour}"/>' for x, y in trace.lone
        )
    if look.marker:
        points = _dots(frame, curve) if look.width <= 0.0 else _spread(frame, curve, place)
        told.append(markers(points, look))
    told.append(name)
    return f'<g class="curve" data-pairs="{for_pairs(curve.pairs)}">{"".join(told)}</g>'


def _dashes(look: Look) -> str:
    if not look.dashes:
        return ""
    return f' stroke-dasharray="{" ".join(f"{part:g}" for part in look.dashes)}"'


def _kept(frame: Frame, curve: Curve) -> Mask | None:
    """Return the points that marks stand at; None: there are none."""
    keep: Mask | None = None
    for mark in frame.panel.marks:
        if not mark.pairs or mark.pairs == curve.pairs:
            keep = np.zeros(curve.x.size, dtype=np.bool_) if keep is None else keep
            keep[_nearest(curve.x, mark)] = True
    return keep


def _nearest(x: Floats, mark: Mark) -> int:
    after = min(int(np.searchsorted(x, mark.x)), x.size - 1)
    return after - 1 if after and mark.x - x[after - 1] < x[after] - mark.x else after


def _spread(frame: Frame, curve: Curve, place: int) -> list[tuple[float, float]]:
    """Return where markers stand: a few along the curve, those of different curves beside each other."""
    size = curve.x.size
    chosen = list(range(size))
    if size > 2 * _MARKERS:
        # Of twelve curves that follow each other none has its markers where another has them.
        share = (np.arange(_MARKERS) + (place * 5 % 12 + 0.5) / 12.0) / _MARKERS
        after = np.searchsorted(curve.x, frame.x.values(share)).tolist()
        chosen = sorted({min(one, size - 1) for one in after})
    points = []
    for one in chosen:
        x, y = float(curve.x[one]), float(curve.y[one])
        if frame.x.shows(x) and frame.y.shows(y) and not (curve.idle is not None and curve.idle[one]):
            points.append((frame.x.at(x), frame.y.at(y)))
    return points


def _dots(frame: Frame, curve: Curve) -> list[tuple[float, float]]:
    """Return the points of a curve without a line, 200 at most, evenly chosen."""
    x, y = frame.x(curve.x), frame.y(np.where(np.isfinite(curve.y), curve.y, np.nan))
    inside = np.flatnonzero((y >= frame.top) & (y <= frame.bottom) & (x >= frame.left) & (x <= frame.right))
    if inside.size > _MOST_DOTS:
        inside = inside[np.linspace(0, inside.size - 1, _MOST_DOTS).astype(np.intp)]
    return list(zip(x[inside].tolist(), y[inside].tolist(), strict=True)) if curve.look.marker else []
