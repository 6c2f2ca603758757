"""Curves: lines, markers, how sure they are, and their names at the right ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from benchsweep.report.chart._axes import markers
from benchsweep.report.chart._labels import apart
from benchsweep.report.chart._layout import LABEL, LABEL_HEIGHT, LEADER, MOST_NAMES, Frame
from benchsweep.report.chart._lettering import escaped, number, shortened, text
from benchsweep.report.chart._model import Curve, Floats, Look, Mark, Mask
from benchsweep.report.chart._path import lines, lone, outlines
from benchsweep.report.chart._thinning import Points, thinned

__all__ = ["clipped", "curves", "for_pairs", "gapped", "named", "row_of"]

_IDLE = 'stroke="#8a8a8a" stroke-width=".5"'
_MOST_DOTS = 200
_MARKERS = 5

Piece = tuple[Floats, Floats, Mask]


def for_pairs(pairs: Sequence[str]) -> str:
    """Return the attribute that tells a reader's choice of pairs which ones something belongs to."""
    return escaped(" ".join("".join(pair.split()) for pair in pairs))


@dataclass(slots=True)
class _Parts:
    """What is drawn of one curve."""

    counting: Piece | None = None
    idle: Piece | None = None
    low: Piece | None = None
    high: Piece | None = None
    markers: list[tuple[float, float]] = field(default_factory=list)


def row_of(points: Points, row: int) -> Piece:
    """Return x, y and the begins of pieces of one curve."""
    part = slice(int(points.rows[row]), int(points.rows[row + 1]))
    return points.x[part], points.y[part], points.begins[part]


def gapped(y: Floats, shown: Mask, *, joined: bool = False) -> Floats:
    """Return `y` where `shown`, else NaN; `joined`: and at the neighbours, so that no gap opens to them."""
    if joined:
        wider = shown.copy()
        wider[1:] |= shown[:-1]
        wider[:-1] |= shown[1:]
        shown = wider
    return np.where(shown, y, np.nan)


def clipped(frame: Frame, *pieces: Piece) -> str:
    """Return the attribute that cuts pieces off at the panel; empty where none reaches out of it."""
    for x, y, _ in pieces:
        if x.size and (
            y.min() < frame.top - 0.05
            or y.max() > frame.bottom + 0.05
            or x.min() < frame.left - 0.05
            or x.max() > frame.right + 0.05
        ):
            return f' clip-path="url(#{frame.clip})"'
    return ""


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
        edge = f'stroke="{look.colour}" stroke-width=".4" stroke-dasharray=".8 1.2"'
        told.append(
            f'<path d="{outlines(parts.low, parts.high)}" fill="{look.colour}" fill-opacity=".15" {edge}'
            f"{clipped(frame, parts.low, parts.high)}/>"
        )
    if parts.idle is not None and parts.idle[0].size:
        told.append(f'<path d="{lines(*parts.idle)}" fill="none" {_IDLE}{clipped(frame, parts.idle)}/>')
    if parts.counting is not None and parts.counting[0].size:
        told.append(
            f'<path d="{lines(*parts.counting)}" fill="none" stroke="{look.colour}" '
            f'stroke-width="{look.width:g}"{_dashes(look)}{clipped(frame, parts.counting)}/>'
        )
        alone = [(x, y) for x, y in lone(*parts.counting) if frame.holds(x, y)]
        told.extend(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="1.1" fill="{look.colour}"/>' for x, y in alone
        )
    if parts.markers:
        told.append(markers(parts.markers, look))
    told.append(name)
    return f'<g class="curve" data-pairs="{for_pairs(curve.pairs)}">{"".join(told)}</g>'


def _dashes(look: Look) -> str:
    if not look.dashes:
        return ' stroke-linejoin="round"'
    return f' stroke-dasharray="{" ".join(f"{part:g}" for part in look.dashes)}"'


# ---- points


def _traced(frame: Frame) -> list[_Parts]:
    """Return the points of all curves; those over one grid are thinned together."""
    parts = [_Parts() for _ in frame.panel.curves]
    grids: dict[bytes, list[int]] = {}
    for place, curve in enumerate(frame.panel.curves):
        if curve.look.width > 0.0:
            grids.setdefault(curve.x.tobytes(), []).append(place)
        else:
            parts[place].markers = _dots(frame, curve)
    for places in grids.values():
        _trace_grid(frame, places, parts)
    return parts


def _trace_grid(frame: Frame, places: Sequence[int], parts: list[_Parts]) -> None:
    x = frame.panel.curves[places[0]].x
    if x.size == 0:
        return
    at = frame.x(x)
    ranked = np.isfinite(at)
    every = bool(ranked.all())
    values: list[Floats] = []
    keeps: list[Mask] = []
    targets: list[tuple[int, str]] = []
    for place in places:
        curve = frame.panel.curves[place]
        keep = _kept(curve, frame.panel.marks)
        for what, y in _rows(curve):
            values.append(y)
            keeps.append(keep)
            targets.append((place, what))
    y = frame.y(np.array(values))
    keep = np.array(keeps)
    if not every:
        at, y, keep = at[ranked], y[:, ranked], keep[:, ranked]
    points = thinned(at, y, frame.left, frame.right, keep)
    for row, (place, what) in enumerate(targets):
        setattr(parts[place], what, row_of(points, row))
        if what == "counting":
            look = frame.panel.curves[place].look
            parts[place].markers = _spread(frame, at, y[row], place) if look.marker else []


