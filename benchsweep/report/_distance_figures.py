"""Drawings over the distance: a panel for each pair or pair combination, both ends in it.

Both ends are drawn over the distance from end A where the length is known, so that a place that both see
stands at one spot; else each over the distance from its own end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator
from numpy.typing import NDArray

from benchsweep.records import DistanceKind, DistanceTrace, End, Fault
from benchsweep.report._drawing import drawing, quiet, thinned_over, write_svg
from benchsweep.report._words import clean, number, pairs_words

__all__ = ["DISTANCE_WORDS", "draw_distance", "loss_ticks"]

DISTANCE_WORDS: Mapping[DistanceKind, str] = {
    "reflection": "return loss over distance",
    "crosstalk": "NEXT over distance",
    "impedance": "impedance over distance",
}
_END_STYLES: Mapping[End, tuple[str, Any, float]] = {
    "A": ("#0072B2", "solid", 0.9),
    "B": ("#D55E00", (0, (3.5, 1.2)), 0.9),
}
_WIDTH_IN, _ROW_IN = 7.6, 1.75
_TOP_IN, _BOTTOM_IN = 0.16, 0.36
_ROUND_DB = (0, 3, 6, 10, 14, 20, 26, 30, 34, 40, 46, 50, 54, 60, 66, 70, 74, 80, 86, 90, 94, 100, 106, 110)
_NOMINAL_OHM = 100.0
_LEAST_SPAN_OHM = 10.0
_SHOWN_OHM = (40.0, 250.0)
_FAR_BEYOND = 4.0


def draw_distance(
    kind: DistanceKind, traces: Sequence[DistanceTrace], faults: Sequence[Fault], length_m: float | None
) -> str:
    """Return the SVG element with all `traces` of one kind.

    Parameters
    ----------
    kind, traces
        What to draw.
    faults
        Those found, in the order of their numbers on the page; marked where they have a place.
    length_m
        Length of the specimen from end A; None: not known.
    """
    groups = list(dict.fromkeys(trace.pairs for trace in traces))
    across = 3 if len(groups) > 4 else min(len(groups), 2)
    down = -(-len(groups) // across)
    tall = _TOP_IN + _BOTTOM_IN + _ROW_IN * down
    with drawing(f"distance {kind}", _WIDTH_IN, tall) as figure:
        for place, pairs in enumerate(groups):
            row, column = divmod(place, across)
            left, right = 0.075 + column * 0.925 / across, 0.985 - (across - 1 - column) * 0.925 / across
            bottom = (_BOTTOM_IN + (down - 1 - row) * _ROW_IN + 0.02) / tall
            axes = figure.add_axes((left, bottom, right - left - 0.035, (_ROW_IN - 0.42) / tall))
            _panel(axes, [trace for trace in traces if trace.pairs == pairs], faults, length_m)
            if row == down - 1 or place + across >= len(groups):
                whence = "end A" if length_m is not None else "the end looked into"
                axes.set_xlabel(f"distance from {whence} / m", labelpad=1.5)
        _scale(figure.axes, kind, [[t for t in traces if t.pairs == pairs] for pairs in groups])
        for axes in figure.axes:
            axes.set_xlim(*_reach(traces, length_m))
            quiet(axes)
        _resolution(
            figure.axes[0],
            max(trace.resolution_m for trace in traces),
            at=0.92 if kind == "crosstalk" else 0.07,
        )
        lines = {str(line.get_label()): line for axes in figure.axes for line in axes.get_lines()}
        named = {words: lines[words] for words in sorted(lines) if words.startswith("from end")}
        figure.legend(
            list(named.values()), list(named), loc="upper right", ncols=2, frameon=False, fontsize=7,
            borderpad=0.1, handlelength=2.6, bbox_to_anchor=(0.985, 1.0),
        )  # fmt: skip
        return write_svg(figure, f"{DISTANCE_WORDS[kind]}, with the faults found")


def _panel(
    axes: Axes, traces: Sequence[DistanceTrace], faults: Sequence[Fault], length_m: float | None
) -> None:
    for trace in traces:
        at, value = _over_a(trace, length_m)
        index = thinned_over(at, value)
        colour, dashes, width = _END_STYLES[trace.end]
        axes.plot(
            at[index],
            value[index],
            color=colour,
            linestyle=dashes,
            linewidth=width,
            label=f"from end {trace.end}",
            gid=f"from {trace.end}",
        )
    if length_m is not None:
        for at_m in (0.0, length_m):
            axes.axvline(at_m, color="#555555", linewidth=0.6, linestyle=(0, (1, 2)), gid="end")
    pairs = traces[0].pairs
    axes.set_title(clean(f"{'pair' if len(pairs) == 1 else 'pairs'} {pairs_words(pairs)}"), loc="left", pad=9)
    _mark_faults(axes, pairs, faults, length_m)


def _over_a(trace: DistanceTrace, length_m: float | None) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return distance from end A, rising, and value; from its own end where the length is not known."""
    if trace.end == "B" and length_m is not None:
        return (length_m - trace.distance_m)[::-1], trace.value[::-1]
    return trace.distance_m, trace.value


def place_of(fault: Fault, length_m: float | None) -> tuple[float, float] | None:
    """Return from where to where a fault is, in metres from end A; None when that is not known."""
    if fault.from_m is not None and fault.to_m is not None:
        return fault.from_m, fault.to_m
    if fault.end == "A":
        return 0.0, 0.0
    return (length_m, length_m) if fault.end == "B" and length_m is not None else None


