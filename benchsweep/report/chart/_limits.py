"""Limits: their lines, the side that fails, and their numbers where there are several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep.report.chart._labels import Places
from benchsweep.report.chart._layout import SMALL, Frame
from benchsweep.report.chart._lettering import number, shortened
from benchsweep.report.chart._model import LimitLine
from benchsweep.report.chart._traces import Trace, Traces, gapped

__all__ = ["LimitRows", "limit_lines", "limit_numbers", "limit_rows", "shading"]

# Six lines that are told apart by their dashes; further ones begin anew.
_DASHES = ("", "8 2.4", "2.4 1.6", "10 2 2 2", "4.4 1.4 1.4 1.4 1.4 1.4", "14 4.4")


@dataclass(slots=True, eq=False)
class LimitRows:
    """The numbers of the rows that are traced of a limit: where it counts, where not, where it is held."""

    line: LimitLine
    counting: int
    idle: int | None = None
    held: int | None = None


def limit_rows(frame: Frame, traces: Traces) -> list[LimitRows]:
    """Give the rows of the limits of a panel to `traces`."""
    return [_rows(line, traces) for line in frame.panel.limits if line.x.size]


def _rows(line: LimitLine, traces: Traces) -> LimitRows:
    finite = np.isfinite(line.y)
    value = line.y if finite.all() else np.where(finite, line.y, np.nan)
    held = line.held
    if line.idle is not None and line.idle.any():
        held = None if held is None else held & ~line.idle
        rows = LimitRows(line, traces.add(line.x, gapped(value, ~line.idle)))
        rows.idle = traces.add(line.x, gapped(value, line.idle, joined=True))
    else:
        rows = LimitRows(line, traces.add(line.x, value))
    if held is not None and held.any():
        rows.held = traces.add(line.x, gapped(value, held))
    return rows


def shading(frame: Frame, rows: Sequence[LimitRows], traces: Sequence[Trace]) -> str:
    """Return the side on which values fail, darker where they fail more limits."""
    grey = 'fill="#e6e6e6"' if len(rows) == 1 else 'fill="#000" fill-opacity=".07"'
    told = []
    for row in rows:
        trace = traces[row.counting]
        edge = number(frame.bottom if row.line.sense == "min" else frame.top)
        # Each piece of the line, from its end to the side of the panel, along this, and back to its begin.
        around = [f"M{part}V{edge}H{part.split(' ', 1)[0]}z" for part in trace.path.split("M")[1:]]
        if around:
            told.append(f'<path d="{"".join(around)}" {grey}{trace.clip}/>')
    return "".join(told)


def limit_lines(rows: Sequence[LimitRows], traces: Sequence[Trace], name: str) -> str:
    """Return the lines: heavy where they count, hollow where held, thin where they count for no curve."""
    heavy = 1.8 if len(rows) == 1 else 1.4
    told = []
    for place, row in enumerate(rows):
        dashes = _DASHES[place % len(_DASHES)]
        more = f' stroke-dasharray="{dashes}"' if dashes else ""
        for which, look in (
            (row.counting, f'stroke="#000" stroke-width="{heavy}"{more}'),
            (row.idle, 'stroke="#767676" stroke-width=".6"'),
            (row.held, 'stroke="#fff" stroke-width=".7"'),
        ):
            if which is not None:
                told.append(traces[which].line(look))
    return f'<g class="limits">{"".join(told)}{name}</g>' if told else ""


def limit_numbers(frame: Frame, places: Places) -> str:
    """Return the numbers of several limits where their lines end: others may run further."""
    if len(frame.panel.limits) < 2:
        return ""
    told = []
    ends = [(line, end) for line in frame.panel.limits if (end := _end(frame, line)) is not None]
    for _, (x, y) in ends:
        places.take(x - 1.0, y - 3.5, x + 1.0, y + 3.5)
    for line, (x, y) in ends:
        words = shortened(line.short or line.name, SMALL, frame.width / 3.0, bold=True)
        spots = [
            (x - 3.0 - step, y + side, True)
            for step in (0.0, 9.0, 18.0, 27.0)
            for side in (8.0, -8.0, 16.0, -16.0)
        ]
        told.append(f'<path d="M{number(x)} {number(y - 3.5)}v7" stroke="#000" stroke-width="1.2"/>')
        told.append(places.write(spots, words, SMALL, bold=True))
    return "".join(told)


def _end(frame: Frame, line: LimitLine) -> tuple[float, float] | None:
    """Return where a line ends in the panel."""
    x, y = frame.x(line.x), frame.y(np.where(np.isfinite(line.y), line.y, np.nan))
    there = np.flatnonzero((x >= frame.left - 0.05) & (x <= frame.right + 0.05) & np.isfinite(y))
    if there.size == 0:
        return None
    return float(x[there[-1]]), min(max(float(y[there[-1]]), frame.top), frame.bottom)
