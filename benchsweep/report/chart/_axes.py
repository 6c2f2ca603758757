"""The frame of a panel: grid, ticks, words of the axes, title."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from benchsweep.report.chart._layout import SMALL, TICK_GAP, TITLE, WIDTH, Frame
from benchsweep.report.chart._lettering import number, shortened, text
from benchsweep.report.chart._lettering import width as room_of
from benchsweep.report.chart._model import Axis, Look
from benchsweep.report.chart._scale import Scale, Tick, minor_places

__all__ = ["axes_over", "axes_under", "legend", "markers"]

_AXIS = 7.5


def axes_under(frame: Frame) -> str:
    """Return what lies under the curves: the grid."""
    upright = _upright_grid(frame.x, tuple(frame.x_ticks), frame.top, frame.height)
    level = "".join(
        f"M{number(frame.left)} {number(frame.y.at(value))}h{number(frame.width)}"
        for value, _ in frame.y_ticks
    )
    return f'<path d="{upright}{level}" fill="none" stroke="#d0d0d0" stroke-width=".4"/>'


# The charts of a record have most of their x axes in common.
@lru_cache(64)
def _upright_grid(scale: Scale, ticks: tuple[Tick, ...], top: float, height: float) -> str:
    return "".join(f"M{number(scale.at(value))} {number(top)}v{number(height)}" for value, _ in ticks)


@lru_cache(64)
def _lower_ticks(scale: Scale, ticks: tuple[Tick, ...], bottom: float) -> str:
    minor = minor_places(scale.low, scale.high) if scale.log else []
    long = "".join(f"M{number(scale.at(value))} {number(bottom)}v2.4" for value, _ in ticks)
    return long + "".join(f"M{number(scale.at(value))} {number(bottom)}v1.4" for value in minor)


@lru_cache(64)
def _lower_words(scale: Scale, ticks: tuple[Tick, ...], bottom: float) -> str:
    room = abs(scale.stop - scale.start) / 2.0
    told = "".join(
        text(scale.at(value), bottom + 7.0, shortened(words, SMALL, room), SMALL) for value, words in ticks
    )
    return f'<g text-anchor="middle">{told}</g>'


def axes_over(frame: Frame) -> str:
    """Return what lies over the curves: the frame, ticks and their words, title and words of the axes."""
    told = [_frame(frame), _lower_words(frame.x, tuple(frame.x_ticks), frame.bottom)]
    room = frame.left_room - TICK_GAP + 0.1 - (13.0 if frame.y_words else 0.0)
    beside = "".join(
        text(frame.left - TICK_GAP, frame.y.at(value), shortened(words, SMALL, room), SMALL)
        for value, words in frame.y_ticks
    )
    told.append(f'<g text-anchor="end">{beside}</g>')
    if frame.x_words:
        words = shortened(_words(frame.panel.x), _AXIS, frame.width)
        middle = frame.left + frame.width / 2.0
        told.append(text(middle, frame.bottom + 17.0, words, _AXIS, ' text-anchor="middle"'))
    if frame.y_words:
        told.append(_upright(frame))
    line = frame.top - frame.span_room - 9.6 * len(frame.title) + 3.6
    for place, words in enumerate(frame.title):
        told.append(text(frame.left, line + 9.6 * place, words, TITLE))
    return "".join(told)


def _frame(frame: Frame) -> str:
    ticks = "".join(f"M{number(frame.left)} {number(frame.y.at(value))}h-2.4" for value, _ in frame.y_ticks)
    ticks += _lower_ticks(frame.x, tuple(frame.x_ticks), frame.bottom)
    box = (
        f"M{number(frame.left)} {number(frame.top)}h{number(frame.width)}v{number(frame.height)}"
        f"h{number(-frame.width)}z"
    )
    return f'<path d="{box}{ticks}" fill="none" stroke="#222" stroke-width=".6"/>'


def _words(axis: Axis) -> str:
    return " / ".join(part for part in (axis.words, axis.unit) if part)


def _upright(frame: Frame) -> str:
    words = shortened(_words(frame.panel.y), _AXIS, frame.height + 12.0)
    x = frame.left - frame.left_room + 8.0
    y = frame.top + frame.height / 2.0
    half = room_of(words, _AXIS) / 2.0
    y = max(y, half + 1.0)
    turned = f' text-anchor="middle" transform="rotate(-90 {number(x)} {number(y)})"'
    return text(x, y, words, _AXIS, turned) if words else ""


def legend(entries: Sequence[tuple[str, Look]]) -> str:
    """Return a line above the panels that shows names and looks, to the right."""
    if not entries:
        return ""
    room = (WIDTH - 8.0) / len(entries) - 34.0
    told = [(shortened(name, SMALL, room), look) for name, look in entries]
    left = WIDTH - 8.0 - sum(room_of(name, SMALL) + 34.0 for name, _ in told)
    parts = []
    for name, look in told:
        if look.width > 0.0:
            dashes = (
                f' stroke-dasharray="{" ".join(f"{part:g}" for part in look.dashes)}"' if look.dashes else ""
            )
            parts.append(
                f'<path d="M{number(left)} 8h22" fill="none" stroke="{look.colour}" '
                f'stroke-width="{look.width:g}"{dashes}/>'
            )
        if look.marker:
            parts.append(markers([(left + 11.0, 8.0)], look))
        parts.append(text(left + 25.0, 8.0, name, SMALL))
        left += room_of(name, SMALL) + 34.0
    return "".join(parts)


_SHAPES = {
    "circle": "m0-1.5a1.5 1.5 0 1 1-.1 0z",
    "square": "m-1.4-1.4h2.8v2.8h-2.8z",
    "triangle": "m0-1.8l1.7 3h-3.4z",
    "diamond": "m0-1.9l1.9 1.9l-1.9 1.9l-1.9-1.9z",
}


def markers(points: Sequence[tuple[float, float]], look: Look) -> str:
    """Return the markers of a look at points."""
    if not points:
        return ""
    shape = _SHAPES[look.marker]
    path = "".join(f"M{number(x)} {number(y)}{shape}" for x, y in points)
    inside = look.colour if look.filled else "#fff"
    return f'<path d="{path}" fill="{inside}" stroke="{look.colour}" stroke-width=".7"/>'