def _mark_faults(axes: Axes, pairs: tuple[str, ...], faults: Sequence[Fault], length_m: float | None) -> None:
    """Hatch where a fault of these pairs is, with its number above."""
    told: dict[tuple[float, float], list[str]] = {}
    for place, fault in enumerate(faults, start=1):
        where = place_of(fault, length_m)
        if where is not None and _concerns(fault, pairs):
            told.setdefault(where, []).append(str(place))
    for (begin, end), numbers in told.items():
        if end > begin:
            axes.axvspan(
                begin, end, facecolor="#eeeeee", edgecolor="#999999", hatch="////", linewidth=0.0, zorder=0,
                gid="fault",
            )  # fmt: skip
        else:
            axes.axvline(begin, color="#777777", linewidth=2.2, alpha=0.5, zorder=0.5, gid="fault")
        axes.annotate(
            f"{', '.join(numbers)}",
            ((begin + end) / 2.0, 1.0),
            (0, 1.5),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=7.5,
            fontweight="bold",
            annotation_clip=False,
            gid="number",
        )


def _concerns(fault: Fault, pairs: tuple[str, ...]) -> bool:
    """Return whether a fault belongs in the panel of `pairs`; one of several pairs lies between these."""
    common = set(pairs) & set(fault.pairs)
    return not fault.pairs or len(common) >= min(len(pairs), len(set(fault.pairs)))


def _reach(traces: Sequence[DistanceTrace], length_m: float | None) -> tuple[float, float]:
    if length_m is not None:
        return -0.06 * length_m, 1.06 * length_m
    return 0.0, max(float(trace.distance_m[-1]) for trace in traces) or 1.0


def _scale(panels: Sequence[Axes], kind: DistanceKind, groups: Sequence[Sequence[DistanceTrace]]) -> None:
    """Give the panels one scale, but for those that reach far beyond it.

    Coefficients are labelled with the loss they are. Impedances are cut off where no cable is.
    """
    peaks = [_span(kind, traces) for traces in groups]
    usual = float(np.median([high - low for low, high in peaks])) * _FAR_BEYOND
    ordinary = [span for span in peaks if span[1] - span[0] <= usual] or peaks
    shared = (min(low for low, _ in ordinary), max(high for _, high in ordinary))
    left = min(axes.get_position().x0 for axes in panels)
    for axes, (low, high) in zip(panels, peaks, strict=True):
        if high - low <= usual:
            low, high = shared
        margin = 0.06 * (high - low) or 1e-6
        axes.set_ylim(low - (0.0 if kind == "crosstalk" else margin), high + margin)
        if kind == "impedance":
            axes.axhline(_NOMINAL_OHM, color="#888888", linewidth=0.5, zorder=0.5)
        else:
            ticks = loss_ticks(high, both_sides=kind == "reflection")
            axes.yaxis.set_major_locator(FixedLocator([value for value, _ in ticks]))
            axes.yaxis.set_major_formatter(FixedFormatter([words for _, words in ticks]))
            axes.axhline(0.0, color="#888888", linewidth=0.5, zorder=0.5)
        if axes.get_position().x0 < left + 1e-6:
            axes.set_ylabel({"impedance": "ohm", "reflection": "return loss / dB"}.get(kind, "NEXT / dB"))


def _span(kind: DistanceKind, traces: Sequence[DistanceTrace]) -> tuple[float, float]:
    low = min(float(trace.value.min()) for trace in traces)
    high = max(float(trace.value.max()) for trace in traces)
    if kind == "impedance":
        low, high = (float(np.clip(edge, *_SHOWN_OHM)) for edge in (low, high))
        middle = (low + high) / 2.0
        return min(low, middle - _LEAST_SPAN_OHM / 2.0), max(high, middle + _LEAST_SPAN_OHM / 2.0)
    if kind == "reflection":
        reach = max(abs(low), abs(high))
        return -reach, reach
    return 0.0, high


def loss_ticks(highest: float, *, both_sides: bool) -> list[tuple[float, str]]:
    """Return coefficients at round losses up to `highest`, far enough apart to be read, and their words.

    A coefficient of 0 is an infinite loss.
    """
    found: list[tuple[float, str]] = []
    least = 0.1 * highest * (2.0 if both_sides else 1.0)
    last = np.inf
    for loss_db in _ROUND_DB:
        value = 10.0 ** (-loss_db / 20.0)
        if value <= highest * 1.02 and last - value >= least and value >= least:
            found.append((value, f"{loss_db}"))
            last = value
    below = [(-value, words) for value, words in found] if both_sides else []
    return [*below, (0.0, "∞"), *reversed(found)]


def _resolution(axes: Axes, resolution_m: float, *, at: float) -> None:
    """Draw as a bar how far two places have to be apart to be seen as two."""
    begin, end = axes.get_xlim()
    share = resolution_m / (end - begin)
    if not 0.0 < share < 0.9:
        return
    right = 0.98
    axes.plot(
        [right - share, right], [at, at], transform=axes.transAxes, color="black", linewidth=1.0,
        marker="|", markersize=4, gid="resolution", clip_on=False,
    )  # fmt: skip
    axes.annotate(
        f"resolution {number(resolution_m)} m",
        (right - share, at),
        (-4, 0),
        xycoords="axes fraction",
        textcoords="offset points",
        ha="right",
        va="center",
        fontsize=6.5,
        zorder=6,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
    )
