"""Limits in a drawing: their lines, the side that fails, the worst points, and where nothing counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from benchsweep.records import End, LimitCurve, Parameter, Trace, VerdictRow
from benchsweep.report._drawing import straightened, thinned
from benchsweep.report._words import decided_elsewhere

__all__ = [
    "Bar",
    "Key",
    "aside",
    "draw_graded",
    "draw_limits",
    "left_out",
    "mark_uncertainty",
    "mark_worst",
    "merged",
    "shade",
]

Key = tuple[Parameter, End | None, tuple[str, ...]]
Mask = NDArray[np.bool_]

_DASHES: tuple[Any, ...] = (
    "solid",
    (0, (6, 1.6)),
    (0, (1.6, 1.1)),
    (0, (7, 1.3, 1.3, 1.3)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (10, 3)),
)
_MOST_LINES = len(_DASHES)
_HALO = {"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}


@dataclass(frozen=True)
class Bar:
    """What traces are held against in a drawing.

    Parameters
    ----------
    name
        What it is called there: ``limit``, or ``limit 2`` where there are several.
    curve
        Its line, None when there is none.
    worst
        The worst row of each end, to be marked.
    not_counting
        Of a trace: ``(n_freq,)``, True where the limit does not count for it; others count all over.
    graded
        Traces as this requirement grades them, where that is not as they are drawn.
    """

    name: str
    curve: LimitCurve | None
    worst: Mapping[End | None, VerdictRow]
    not_counting: Mapping[Key, Mask] = field(default_factory=dict)
    graded: Mapping[Key, Trace] = field(default_factory=dict)


def merged(bars: Sequence[Bar]) -> list[tuple[str, LimitCurve, list[Bar]]]:
    """Return the different lines among `bars`, with the name to write at each: ``limit 1, 3``."""
    groups: list[list[Bar]] = []
    for bar in bars:
        if bar.curve is None:
            continue
        for group in groups:
            if _same(group[0].curve, bar.curve):
                group.append(bar)
                break
        else:
            groups.append([bar])
    told = []
    for group in groups:
        names = [group[0].name, *(bar.name.removeprefix("limit ") for bar in group[1:])]
        curve = group[0].curve
        if curve is not None:
            told.append((", ".join(names), curve, group))
    return told


def left_out(bars: Sequence[Bar]) -> str:
    """Return the names of limits for whose lines there is no room in a drawing; empty when all are drawn."""
    return "; ".join(name for name, _, _ in merged(bars)[_MOST_LINES:])


def _same(one: LimitCurve | None, other: LimitCurve | None) -> bool:
    return (
        one is not None
        and other is not None
        and (one.parameter, one.sense) == (other.parameter, other.sense)
        and np.array_equal(one.frequency_hz, other.frequency_hz)
        and np.array_equal(one.value, other.value, equal_nan=True)
    )


def aside(trace: Trace, bars: Sequence[Bar]) -> Mask:
    """Return where no limit counts for `trace` although there is one: True there."""
    limiting = [bar for bar in bars if bar.curve is not None and bar.curve.parameter is trace.parameter]
    masks = [_mask(trace, bar) for bar in limiting]
    if not masks:
        return np.zeros(trace.frequency_hz.size, dtype=np.bool_)
    idle: Mask = np.all(masks, axis=0)
    return idle


def _mask(trace: Trace, bar: Bar) -> Mask:
    mask = bar.not_counting.get((trace.parameter, trace.end, trace.pairs))
    if mask is None or mask.size != trace.frequency_hz.size:
        return np.zeros(trace.frequency_hz.size, dtype=np.bool_)
    return mask


def _idle(curve: LimitCurve, traces: Sequence[Trace], group: Sequence[Bar]) -> Mask:
    """Return where the line counts for none of `traces`."""
    held = [trace for trace in traces if trace.parameter is curve.parameter]
    fitting = [trace for trace in held if np.array_equal(trace.frequency_hz, curve.frequency_hz)]
    if not fitting or len(fitting) < len(held):
        return np.zeros(curve.frequency_hz.size, dtype=np.bool_)
    idle: Mask = np.all([_mask(trace, bar) for trace in fitting for bar in group], axis=0)
    return idle


def _drawn(curve: LimitCurve, *masks: Mask) -> NDArray[np.intp]:
    """Return the points of a limit that are drawn: enough for its shape, and where a mask changes."""
    changes = [np.flatnonzero(np.diff(mask.astype(np.int8))) for mask in masks]
    shape = straightened(np.log(curve.frequency_hz), curve.value)
    return np.unique(np.concatenate([shape, *changes, *(change + 1 for change in changes)]))


def draw_limits(axes: Axes, traces: Sequence[Trace], bars: Sequence[Bar]) -> None:
    """Draw the different limits: heavy where they count, thin where they count for none of `traces`."""
    lines = merged(bars)[:_MOST_LINES]
    for (name, curve, group), dashes in zip(lines, _DASHES, strict=False):
        idle = _idle(curve, traces, group)
        held = np.zeros_like(idle) if curve.held is None else curve.held & ~idle
        index = _drawn(curve, idle, held)
        at, value, idle, held = curve.frequency_hz[index] / 1e6, curve.value[index], idle[index], held[index]
        axes.plot(
            at,
            np.where(idle, np.nan, value),
            color="black",
            linewidth=1.8 if len(lines) == 1 else 1.4,
            linestyle=dashes,
            label=name,
            gid="limit" if len(lines) == 1 else "limits",
            zorder=3,
        )
        if len(lines) > 1:
            _name_at_end(axes, at, value, name)
        if idle.any():
            joined = idle | np.roll(idle, 1)
            joined[0] = idle[0]
            thin = np.where(joined, value, np.nan)
            axes.plot(at, thin, color="#777777", linewidth=0.6, gid="idle", zorder=3)
        if held.any():
            core = np.where(held, value, np.nan)
            axes.plot(at, core, color="white", linewidth=0.6, gid="held", zorder=3.5)


def _name_at_end(axes: Axes, at_mhz: NDArray[np.float64], value: NDArray[np.float64], name: str) -> None:
    """Write the number of a limit where its line ends: others may run below or above it, and further."""
    finite = np.flatnonzero(np.isfinite(value))
    if finite.size == 0:
        return
    last = finite[-1]
    axes.plot(
        [at_mhz[last]], [value[last]], "|", ms=7, mec="black", mew=1.2, gid="end", zorder=4, clip_on=False
    )
    axes.annotate(
        name.removeprefix("limit "),
        (at_mhz[last], value[last]),
        (-3, -4),
        textcoords="offset points",
        ha="right",
        va="top",
        fontsize=7,
        fontweight="bold",
        zorder=6,
        bbox=_HALO,
        gid="number",
    )


def draw_graded(axes: Axes, end: End | None, bars: Sequence[Bar]) -> None:
    """Draw the worst trace of each requirement as it grades it, where that is not as measured."""
    for bar in bars:
        row = bar.worst.get(end)
        trace = None if row is None else bar.graded.get((row.parameter, row.end, row.pairs))
        if row is None or trace is None:
            continue
        at = row.frequency_hz
        keep = None if at is None else int(np.argmin(np.abs(trace.frequency_hz - at)))
        index = thinned(trace.frequency_hz, trace.value, keep)
        axes.plot(
            trace.frequency_hz[index] / 1e6,
            np.where(np.isfinite(trace.value), trace.value, np.nan)[index],
            color="black",
            linestyle=(0, (1, 1)),
            linewidth=0.8,
            gid="graded",
            zorder=2.5,
        )


def shade(axes: Axes, traces: Sequence[Trace], bars: Sequence[Bar]) -> None:
    """Shade the side on which values fail, darker where they fail more limits."""
    lines = merged(bars)[:_MOST_LINES]
    for _, curve, group in lines:
        idle = _idle(curve, traces, group)
        index = _drawn(curve, idle)
        finite = (np.isfinite(curve.value) & ~idle)[index]
        if not finite.any():
            continue
        low, high = axes.get_ylim()
        axes.fill_between(
            curve.frequency_hz[index] / 1e6,
            curve.value[index],
            low if curve.sense == "min" else high,
            where=finite.tolist(),
            color="#e4e4e4" if len(lines) == 1 else "black",
            alpha=None if len(lines) == 1 else 0.07,
            linewidth=0,
            zorder=0,
        )


def mark_worst(axes: Axes, end: End | None, bars: Sequence[Bar]) -> None:
    """Ring the worst point of each limit, with its number where there are several."""
    points: dict[tuple[float, float], list[str]] = {}
    for bar in bars:
        row = bar.worst.get(end)
        if row is not None and row.frequency_hz is not None and row.value is not None:
            points.setdefault((row.frequency_hz / 1e6, row.value), []).append(bar.name)
    for (at, value), names in points.items():
        axes.plot(
            [at], [value], "o", ms=9, mfc="none", mec="black", mew=1.3, gid="worst", zorder=5, clip_on=False
        )
        numbers = ", ".join(name.removeprefix("limit ") for name in names if name.startswith("limit "))
        if len(bars) > 1 and numbers:
            axes.annotate(
                numbers,
                (at, value),
                (-5, 5),
                textcoords="offset points",
                ha="right",
                fontsize=7,
                zorder=6,
                bbox=_HALO,
            )


def mark_uncertainty(axes: Axes, worst: VerdictRow | None, curve: LimitCurve | None) -> None:
    """Draw how sure the worst value is, and where a value would have to lie there to be accepted."""
    if worst is None or worst.frequency_hz is None or worst.value is None:
        return
    at_mhz = worst.frequency_hz / 1e6
    if worst.uncertainty_low is not None and worst.uncertainty_high is not None:
        low, high = worst.value - worst.uncertainty_low, worst.value + worst.uncertainty_high
        # Drawn up to the edge of the panel where it has no end; scaled by what is finite.
        ends = [edge if np.isfinite(edge) else far for edge, far in ((low, -1e6), (high, 1e6))]
        axes.plot([at_mhz] * 2, ends, color="black", linewidth=0.9, gid="uncertainty", zorder=4)
    if curve is None or worst.limit is None or decided_elsewhere(worst):
        return
    if worst.guard_band and np.isfinite(worst.guard_band):
        accepted = worst.limit + (worst.guard_band if curve.sense == "min" else -worst.guard_band)
        axes.plot(
            [at_mhz], [accepted], "_", ms=11, mec="black", mew=1.4, gid="acceptance", zorder=4, clip_on=False
        )
