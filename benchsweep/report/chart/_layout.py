"""Where everything stands: the boxes of the panels, the ends and ticks of their axes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from benchsweep.report.chart._lettering import BASE, wrapped
from benchsweep.report.chart._lettering import width as room_of
from benchsweep.report.chart._model import Axis, Chart, Floats, Look, Mark, Panel
from benchsweep.report.chart._scale import Scale, Tick, linear_ticks, log_ticks, widened

__all__ = [
    "LABEL",
    "LABEL_HEIGHT",
    "LEADER",
    "MOST_NAMES",
    "SMALL",
    "TICK_GAP",
    "TITLE",
    "WIDTH",
    "Frame",
    "Layout",
    "laid_out",
    "views",
]

WIDTH = 547.0
SMALL, LABEL, TITLE = BASE, BASE, 8.0
LABEL_HEIGHT, LEADER = 8.4, 7.0
MOST_NAMES = 64
TICK_GAP = 6.0
"""Between the numbers of a y axis and the box: a ring at its left side has room."""
_TITLE_LINE, _SPAN_LINE, _TICK_LINE, _AXIS_LINE, _LEGEND_LINE = 9.6, 9.0, 11.0, 10.0, 12.0
_EDGE, _MARGIN, _DOTS_MARGIN = 4.0, 0.05, 0.02
_WIDEST_NAMES, _WIDEST_TICKS = 80.0, 60.0
_LEAST_HEIGHT, _LEAST_WIDTH = 40.0, 40.0
_MOST_LEGEND = 8
_USUAL_NAME = "12-36"


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A panel and where it stands."""

    panel: Panel
    left: float
    top: float
    width: float
    height: float
    x: Scale
    y: Scale
    x_ticks: Sequence[Tick]
    y_ticks: Sequence[Tick]
    title: Sequence[str]
    clip: str
    names: bool
    x_words: bool
    y_words: bool
    left_room: float
    right_room: float
    span_room: float

    @property
    def right(self) -> float:
        """Right side of the box."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """Lower side of the box."""
        return self.top + self.height


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """The panels of a chart, its height, and the names and looks that are shown above them."""

    frames: list[Frame]
    height: float
    legend: list[tuple[str, Look]]


def laid_out(chart: Chart) -> Layout:
    """Place the panels of a chart, row by row."""
    panels, across = chart.panels, max(chart.across, 1)
    reach = _reaches(chart)
    legend = [] if chart.named_curves else _legend(panels)
    spans = _SPAN_LINE if any(span.words for panel in panels for span in panel.spans) else 0.0
    height = chart.panel_height - _TITLE_LINE - _TICK_LINE - _AXIS_LINE - spans - 4.0
    height = max(height, _LEAST_HEIGHT, _for_names(chart))
    y_ticks = [_y_ticks(panel.y, *ends, height) for panel, (_, ends) in zip(panels, reach, strict=True)]
    # Words of the y axis beside each panel where there is room, else only where they change.
    each = across <= 2
    told = [each or _says_more(panels, place, across) for place in range(len(panels))]
    words_room = 13.0 if any(panel.y.words or panel.y.unit for panel in panels) else 0.0
    inset = [words_room if each or _any_in(told, column, across) else 0.0 for column in range(across)]
    ticks_room = _ticks_room(y_ticks, each=each)
    names_room = _names_room(chart)
    width = (WIDTH - sum(inset) - across * (ticks_room + names_room)) / across
    # Whole tenths everywhere: what is written with one decimal then is what was meant.
    width = max(math.floor(width * 10.0) / 10.0, _LEAST_WIDTH)
    frames: list[Frame] = []
    top = _EDGE + (_LEGEND_LINE if legend else 0.0)
    for first in range(0, len(panels), across):
        row = panels[first : first + across]
        titles = [
            wrapped(panel.title, TITLE, width + names_room - 4.0) if panel.title else [] for panel in row
        ]
        top += _TITLE_LINE * max(map(len, titles)) + spans
        left = 0.0
        for column, panel in enumerate(row):
            place = first + column
            left += inset[column] + ticks_room
            x_scale = Scale(*reach[place][0], left, left + width, panel.x.log)
            frames.append(
                Frame(
                    panel, left, top, width, height, x_scale,
                    Scale(*reach[place][1], top + height, top, panel.y.log),
                    _x_ticks(panel.x, x_scale), y_ticks[place], titles[column], f"{chart.name}-{place}",
                    chart.named_curves, _is_lowest(panels, place, across), told[place],
                    inset[column] + ticks_room, names_room, spans,
                )
            )  # fmt: skip
            left += width + names_room
        below = any(frame.x_words for frame in frames[first:])
        top += height + _TICK_LINE + (_AXIS_LINE if below else 0.0) + 2.0
    return Layout(frames, math.ceil(top), legend)


def views(layout: Layout) -> list[tuple[float, float, float, float]]:
    """Return the part of the drawing that each panel and its words take: x, y, width, height.

    All are of one width, so that side by side they have one scale: some begin in the empty edge of the panel
    before. The names and looks above the panels are in none.
    """
    left = max((frame.left_room for frame in layout.frames), default=0.0)
    rows: dict[float, list[Frame]] = {}
    for frame in layout.frames:
        rows.setdefault(frame.top, []).append(frame)
    begins = [
        top - _TITLE_LINE * max(len(frame.title) for frame in row) - row[0].span_room
        for top, row in rows.items()
    ]
    told = []
    for row, begin, end in zip(rows.values(), begins, [*begins[1:], layout.height], strict=False):
        for frame in row:
            told.append((frame.left - left, begin, left + frame.width + frame.right_room, end - begin))
    return told


def _for_names(chart: Chart) -> float:
    """Return the height that the names at the right ends of curves take."""
    if not chart.named_curves:
        return 0.0
    most = max((len(panel.curves) + (len(panel.limits) == 1) for panel in chart.panels), default=0)
    return LABEL_HEIGHT * min(most, MOST_NAMES)


def _ticks_room(ticks: Sequence[Sequence[Tick]], *, each: bool) -> float:
    """Return what the widest number of a y axis takes; three digits at least, so that charts align."""
    widest = max((room_of(words, SMALL) for row in ticks for _, words in row), default=0.0)
    room = min(max(widest, room_of("100", SMALL) if each else 0.0), _WIDEST_TICKS) + TICK_GAP
    return math.ceil(room * 10.0) / 10.0


def _names_room(chart: Chart) -> float:
    if not chart.named_curves:
        return 14.0
    names = [curve.label for panel in chart.panels for curve in panel.curves]
    widest = max((room_of(name, LABEL) for name in (*names, _USUAL_NAME)), default=0.0)
    limits = [line.name for panel in chart.panels if len(panel.limits) == 1 for line in panel.limits]
    widest = max(widest, *(room_of(name, LABEL, bold=True) for name in limits), 0.0)
    return math.ceil(10.0 * max(min(widest, _WIDEST_NAMES) + LEADER + 5.0, 14.0)) / 10.0


def _legend(panels: Sequence[Panel]) -> list[tuple[str, Look]]:
    seen = {(curve.name, curve.look): None for panel in panels for curve in panel.curves if curve.name}
    return list(seen) if len(seen) <= _MOST_LEGEND else []


def _says_more(panels: Sequence[Panel], place: int, across: int) -> bool:
    one, before = panels[place].y, panels[place - 1].y
    return place % across == 0 or (one.words, one.unit) != (before.words, before.unit)


def _any_in(told: Sequence[bool], column: int, across: int) -> bool:
    return any(told[place] for place in range(column, len(told), across))


def _is_lowest(panels: Sequence[Panel], place: int, across: int) -> bool:
    """Return whether a panel is the last in its column, or the one below has other words on its x axis."""
    if place + across >= len(panels):
        return True
    one, below = panels[place].x, panels[place + across].x
    return (one.words, one.unit) != (below.words, below.unit)


Ends = tuple[float, float]


def _reaches(chart: Chart) -> list[tuple[Ends, Ends]]:
    """Return the ends of both axes of each panel."""
    seen = [_seen(panel.y, _ys(panel)) for panel in chart.panels]
    if chart.shared_y and seen:
        seen = [_joined(seen)] * len(seen)
    found = []
    for panel, reach in zip(chart.panels, seen, strict=True):
        # Dots at the ends of the axis would be cut in halves.
        dots = any(curve.look.width <= 0.0 for curve in panel.curves)
        x = _ends(panel.x, _seen(panel.x, _xs(panel)), _DOTS_MARGIN if dots else 0.0)
        found.append((x, _ends(panel.y, reach, _MARGIN)))
    return found


def _joined(seen: Sequence[Ends | None]) -> Ends | None:
    there = [ends for ends in seen if ends is not None]
    return (min(low for low, _ in there), max(high for _, high in there)) if there else None


def _seen(axis: Axis, values: Iterator[Floats]) -> Ends | None:
    if axis.low is not None and axis.high is not None:
        return None
    low, high = math.inf, -math.inf
    for array in values:
        usable = array[np.isfinite(array) & (array > 0.0 if axis.log else True)]
        if usable.size:
            low, high = min(low, float(usable.min())), max(high, float(usable.max()))
    return (low, high) if low <= high else None


def _ends(axis: Axis, seen: Ends | None, margin: float) -> Ends:
    """Return the ends of an axis: those given, else those of what is shown, with a margin."""
    low, high = seen if seen is not None else (1.0, 10.0) if axis.log else (0.0, 1.0)
    if margin and axis.log:
        more = (high / low) ** margin
        low, high = low / more, high * more
    elif margin:
        more = margin * (high - low) if math.isfinite(high - low) else 0.0
        low, high = low - more, high + more
    given = [edge if edge is not None and math.isfinite(edge) else None for edge in (axis.low, axis.high)]
    return widened(
        low if given[0] is None else given[0], high if given[1] is None else given[1], log=axis.log
    )


def _xs(panel: Panel) -> Iterator[Floats]:
    arrays = [
        *(c.x for c in panel.curves),
        *(line.x for line in panel.limits),
        *(band.x for band in panel.bands),
    ]
    distinct = {id(x): x for x in arrays}
    yield from distinct.values()
    yield np.array([mark.x for mark in panel.marks])
    yield np.array([edge for span in panel.spans for edge in (span.begin, span.end)])


def _ys(panel: Panel) -> Iterator[Floats]:
    yield from (curve.y for curve in panel.curves)
    yield from (line.y for line in panel.limits)
    for band in panel.bands:
        yield band.low
        yield band.high
    yield np.array([value for mark in panel.marks for value in _marked(mark)], dtype=np.float64)
    yield np.array(panel.levels, dtype=np.float64)


def _marked(mark: Mark) -> list[float]:
    return [mark.y, mark.y - (mark.low or 0.0), mark.y + (mark.high or 0.0)]


def _y_ticks(axis: Axis, low: float, high: float, height: float) -> Sequence[Tick]:
    scale = Scale(low, high, 0.0, height, axis.log)
    if axis.ticks is not None:
        return _fitting(axis.ticks, scale, lambda _: SMALL)
    if axis.log:
        return log_ticks(low, high, scale.at, lambda _: SMALL)
    return linear_ticks(low, high, round(height / 26.0))


def _x_ticks(axis: Axis, scale: Scale) -> Sequence[Tick]:
    wide = scale.stop - scale.start
    if axis.ticks is not None:
        return _fitting(axis.ticks, scale, lambda words: room_of(words, SMALL))
    if axis.log:
        return _log_x_ticks(scale)
    for room in (round(wide / 32.0), 5, 4, 3):
        ticks = linear_ticks(scale.low, scale.high, room)
        if sum(room_of(words, SMALL) + 4.0 for _, words in ticks) <= wide:
            return ticks
    return ticks[:: max(len(ticks) - 1, 1)]


@lru_cache(64)
def _log_x_ticks(scale: Scale) -> list[Tick]:
    return log_ticks(scale.low, scale.high, scale.at, lambda words: room_of(words, SMALL))


def _fitting(ticks: Sequence[Tick], scale: Scale, width: Callable[[str], float]) -> list[Tick]:
    """Return the given ticks that lie on the axis and whose words do not meet those before."""
    kept: list[Tick] = []
    for value, words in sorted(ticks):
        if not scale.shows(value):
            continue
        if kept:
            need = (width(words) + width(kept[-1][1])) / 2.0 + 1.0
            if abs(scale.at(value) - scale.at(kept[-1][0])) < need:
                continue
        kept.append((value, words))
    return kept