def _rows(curve: Curve) -> list[tuple[str, Floats]]:
    """Return what is drawn of a curve: where it counts, where it does not, and the edges of its band."""
    finite = np.where(np.isfinite(curve.y), curve.y, np.nan)
    rows = [("counting", finite)]
    if curve.idle is not None and curve.idle.any():
        rows = [("counting", gapped(finite, ~curve.idle)), ("idle", gapped(finite, curve.idle, joined=True))]
    if curve.low is not None and curve.high is not None:
        known = np.isfinite(finite) & ~np.isnan(curve.low) & ~np.isnan(curve.high)
        if known.any():
            with np.errstate(invalid="ignore"):
                rows.append(("low", np.where(known, finite - curve.low, np.nan)))
                rows.append(("high", np.where(known, finite + curve.high, np.nan)))
    return rows


def _kept(curve: Curve, marks: Sequence[Mark]) -> Mask:
    """Return the points of a curve that marks stand at."""
    keep = np.zeros(curve.x.size, dtype=np.bool_)
    for mark in marks:
        if not mark.pairs or mark.pairs == curve.pairs:
            place = min(int(np.searchsorted(curve.x, mark.x)), curve.x.size - 1)
            keep[max(place - 1, 0) : place + 1] = True
    return keep


def _spread(frame: Frame, x: Floats, y: Floats, number_: int) -> list[tuple[float, float]]:
    """Return where markers stand: a few along the curve, those of different curves beside each other."""
    inside = np.flatnonzero((y >= frame.top) & (y <= frame.bottom) & (x >= frame.left) & (x <= frame.right))
    if inside.size > 2 * _MARKERS:
        wanted = frame.left + (np.arange(_MARKERS) + (number_ * 5 % 12 + 0.5) / 12.0) * frame.width / _MARKERS
        first, last = x[inside[0]], x[inside[-1]]
        wanted = wanted[(wanted >= first) & (wanted <= last)]
        inside = inside[np.unique(np.minimum(np.searchsorted(x[inside], wanted), inside.size - 1))]
    return list(zip(x[inside].tolist(), y[inside].tolist(), strict=True))


def _dots(frame: Frame, curve: Curve) -> list[tuple[float, float]]:
    """Return the points of a curve without a line, 200 at most, evenly chosen."""
    x, y = frame.x(curve.x), frame.y(np.where(np.isfinite(curve.y), curve.y, np.nan))
    inside = np.flatnonzero((y >= frame.top) & (y <= frame.bottom) & (x >= frame.left) & (x <= frame.right))
    if inside.size > _MOST_DOTS:
        inside = inside[np.linspace(0, inside.size - 1, _MOST_DOTS).astype(np.intp)]
    return list(zip(x[inside].tolist(), y[inside].tolist(), strict=True)) if curve.look.marker else []


# ---- names


def named(frame: Frame) -> dict[int, str]:
    """Return the names written at the right side, by the place of the curve; of a lone limit by -1."""
    if not frame.names:
        return {}
    told: list[tuple[float, int, str, str]] = []
    for place, curve in enumerate(frame.panel.curves):
        end = _end(frame, curve.y)
        if end is not None and curve.name:
            told.append((end, place, curve.name, curve.look.colour))
    told = _foremost(frame, told)
    if len(frame.panel.limits) == 1:
        end = _end(frame, frame.panel.limits[0].y)
        if end is not None:
            told.append((end, -1, frame.panel.limits[0].name, "#000"))
    told.sort(key=lambda entry: entry[0])
    places = apart(
        [entry[0] for entry in told], LABEL_HEIGHT, frame.top + LABEL_HEIGHT / 2.0, frame.bottom - 0.5
    )
    room = frame.right_room - LEADER - 4.0
    found = {}
    for (end, place, name, colour), y in zip(told, places, strict=True):
        bold = place < 0
        more = ' font-weight="bold"' if bold else ""
        begin, stop = f"M{number(frame.right)} {number(end)}", number(frame.right + LEADER - 1.0)
        leader = f'<path d="{begin}L{stop} {number(y)}" fill="none" stroke="{colour}" stroke-width=".5"/>'
        short = shortened(name, LABEL, room, bold=bold)
        found[place] = leader + text(frame.right + LEADER, y, short, LABEL, more)
    return found


def _end(frame: Frame, y: Floats) -> float | None:
    finite = np.flatnonzero(np.isfinite(y))
    if finite.size == 0:
        return None
    return min(max(frame.y.at(float(y[finite[-1]])), frame.top), frame.bottom)


def _foremost(frame: Frame, told: list[tuple[float, int, str, str]]) -> list[tuple[float, int, str, str]]:
    """Return the curves that are named: those with a mark first where there are too many."""
    most = MOST_NAMES - 1
    if len(told) <= most:
        return told
    marked = {mark.pairs for mark in frame.panel.marks}
    return sorted(told, key=lambda entry: frame.panel.curves[entry[1]].pairs not in marked)[:most]
