"""The frame of a panel: grid, ticks, words of the axes, title."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.report.chart._layout import SMALL, TITLE, WIDTH, Frame
from benchsweep.report.chart._lettering import number, shortened, text
from benchsweep.report.chart._lettering import width as room_of
from benchsweep.report.chart._model import Axis, Look
from benchsweep.report.chart._scale import minor_places

__all__ = ["axes_over", "axes_under", "legend", "markers"]

_AXIS = 7.5


def axes_under(frame: Frame) -> str:
    """Return what lies under the curves: the grid."""
    xs = [frame.x.at(value) for value, _ in frame.x_ticks]
    ys = [frame.y.at(value) for value, _ in frame.y_ticks]
    upright = "".join(f"M{number(x)} {number(frame.top)}v{number(frame.height)}" for x in xs)
    level = "".join(f"M{number(frame.left)} {number(y)}h{number(frame.width)}" for y in ys)
    return f'<path d="{upright}{level}" fill="none" stroke="#d0d0d0" stroke-width=".4"/>'


def axes_over(frame: Frame) -> str:
    """Return what lies over the curves: the frame, ticks and their words, title and words of the axes."""
    told = [_frame(frame)]
    for value, words in frame.x_ticks:
        words = shortened(words, SMALL, frame.width / 2.0)
        told.append(text(frame.x.at(value), frame.bottom + 7.0, words, SMALL, ' text-anchor="middle"'))
    for value, words in frame.y_ticks:
        words = shortened(words, SMALL, frame.left_room - 3.9 - (13.0 if frame.y_words else 0.0))
        told.append(text(frame.left - 4.0, frame.y.at(value), words, SMALL, ' text-anchor="end"'))
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
    ticks = [f"M{number(frame.x.at(value))} {number(frame.bottom)}v2.4" for value, _ in frame.x_ticks]
    ticks += [f"M{number(frame.left)} {number(frame.y.at(value))}h-2.4" for value, _ in frame.y_ticks]
    if frame.x.log:
        minor = minor_places(frame.x.low, frame.x.high)
        ticks += [f"M{number(frame.x.at(value))} {number(frame.bottom)}v1.4" for value in minor]
    box = (
        f"M{number(frame.left)} {number(frame.top)}h{number(frame.width)}v{number(frame.height)}"
        f"h{number(-frame.width)}z"
    )
    return f'<path d="{box}{"".join(ticks)}" fill="none" stroke="#222" stroke-width=".6"/>'


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
