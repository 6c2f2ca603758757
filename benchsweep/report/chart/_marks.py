"""Marks, spans, levels and notes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from benchsweep.report.chart._curves import for_pairs
from benchsweep.report.chart._labels import Places, apart
from benchsweep.report.chart._layout import SMALL, Frame
from benchsweep.report.chart._lettering import number, shortened, text
from benchsweep.report.chart._lettering import width as room_of
from benchsweep.report.chart._model import Mark, Span
from benchsweep.report.chart._traces import Trace, Traces, between

__all__ = ["band_rows", "bands", "levels", "marks", "note", "spans"]

_RING, _SPAN_WORDS = 4.5, 7.5
_ALONG, _OFF = 120, 1.5


def levels(frame: Frame) -> str:
    """Return the thin lines across."""
    places = [frame.y.at(value) for value in frame.panel.levels if frame.y.shows(value)]
    path = "".join(f"M{number(frame.left)} {number(y)}h{number(frame.width)}" for y in places)
    return f'<path d="{path}" fill="none" stroke="#767676" stroke-width=".5"/>' if path else ""


def spans(frame: Frame, hatch: str) -> str:
    """Return the stretches of the x axis, hatched, with their words above."""
    told, named = [], []
    for span in frame.panel.spans:
        begin, end = sorted((span.begin, span.end))
        if not (begin <= frame.x.high and end >= frame.x.low):
            continue
        left, right = (min(max(frame.x.at(edge), frame.left), frame.right) for edge in (begin, end))
        told.append(_span(frame, span, left, right, hatch))
        if span.words:
            named.append(((left + right) / 2.0, span.words))
    return "".join(told) + _span_words(frame, named)


def _span(frame: Frame, span: Span, left: float, right: float, hatch: str) -> str:
    upright = f'<path d="M{number(left)} {number(frame.top)}v{number(frame.height)}" fill="none" '
    if span.faint:
        return upright + 'stroke="#555" stroke-width=".6" stroke-dasharray=".6 1.4"/>'
    if right - left < 0.8:
        return upright + 'stroke="#767676" stroke-width="1.8"/>'
    size = f'width="{number(right - left)}" height="{number(frame.height)}"'
    box = f'x="{number(left)}" y="{number(frame.top)}" {size}'
    return f'<rect {box} fill="#eee"/><rect {box} fill="url(#{hatch})" stroke="#767676" stroke-width=".3"/>'


def _span_words(frame: Frame, named: list[tuple[float, str]]) -> str:
    """Return the words above the spans, moved apart where they would meet."""
    if not named:
        return ""
    named.sort()
    room = (frame.width + 8.0) / len(named)
    words = [shortened(told, _SPAN_WORDS, room - 3.0, bold=True) for _, told in named]
    wide = [room_of(told, _SPAN_WORDS, bold=True) for told in words]
    # Each takes what the widest takes: they are numbers of one or two digits.
    step = min(max(wide) + 3.0, room)
    places = apart(
        [at for at, _ in named], step, frame.left + step / 2.0 - 4.0, frame.right - step / 2.0 + 4.0
    )
    y = frame.top - 5.0
    more = ' font-weight="bold" text-anchor="middle"'
    return "".join(text(x, y, told, _SPAN_WORDS, more) for x, told in zip(places, words, strict=True))


def band_rows(frame: Frame, traces: Traces) -> list[tuple[int, int]]:
    """Give the edges of the bands of a panel to `traces`; return their numbers, low and high."""
    found = []
    for band in frame.panel.bands:
        known = ~(np.isnan(band.low) | np.isnan(band.high))
        low, high = np.where(known, band.low, np.nan), np.where(known, band.high, np.nan)
        edges = [traces.add(band.x, edge, points_only=True) for edge in (low, high)]
        found.append((edges[0], edges[1]))
    return found


def bands(rows: Sequence[tuple[int, int]], traces: Sequence[Trace]) -> str:
    """Return what lies between two curves."""
    look = 'fill="#0072B2" fill-opacity=".16" stroke="#0072B2" stroke-width=".4"'
    return "".join(between(traces[low], traces[high], look) for low, high in rows)


def marks(frame: Frame, places: Places) -> str:
    """Return the points to look at, the words beside them where there is room."""
    shown = [
        (mark, frame.x.at(mark.x), frame.y.at(mark.y))
        for mark in frame.panel.marks
        if frame.x.shows(mark.x) and math.isfinite(mark.y)
    ]
    shown = [(mark, x, y) for mark, x, y in shown if math.isfinite(x) and math.isfinite(y)]
    for level in frame.panel.levels:
        if frame.y.shows(level):
            places.take(frame.left, frame.y.at(level) - 0.5, frame.right, frame.y.at(level) + 0.5)
    if frame.panel.clear_words:
        _keep_off_curves(frame, places)
    for _, x, y in shown:
        places.take(x - _RING, y - _RING, x + _RING, y + _RING)
    return "".join(_mark(frame, mark, x, y, places) for mark, x, y in shown)


def _keep_off_curves(frame: Frame, places: Places) -> None:
    """Keep words off the points of curves, and off the lines between them."""
    for curve in frame.panel.curves:
        known = np.isfinite(curve.x) & np.isfinite(curve.y)
        x, y = curve.x[known], curve.y[known]
        if curve.look.width > 0.0 and x.size > 1:
            along = np.linspace(x[0], x[-1], _ALONG)
            x, y = along, np.interp(along, x, y)
        for at, value in zip(x, y, strict=True):
            if frame.x.shows(at):
                left, top = frame.x.at(at), frame.y.at(value)
                places.take(left - _OFF, top - _OFF, left + _OFF, top + _OFF)


def _mark(frame: Frame, mark: Mark, x: float, y: float, places: Places) -> str:
    told = _bar(frame, mark, x) + _point(frame, mark, x, y)
    if mark.words:
        y = min(max(y, frame.top), frame.bottom)
        words = shortened(mark.words, SMALL, frame.width / 2.0)
        spots = [
            spot
            for far in (6.0, 12.0, 19.0)
            for up in (-far, far)
            for spot in ((x - far, y + up, True), (x + far, y + up, False))
        ]
        told += places.write(spots, words, SMALL)
    return f'<g class="mark" data-pairs="{for_pairs(mark.pairs)}">{told}</g>'


def _point(frame: Frame, mark: Mark, x: float, y: float) -> str:
    if mark.kind == "words":
        return ""
    at_x, at_y = number(x), number(y)
    if not frame.top - 0.1 <= y <= frame.bottom + 0.1:
        # Beyond the panel: a head at its side tells where to.
        edge, tip = (frame.top, 4.0) if y < frame.top else (frame.bottom, -4.0)
        return f'<path d="M{at_x} {number(edge)}l-3.5 {number(tip)}h7z" fill="#000"/>'
    if mark.kind == "acceptance":
        return f'<path d="M{number(x - 5.5)} {at_y}h11" fill="none" stroke="#000" stroke-width="1.4"/>'
    if mark.kind == "dot":
        return f'<circle cx="{at_x}" cy="{at_y}" r="1.8" fill="#000"/>'
    return f'<circle cx="{at_x}" cy="{at_y}" r="{_RING}" fill="none" stroke="#000" stroke-width="1.3"/>'


def _bar(frame: Frame, mark: Mark, x: float) -> str:
    """Return how sure the value is, as a bar; open at an end that lies beyond the panel."""
    if mark.low is None or mark.high is None or math.isnan(mark.low) or math.isnan(mark.high):
        return ""
    below, above = frame.y.at(mark.y - mark.low), frame.y.at(mark.y + mark.high)
    if math.isnan(below):
        below = frame.bottom + 1.0
    start, stop = min(below, frame.bottom), max(above, frame.top)
    if start <= stop:
        return ""
    caps = "".join(
        f"M{number(x - 2.5)} {number(end)}h5" for end in (below, above) if frame.top <= end <= frame.bottom
    )
    path = f"M{number(x)} {number(start)}V{number(stop)}{caps}"
    return f'<path d="{path}" fill="none" stroke="#000" stroke-width=".9"/>'


def note(frame: Frame, places: Places) -> str:
    """Return the note, in the corner where it meets least, with its bar."""
    panel = frame.panel
    words = shortened(panel.note, SMALL, frame.width * 0.8) if panel.note else ""
    bar = panel.note_length / (frame.x.high - frame.x.low) * frame.width if not frame.x.log else 0.0
    bar = bar if 0.0 < bar < 0.9 * frame.width - room_of(words, SMALL) else 0.0
    if not words:
        return ""
    top = _upper_is_freer(frame)
    y = frame.top + 7.0 if top else frame.bottom - 7.0
    right = frame.right - 4.0
    told = ""
    if bar:
        path = f"M{number(right - bar)} {number(y)}h{number(bar)}m0-2v4m{number(-bar)}-4v4"
        told = f'<path d="{path}" fill="none" stroke="#000" stroke-width="1"/>'
        places.take(right - bar, y - 2.5, right, y + 2.5)
        right -= bar + 3.0
    other = frame.bottom - 7.0 if top else frame.top + 7.0
    spots = [(right, y, True)]
    if not bar:
        spots += [(frame.left + 3.0, y, False), (right, other, True), (frame.left + 3.0, other, False)]
    return told + places.write(spots, words, SMALL)


def _upper_is_freer(frame: Frame) -> bool:
    """Return whether fewer points of curves lie in the upper right corner than in the lower one."""
    upper = lower = 0
    middle = frame.left + frame.width / 3.0
    for curve in frame.panel.curves:
        y = frame.y(curve.y)[frame.x(curve.x) > middle]
        upper += int(np.count_nonzero(y < frame.top + 15.0))
        lower += int(np.count_nonzero(y > frame.bottom - 15.0))
    return upper <= lower
