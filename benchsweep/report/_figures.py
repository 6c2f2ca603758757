"""One drawing per parameter over frequency, both ends side by side, with the limits of every requirement.

A trace is told by its label, and by line style and colour (the receiving pair) and marker (the disturbing
pair). Limits are black; where there are several they are numbered and differ by their dashes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.markers import TICKDOWN
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import NDArray

from benchsweep.records import End, Parameter, Trace, VerdictRow
from benchsweep.report._drawing import (
    MARKERS,
    OTHER_STYLE,
    drawing,
    label_traces,
    pair_style,
    quiet,
    thinned,
    write_svg,
)
from benchsweep.report._limits import (
    Bar,
    Key,
    aside,
    draw_graded,
    draw_limits,
    mark_uncertainty,
    mark_worst,
    shade,
)
from benchsweep.report._words import PARAMETER_WORDS, clean, megahertz, pairs_words, signed

__all__ = ["draw_frequency_axis", "draw_parameter"]

_BEYOND_LIMIT_DB = 45.0
_MOST_SHOWN = 6.0
_MOST_TITLES = 3
_WIDTH_IN, _HEIGHT_IN, _TITLE_IN = 7.6, 3.0, 0.125


def draw_parameter(parameter: Parameter, traces: Sequence[Trace], bars: Sequence[Bar]) -> str:
    """Return the SVG element with all `traces`, one panel for each end.

    Parameters
    ----------
    parameter
        What is drawn.
    traces
        All of `parameter`.
    bars
        The limits they are held against.
    """
    ends: list[End | None] = sorted({trace.end for trace in traces}, key=lambda end: end or "")
    extra = _TITLE_IN * (max(len(_title(end, bars).split("\n")) for end in ends) - 1)
    tall = _HEIGHT_IN + extra
    with drawing(str(parameter), _WIDTH_IN, tall) as figure:
        share = 1.0 / max(len(ends), 2)
        low, high = 0.405 / tall, 2.355 / tall
        for place, end in enumerate(ends):
            # A lone panel (delay, skew) takes the left half, so that all panels have one size.
            axes = figure.add_axes((place * share + 0.070, low, share - 0.130, high))
            _panel(axes, end, [trace for trace in traces if trace.end == end], bars)
        figures = figure.axes
        lowest = min(axes.get_ylim()[0] for axes in figures)
        highest = max(axes.get_ylim()[1] for axes in figures)
        for axes, end in zip(figures, ends, strict=True):
            axes.set_ylim(lowest, highest)
            label_traces(axes)
            shade(axes, [trace for trace in traces if trace.end == end], bars)
        return write_svg(figure, f"{PARAMETER_WORDS[parameter]} over frequency")


def _panel(axes: Axes, end: End | None, traces: Sequence[Trace], bars: Sequence[Bar]) -> None:
    parameter = traces[0].parameter
    axes.set_xscale("log")
    for number, trace in enumerate(traces):
        _draw_trace(axes, trace, number, bars)
    draw_limits(axes, traces, bars)
    draw_graded(axes, end, bars)
    mark_worst(axes, end, bars)
    for bar in bars:
        mark_uncertainty(axes, bar.worst.get(end), bar.curve)
    _scale(axes, end, traces, bars)
    axes.set_xlabel("frequency / MHz", labelpad=1.5)
    axes.set_ylabel(f"{PARAMETER_WORDS[parameter]} / {parameter.unit}")
    axes.yaxis.set_label_coords(-0.14, 0.5)  # where it meets neither the widest number nor the edge
    axes.set_title(_title(end, bars), loc="left", pad=4)
    quiet(axes)


def _draw_trace(axes: Axes, trace: Trace, number: int, bars: Sequence[Bar]) -> None:
    key: Key = (trace.parameter, trace.end, trace.pairs)
    rows = [row for bar in bars for row in bar.worst.values() if (row.parameter, row.end, row.pairs) == key]
    worst = next((row for row in rows if row.frequency_hz is not None), None)
    keep = None
    if worst is not None and worst.frequency_hz is not None:
        keep = int(np.argmin(np.abs(trace.frequency_hz - worst.frequency_hz)))
    index = thinned(trace.frequency_hz, trace.value, keep)
    value = np.where(np.isfinite(trace.value), trace.value, np.nan)[index]
    at = trace.frequency_hz[index] / 1e6
    colour, dashes = pair_style(trace.pairs[0]) if 1 <= len(trace.pairs) <= 2 else OTHER_STYLE
    name = clean(pairs_words(trace.pairs))
    idle = aside(trace, bars)[index]
    if idle.any():
        # A neighbour more, so that no gap opens between the two stretches.
        shown = idle | np.roll(idle, 1) | np.roll(idle, -1)
        axes.plot(
            at,
            np.where(shown, value, np.nan),
            color="#a8a8a8",
            linewidth=0.5,
            label=name,
            gid="trace" if idle[-1] else "aside",
            zorder=1.5,
        )
    every = max(index.size // 5, 1)
    axes.plot(
        at,
        np.where(idle, np.nan, value),
        color=colour,
        linestyle=dashes,
        linewidth=0.8 if worst is None else 1.2,
        marker=MARKERS.get(trace.pairs[1], "x") if len(trace.pairs) == 2 else None,
        markersize=3,
        markerfacecolor="white",
        markeredgewidth=0.6,
        markevery=((number * every) // 12, every),
        label=name,
        gid="counting" if idle[-1] else "trace",
    )


def _title(end: End | None, bars: Sequence[Bar]) -> str:
    head = "" if end is None else f"end {end}"
    rows = [(bar.name, bar.worst[end]) for bar in bars if end in bar.worst]
    if not rows:
        return f"{head}: no limit" if head else "no limit"
    if len(rows) == 1 and len(bars) == 1:
        return ": ".join(part for part in (head, _row_words(rows[0][1], "worst ")) if part)
    if len(rows) > _MOST_TITLES:
        told = [row.outcome.value for _, row in rows]
        words = ", ".join(f"{told.count(outcome)} {outcome}" for outcome in dict.fromkeys(sorted(told)))
        return f"{head}: {words}" if head else words
    return "\n".join([*([head] if head else []), *(f"{name}: {_row_words(row)}" for name, row in rows)])


def _row_words(row: VerdictRow, worst: str = "") -> str:
    if row.worst_margin_db is None:
        return row.outcome.value
    pairs = clean(pairs_words(row.pairs))
    return (
        f"{row.outcome.value}, {worst}{pairs} {signed(row.worst_margin_db)} {row.parameter.unit}"
        f" at {megahertz(row.frequency_hz)} MHz"
    )


def _scale(axes: Axes, end: End | None, traces: Sequence[Trace], bars: Sequence[Bar]) -> None:
    values = np.concatenate([trace.value for trace in traces])
    values = values[np.isfinite(values)]
    limits = []
    for curve in (bar.curve for bar in bars):
        if curve is not None and np.isfinite(curve.value).any():
            limits.append(curve.value[np.isfinite(curve.value)])
    limit = np.concatenate(limits) if limits else np.empty(0)
    curves = [bar.curve for bar in bars if bar.curve is not None]
    if limit.size and all(curve.sense == "min" for curve in curves):
        reach = _BEYOND_LIMIT_DB if curves[0].parameter.unit == "dB" else np.inf
        values = values[values <= limit.max() + reach]
    marked = [value for bar in bars for value in _marks(bar.worst.get(end)) if np.isfinite(value)]
    everything = np.concatenate([values, limit, marked])
    if everything.size == 0:
        everything = np.array([0.0, 1.0])
    low, high = float(everything.min()), float(everything.max())
    margin = 0.05 * (high - low) or 0.5
    axes.set_ylim(low - margin, high + margin)
    draw_frequency_axis(axes, [trace.frequency_hz for trace in traces])


def draw_frequency_axis(axes: Axes, grids: Sequence[NDArray[np.float64]]) -> None:
    """Let the axis run over all of `grids` (Hz), with ticks at plain numbers of MHz."""
    start = min(float(grid[0]) for grid in grids) / 1e6
    stop = max(float(grid[-1]) for grid in grids) / 1e6
    if start == stop:
        start, stop = start / 1.1, stop * 1.1
    axes.set_xlim(start, stop)
    ticks = [m * 10.0**d for d in range(-3, 5) for m in (1, 2, 5) if start <= m * 10.0**d <= stop]
    if stop / start > 30:
        ticks = [t for t in ticks if t not in {2.0, 5.0, 0.2, 0.5, 20.0, 50.0, 200.0, 2000.0}]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    # One row of marks: a tick of the axis is an object of many parts, and hundreds of them take their time.
    axes.xaxis.set_minor_locator(NullLocator())
    minor = [m * 10.0**d for d in range(-3, 5) for m in range(1, 10) if start <= m * 10.0**d <= stop]
    axes.plot(
        minor,
        [0.0] * len(minor),
        transform=axes.get_xaxis_transform(),
        color="black",
        marker=TICKDOWN,
        markersize=2,
        markeredgewidth=0.4,
        linestyle="none",
        clip_on=False,
        gid="ticks",
    )


def _marks(worst: VerdictRow | None) -> list[float]:
    """Return the values that have to be inside the panel: the worst one and the ends of its interval."""
    if worst is None or worst.value is None:
        return []
    low, high = worst.uncertainty_low or 0.0, worst.uncertainty_high or 0.0
    # An interval of many dB would leave no room for the traces.
    return [worst.value, worst.value - min(low, _MOST_SHOWN), worst.value + min(high, _MOST_SHOWN)]
