"""Names at the right ends of curves."""

from __future__ import annotations

import math

import numpy as np

from benchsweep.report.chart._labels import apart
from benchsweep.report.chart._layout import LABEL, LABEL_HEIGHT, LEADER, MOST_NAMES, Frame
from benchsweep.report.chart._lettering import number, shortened, text
from benchsweep.report.chart._model import Floats

__all__ = ["named"]


def named(frame: Frame) -> dict[int, str]:
    """Return the names written at the right side, by the place of the curve; of a lone limit by -1."""
    if not frame.names:
        return {}
    told: list[tuple[float, int, str, str]] = []
    for place, curve in enumerate(frame.panel.curves):
        end = _end(frame, curve.y)
        if end is not None and curve.label:
            told.append((end, place, curve.label, curve.look.colour))
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
    if y.size == 0:
        return None
    last = float(y[-1])
    if not math.isfinite(last):
        finite = np.flatnonzero(np.isfinite(y))
        if finite.size == 0:
            return None
        last = float(y[finite[-1]])
    place = frame.y.at(last)
    return None if math.isnan(place) else min(max(place, frame.top), frame.bottom)


def _foremost(frame: Frame, told: list[tuple[float, int, str, str]]) -> list[tuple[float, int, str, str]]:
    """Return the curves that are named: those with a mark first where there are too many."""
    most = MOST_NAMES - 1
    if len(told) <= most:
        return told
    marked = {mark.pairs for mark in frame.panel.marks}
    return sorted(told, key=lambda entry: frame.panel.curves[entry[1]].pairs not in marked)[:most]
