"""Limits: their lines, the side that fails, and their numbers where there are several."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchsweep.report.chart._curves import Piece, clipped, gapped, row_of
from benchsweep.report.chart._labels import Places
from benchsweep.report.chart._layout import SMALL, Frame
from benchsweep.report.chart._lettering import number, shortened
from benchsweep.report.chart._model import LimitLine
from benchsweep.report.chart._path import lines, outlines
from benchsweep.report.chart._thinning import thinned

__all__ = ["Drawn", "drawn_limits", "limit_lines", "limit_numbers", "shading"]

# Six lines that are told apart by their dashes; further ones begin anew.
_DASHES = ("", "8 2.4", "2.4 1.6", "10 2 2 2", "4.4 1.4 1.4 1.4 1.4 1.4", "14 4.4")


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The pieces of a limit: where it counts, where it does not, and where a cap or a floor holds it."""

    line: LimitLine
    counting: Piece
    idle: Piece
    held: Piece
    end: tuple[float, float] | None


def drawn_limits(frame: Frame) -> list[Drawn]:
    """Return what is drawn of each limit of a panel."""
    return [_drawn(frame, line) for line in frame.panel.limits]


def _drawn(frame: Frame, line: LimitLine) -> Drawn:
    size = line.x.size
    none = np.zeros(size, dtype=np.bool_)
    idle = none if line.idle is None else line.idle
    held = none if line.held is None else line.held & ~idle
    value = np.where(np.isfinite(line.y), line.y, np.nan)
    at = frame.x(line.x)
    y = frame.y(np.array([gapped(value, ~idle), gapped(value, idle, joined=True), gapped(value, held)]))
    usable = np.isfinite(at)
    points = thinned(at[usable], y[:, usable], frame.left, frame.right)
    finite = np.flatnonzero(np.isfinite(value) & usable)
    end = None if finite.size == 0 else (float(at[finite[-1]]), frame.y.at(float(value[finite[-1]])))
    return Drawn(line, row_of(points, 0), row_of(points, 1), row_of(points, 2), end)


def shading(frame: Frame, limits: list[Drawn]) -> str:
    """Return the side on which values fail, darker where they fail more limits."""
    grey = 'fill="#e6e6e6"' if len(limits) == 1 else 'fill="#000" fill-opacity=".07"'
    told = []
    for drawn in limits:
        x, y, begins = drawn.counting
        if x.size == 0:
            continue
        # Min: from the line down to the lower side, unless all of it lies there already.
        edge = frame.bottom if drawn.line.sense == "min" else frame.top
        side = np.maximum(y, edge) if drawn.line.sense == "min" else np.minimum(y, edge)
        path = outlines(drawn.counting, _ends(x, side, begins))
        told.append(f'<path d="{path}" {grey}{clipped(frame, drawn.counting)}/>')
    return "".join(told)


def _ends(x: np.ndarray, y: np.ndarray, begins: np.ndarray) -> Piece:
    """Return the first and the last point of each piece."""
    starts = np.flatnonzero(begins)
    stops = np.append(starts[1:], x.size) - 1
    both = np.stack((starts, stops), axis=1).ravel()
    first = np.zeros(both.size, dtype=np.bool_)
    first[::2] = True
    return x[both], y[both], first


def limit_lines(frame: Frame, limits: list[Drawn], name: str) -> str:
    """Return the lines: heavy where they count, hollow where held, thin where they count for no curve."""
    heavy = 1.8 if len(limits) == 1 else 1.4
    told = []
    for place, drawn in enumerate(limits):
        dashes = _DASHES[place % len(_DASHES)]
        more = f' stroke-dasharray="{dashes}"' if dashes else ""
        for piece, look in (
            (drawn.counting, f'stroke="#000" stroke-width="{heavy}"{more}'),
            (drawn.idle, 'stroke="#767676" stroke-width=".6"'),
            (drawn.held, 'stroke="#fff" stroke-width=".7"'),
        ):
            if piece[0].size:
                told.append(f'<path d="{lines(*piece)}" fill="none" {look}{clipped(frame, piece)}/>')
    return f'<g class="limits">{"".join(told)}{name}</g>' if told else ""


def limit_numbers(frame: Frame, limits: list[Drawn], places: Places) -> str:
    """Return the numbers of several limits where their lines end: others may run further."""
    if len(limits) < 2:
        return ""
    told = []
    for drawn in limits:
        if drawn.end is None:
            continue
        x, y = min(drawn.end[0], frame.right), min(max(drawn.end[1], frame.top), frame.bottom)
        words = shortened(drawn.line.short or drawn.line.name, SMALL, frame.width / 3.0, bold=True)
        spots = [
            (x - 3.0 - step, y + side, True)
            for step in (0.0, 9.0, 18.0, 27.0)
            for side in (6.0, -6.0, 13.0, -13.0)
        ]
        told.append(f'<path d="M{number(x)} {number(y - 3.5)}v7" stroke="#000" stroke-width="1.2"/>')
        told.append(places.write(spots, words, SMALL, bold=True))
    return "".join(told)
