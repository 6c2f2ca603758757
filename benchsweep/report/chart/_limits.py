"""Limits: their lines, the side that fails, and their numbers where there are several."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchsweep.report.chart._labels import Places
from benchsweep.report.chart._layout import SMALL, Frame
from benchsweep.report.chart._lettering import number, shortened
from benchsweep.report.chart._model import Floats, LimitLine, Mask
from benchsweep.report.chart._path import outlines
from benchsweep.report.chart._traces import Piece, Trace, gapped, traced

__all__ = ["Drawn", "drawn_limits", "limit_lines", "limit_numbers", "shading"]

# Six lines that are told apart by their dashes; further ones begin anew.
_DASHES = ("", "8 2.4", "2.4 1.6", "10 2 2 2", "4.4 1.4 1.4 1.4 1.4 1.4", "14 4.4")


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What is drawn of a limit: where it counts, where it does not, where a cap or a floor holds it."""

    line: LimitLine
    counting: Trace
    idle: Trace | None
    held: Trace | None
    end: tuple[float, float] | None


def drawn_limits(frame: Frame) -> list[Drawn]:
    """Return what is drawn of each limit of a panel."""
    return [_drawn(frame, line) for line in frame.panel.limits if line.x.size]


def _drawn(frame: Frame, line: LimitLine) -> Drawn:
    value = np.where(np.isfinite(line.y), line.y, np.nan)
    rows = {"counting": value}
    held = line.held
    if line.idle is not None and line.idle.any():
        rows = {"counting": gapped(value, ~line.idle), "idle": gapped(value, line.idle, joined=True)}
        held = None if held is None else held & ~line.idle
    if held is not None and held.any():
        rows["held"] = gapped(value, held)
    x = frame.x(line.x)
    traces = dict(zip(rows, traced(frame, x, frame.y(np.array(list(rows.values())))), strict=True))
    finite = np.flatnonzero(np.isfinite(value) & np.isfinite(x))
    last = finite[-1] if finite.size else None
    end = None if last is None else (float(x[last]), frame.y.at(float(value[last])))
    return Drawn(line, traces["counting"], traces.get("idle"), traces.get("held"), end)


def shading(frame: Frame, limits: list[Drawn]) -> str:
    """Return the side on which values fail, darker where they fail more limits."""
    grey = 'fill="#e6e6e6"' if len(limits) == 1 else 'fill="#000" fill-opacity=".07"'
    told = []
    for drawn in limits:
        x, y, begins = drawn.counting.piece
        if x.size == 0:
            continue
        # Min: from the line down to the lower side, unless all of it lies there already.
        edge = frame.bottom if drawn.line.sense == "min" else frame.top
        side = np.maximum(y, edge) if drawn.line.sense == "min" else np.minimum(y, edge)
        path = outlines(drawn.counting.piece, _ends(x, side, begins))
        told.append(f'<path d="{path}" {grey}{drawn.counting.clip}/>')
    return "".join(told)


def _ends(x: Floats, y: Floats, begins: Mask) -> Piece:
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
        for trace, look in (
            (drawn.counting, f'stroke="#000" stroke-width="{heavy}"{more}'),
            (drawn.idle, 'stroke="#767676" stroke-width=".6"'),
            (drawn.held, 'stroke="#fff" stroke-width=".7"'),
        ):
            if trace is not None and trace.path:
                told.append(f'<path d="{trace.path}" fill="none" {look}{trace.clip}/>')
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
