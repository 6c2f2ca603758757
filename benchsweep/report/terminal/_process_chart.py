"""A control chart in a few lines of characters: points, centre, control limits, what breaks a rule.

Nothing is told by colour: a point is `o`, one of a signal `X`, one of a run rule for information `+`.
"""

from __future__ import annotations

import numpy as np

from benchsweep.records import ChartSignal, ControlChart
from benchsweep.report.document import clean
from benchsweep.report.terminal._canvas import ASCII, UNICODE, Glyphs
from benchsweep.report.terminal._english import number
from benchsweep.report.terminal._frame import framed, number_axis
from benchsweep.report.terminal._lines import NARROWEST, columns, wrapped
from benchsweep.report.terminal._ticks import value_ticks

__all__ = ["CHART_NAMES", "control_chart", "signal_words"]

CHART_NAMES = {
    "individuals": "individuals chart",
    "moving-range": "moving range chart",
    "mean": "mean chart",
    "range": "range chart",
    "deviation": "standard deviation chart",
    "ewma": "EWMA chart",
}
_ROWS = 12
_MOST_POINTS = 4
_POINT, _DECISIVE, _INFORMING = "o", "X", "+"


def signal_words(chart: ControlChart, signal: ChartSignal) -> str:
    """Return a signal in words: which rule, and which points, by their place in the chart and their label."""
    points = [f"{chart.labels[at]} (point {at + 1})" for at in signal.points]
    noticed = ""
    if len(points) > 1 and signal.noticed != signal.points[0]:
        noticed = f"; seen first with {chart.labels[signal.noticed]}"
    if len(points) > _MOST_POINTS:
        points = [f"{points[0]} to {points[-1]}"]
    for_information = "" if signal.decisive else ", for information"
    return f"{signal.words} [{signal.rule}{for_information}]: {', '.join(points)}{noticed}"


def control_chart(
    chart: ControlChart, *, name: str = "", unit: str = "", width: int = 80, ascii_only: bool = False
) -> str:
    """Return a control chart as plain text of at most `width` columns, at least 40.

    First what it is and how its limits were made, then the plot. Where there are more points than columns
    several share one, and each is shown; a point that breaks a rule covers the others. Empty where no point
    can be shown.

    Parameters
    ----------
    name
        What it is called; by its kind where that is empty.
    unit
        Of the values.
    """
    width = max(width, NARROWEST)
    known = np.flatnonzero(np.isfinite(chart.value))
    if not known.size:
        return ""
    glyphs = ASCII if ascii_only else UNICODE
    low, high = _span(chart)
    ticks = value_ticks(low, high, _ROWS)
    left = max(3, *(len(words) + 1 for _, words in ticks))
    across = width - left - 1
    step = max(1, min(4, across // len(chart.labels)))
    used = min(across, step * len(chart.labels))
    cells = [[" "] * used for _ in range(_ROWS)]
    place = np.minimum((np.arange(len(chart.labels)) + 0.5) * used / len(chart.labels), used - 1).astype(int)
    _rule_lines(cells, chart, place, (low, high), glyphs)
    _points(cells, chart, place, (low, high))
    title = f"{name or CHART_NAMES[chart.kind]}{f', {unit}' if unit else ''}"
    lines = wrapped(title, width)
    lines += wrapped(_levels(chart, unit), width)
    lines += wrapped(chart.constants, width) if chart.constants else []
    lines += framed(["".join(row) for row in cells], ticks, left, glyphs, (low, high))
    lines += number_axis(_labels(chart, place, used), used, left, glyphs)
    lines += wrapped(_legend(chart, glyphs), width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _span(chart: ControlChart) -> tuple[float, float]:
    """Return lowest and highest value shown, with some room about them."""
    seen = np.concatenate((chart.value, chart.centre, chart.lower, chart.upper))
    seen = seen[np.isfinite(seen)]
    low, high = float(seen.min()), float(seen.max())
    # of values that are all but alike enough for numbers of a few decimals
    room = max(0.05 * (high - low), 1e-3 * max(abs(low), abs(high)), 0.005)
    return low - room, high + room


def _row(value: float, span: tuple[float, float]) -> int:
    low, high = span
    return min(max(int((high - value) / (high - low) * _ROWS), 0), _ROWS - 1)


def _rule_lines(
    cells: list[list[str]], chart: ControlChart, place: np.ndarray, span: tuple[float, float], glyphs: Glyphs
) -> None:
    """Draw the centre as a line and the limits as dashes, at each column that of the nearest point."""
    used = len(cells[0])
    nearest = np.abs(place[None, :] - np.arange(used)[:, None]).argmin(axis=1)
    middle = glyphs.level[1]
    for column, point in enumerate(nearest):
        for values, drawn in ((chart.centre, middle), (chart.lower, "="), (chart.upper, "=")):
            if np.isfinite(values[point]):
                cells[_row(float(values[point]), span)][column] = drawn


def _points(
    cells: list[list[str]], chart: ControlChart, place: np.ndarray, span: tuple[float, float]
) -> None:
    informing = {at for signal in chart.signals if not signal.decisive for at in signal.points}
    decisive = {at for signal in chart.signals if signal.decisive for at in signal.points}
    for sign, chosen in ((_POINT, None), (_INFORMING, informing), (_DECISIVE, decisive)):
        for at, value in enumerate(chart.value):
            if np.isfinite(value) and (chosen is None or at in chosen):
                cells[_row(float(value), span)][int(place[at])] = sign


def _levels(chart: ControlChart, unit: str) -> str:
    """Return centre and limits in numbers; those of the last point where they change."""
    known = np.flatnonzero(np.isfinite(chart.centre))
    if not known.size:
        return ""
    last = int(known[-1])
    moved = any(
        np.nanmax(values) - np.nanmin(values) > 1e-9
        for values in (chart.centre, chart.lower, chart.upper)
        if np.isfinite(values).any()
    )
    limits = [f"centre {number(float(chart.centre[last]), 3)}"]
    for name, values in (("lower limit", chart.lower), ("upper limit", chart.upper)):
        limits.append(
            f"{name} {number(float(values[last]), 3)}" if np.isfinite(values[last]) else f"no {name}"
        )
    when = " at the last point" if moved else ""
    return f"{', '.join(limits)}{f' {unit}' if unit else ''}{when}"


def _labels(chart: ControlChart, place: np.ndarray, used: int) -> list[tuple[int, str]]:
    """Return the first and last label, then others in between: who has no room is left out."""
    count = len(chart.labels)
    order = [0, count - 1, *(round(count * part / 8) for part in (4, 2, 6, 1, 3, 5, 7))]
    longest = max(4, used // 3)
    found = []
    for at in dict.fromkeys(min(max(each, 0), count - 1) for each in order):
        label = clean(chart.labels[at])
        if columns(label) == len(label) and len(label) <= longest:
            found.append((int(place[at]), label))
        else:  # a long name, or one of wide characters, would not stand where it belongs
            found.append((int(place[at]), str(at + 1)))
    return found


def _legend(chart: ControlChart, glyphs: Glyphs) -> str:
    parts = [f"{_POINT} point", f"{glyphs.level[1] * 2} centre", "== control limit"]
    if any(not signal.decisive for signal in chart.signals):
        parts.append(f"{_INFORMING} run rule, for information")
    if any(signal.decisive for signal in chart.signals):
        parts.append(f"{_DECISIVE} signal")
    if 0 < chart.baseline < len(chart.labels):
        parts.append(f"the first {chart.baseline} set centre and limits")
    return "; ".join(parts)
