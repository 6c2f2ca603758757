"""One drawing per parameter, both ends side by side, as SVG text.

Inline SVG, not pixels: it prints sharply at any size, its words can be searched and read aloud, and it is no
larger than PNG (the drawing with most traces takes 171 kB, its PNG 179 kB at 150 and 270 kB at 200 dots per
inch). What keeps it small: a trace is drawn with some 250 points (the least and the
greatest value of each stretch, and always the worst point); coordinates are rounded to a tenth of a point.

A trace is told by its label, and by line style and colour (the receiving pair) and marker (the disturbing
pair); the colours are close to those of Okabe and Ito, "Color universal design" (2008), chosen for
colour-blind readers.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter
from numpy.typing import NDArray

from benchsweep.records import End, LimitCurve, Parameter, Trace, VerdictRow
from benchsweep.report._words import PARAMETER_WORDS, clean, decided_elsewhere, megahertz, pairs_words, signed

__all__ = ["MARKERS", "PAIR_STYLES", "RC", "draw_parameter", "inline", "label_traces", "thinned"]

PAIR_STYLES: Mapping[str, tuple[str, Any]] = {
    "12": ("#0072B2", "solid"),
    "36": ("#D55E00", (0, (6, 2))),
    "45": ("#009E73", (0, (1.5, 1.2))),
    "78": ("#AA4499", (0, (6, 1.5, 1.2, 1.5))),
}
_OTHER_STYLE: tuple[str, Any] = ("#555555", "solid")
MARKERS: Mapping[str, str] = {"12": "o", "36": "s", "45": "^", "78": "D"}
_STRETCHES = 125
_BEYOND_LIMIT_DB = 45.0
_MOST_SHOWN = 6.0
_WIDTH_IN, _HEIGHT_IN = 7.6, 3.0

RC: Any = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.titlesize": 8.0,
    "axes.unicode_minus": True,
    "path.simplify": False,
    "text.parse_math": False,
}


def thinned(
    frequency_hz: NDArray[np.float64], value: NDArray[np.float64], keep: int | None
) -> NDArray[np.intp]:
    """Return the indices of the points to draw, rising.

    The axis is cut into stretches of equal length on a logarithmic scale; each gives its least and its
    greatest finite value. The first, the last and the point `keep` are always among them.
    """
    size = frequency_hz.size
    if size <= 2 * _STRETCHES:
        return np.arange(size)
    position = np.log(frequency_hz / frequency_hz[0])
    edges = np.linspace(0.0, float(position[-1]), _STRETCHES + 1)[1:-1]
    starts = np.unique(np.concatenate(([0], np.searchsorted(position, edges))))
    chosen = {0, size - 1} | ({keep} if keep is not None else set())
    for start, stop in zip(starts, [*starts[1:], size], strict=True):
        finite = np.flatnonzero(np.isfinite(value[start:stop])) + start
        if finite.size == 0:
            chosen.add(int(start))
            continue
        chosen |= {int(finite[np.argmin(value[finite])]), int(finite[np.argmax(value[finite])])}
    return np.array(sorted(chosen), dtype=np.intp)


def draw_parameter(
    parameter: Parameter,
    traces: Sequence[Trace],
    curve: LimitCurve | None,
    worst: Mapping[End | None, VerdictRow],
) -> str:
    """Return the SVG element with all `traces` of `parameter`, one panel for each end.

    Parameters
    ----------
    parameter, traces
        What to draw; all traces are of that parameter.
    curve
        The limit line, None when there is none.
    worst
        The worst row of each end, to be marked.
    """
    ends: list[End | None] = sorted({trace.end for trace in traces}, key=lambda end: end or "")
    with mpl.rc_context(RC | {"svg.hashsalt": f"benchsweep {parameter}"}):
        figure = Figure(figsize=(_WIDTH_IN, _HEIGHT_IN))
        FigureCanvasSVG(figure)
        share = 1.0 / max(len(ends), 2)
        for place, end in enumerate(ends):
            # A lone panel (delay, skew) takes the left half, so that all panels have one size.
            axes = figure.add_axes((place * share + 0.070, 0.135, share - 0.130, 0.785))
            _panel(axes, end, [trace for trace in traces if trace.end == end], curve, worst.get(end))
        figures = figure.axes
        low = min(axes.get_ylim()[0] for axes in figures)
        high = max(axes.get_ylim()[1] for axes in figures)
        for axes in figures:
            axes.set_ylim(low, high)
            label_traces(axes)
            _shade(axes, curve)
        stream = io.StringIO()
        figure.savefig(stream, format="svg", metadata={"Date": None})
    return inline(stream.getvalue(), f"{PARAMETER_WORDS[parameter]} over frequency")


def _panel(
    axes: Axes, end: End | None, traces: Sequence[Trace], curve: LimitCurve | None, worst: VerdictRow | None
) -> None:
    parameter = traces[0].parameter
    axes.set_xscale("log")
    for number, trace in enumerate(traces):
        marked = worst if worst is not None and worst.pairs == trace.pairs else None
        _draw_trace(axes, trace, number, marked)
    if curve is not None:
        axes.plot(curve.frequency_hz / 1e6, curve.value, color="black", linewidth=1.8, gid="limit", zorder=3)
    if worst is not None and worst.frequency_hz is not None and worst.value is not None:
        at = worst.frequency_hz / 1e6
        axes.plot(
            [at],
            [worst.value],
            "o",
            ms=9,
            mfc="none",
            mec="black",
            mew=1.3,
            gid="worst",
            zorder=5,
            clip_on=False,
        )
        _mark_uncertainty(axes, at, worst, curve)
    _scale(axes, traces, curve, worst)
    axes.set_xlabel("frequency / MHz", labelpad=1.5)
    axes.set_ylabel(f"{PARAMETER_WORDS[parameter]} / {parameter.unit}")
    axes.yaxis.set_label_coords(-0.14, 0.5)  # where it meets neither the widest number nor the edge
    axes.set_title(_title(end, worst), loc="left", pad=4)
    axes.grid(visible=True, which="major", color="#cccccc", linewidth=0.4)
    axes.tick_params(which="both", length=2, width=0.4, pad=2)


def _mark_uncertainty(axes: Axes, at_mhz: float, worst: VerdictRow, curve: LimitCurve | None) -> None:
    """Draw how sure the worst value is, and where a value would have to lie there to be accepted."""
    if worst.value is not None and worst.uncertainty_low is not None and worst.uncertainty_high is not None:
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


def _draw_trace(axes: Axes, trace: Trace, number: int, worst: VerdictRow | None) -> None:
    keep = None
    if worst is not None and worst.frequency_hz is not None:
        keep = int(np.argmin(np.abs(trace.frequency_hz - worst.frequency_hz)))
    index = thinned(trace.frequency_hz, trace.value, keep)
    value = np.where(np.isfinite(trace.value), trace.value, np.nan)[index]
    colour, dashes = PAIR_STYLES.get(trace.pairs[0], _OTHER_STYLE) if trace.pairs else _OTHER_STYLE
    marker = MARKERS.get(trace.pairs[1], "x") if len(trace.pairs) > 1 else None
    every = max(index.size // 5, 1)
    axes.plot(
        trace.frequency_hz[index] / 1e6,
        value,
        color=colour,
        linestyle=dashes,
        linewidth=0.8 if worst is None else 1.2,
        marker=marker,
        markersize=3,
        markerfacecolor="white",
        markeredgewidth=0.6,
        markevery=((number * every) // 12, every),
        label=clean(pairs_words(trace.pairs)),
        gid="trace",
    )


def _title(end: End | None, worst: VerdictRow | None) -> str:
    head = "" if end is None else f"end {end}: "
    if worst is None:
        return f"{head}no limit" if head else "no limit"
    if worst.worst_margin_db is None:
        return f"{head}{worst.outcome.value}"
    pairs = clean(pairs_words(worst.pairs))
    return (
        f"{head}{worst.outcome.value}, worst {pairs} {signed(worst.worst_margin_db)} {worst.parameter.unit}"
        f" at {megahertz(worst.frequency_hz)} MHz"
    )


def _scale(axes: Axes, traces: Sequence[Trace], curve: LimitCurve | None, worst: VerdictRow | None) -> None:
    values = np.concatenate([trace.value for trace in traces])
    values = values[np.isfinite(values)]
    limit = curve.value[np.isfinite(curve.value)] if curve is not None else np.empty(0)
    if limit.size and curve is not None:
        reach = _BEYOND_LIMIT_DB if curve.parameter.unit == "dB" else np.inf
        values = values[values <= limit.max() + reach] if curve.sense == "min" else values
    marked = _marks(worst)
    everything = np.concatenate([values, limit, [v for v in marked if np.isfinite(v)]])
    if everything.size == 0:
        everything = np.array([0.0, 1.0])
    low, high = float(everything.min()), float(everything.max())
    margin = 0.05 * (high - low) or 0.5
    axes.set_ylim(low - margin, high + margin)
    start = min(float(trace.frequency_hz[0]) for trace in traces) / 1e6
    stop = max(float(trace.frequency_hz[-1]) for trace in traces) / 1e6
    if start == stop:
        start, stop = start / 1.1, stop * 1.1
    axes.set_xlim(start, stop)
    ticks = [m * 10.0**d for d in range(-3, 5) for m in (1, 2, 5) if start <= m * 10.0**d <= stop]
    if stop / start > 30:
        ticks = [t for t in ticks if t not in {2.0, 5.0, 0.2, 0.5, 20.0, 50.0, 200.0, 2000.0}]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _marks(worst: VerdictRow | None) -> list[float]:
    """Return the values that have to be inside the panel: the worst one and the ends of its interval."""
    if worst is None or worst.value is None:
        return []
    low, high = worst.uncertainty_low or 0.0, worst.uncertainty_high or 0.0
    # An interval of many dB would leave no room for the traces.
    return [worst.value, worst.value - min(low, _MOST_SHOWN), worst.value + min(high, _MOST_SHOWN)]


def _shade(axes: Axes, curve: LimitCurve | None) -> None:
    """Shade the side on which values fail, and name the line."""
    if curve is None:
        return
    finite = np.isfinite(curve.value)
    if not finite.any():
        return
    low, high = axes.get_ylim()
    far = low if curve.sense == "min" else high
    axes.fill_between(
        curve.frequency_hz / 1e6,
        curve.value,
        far,
        where=finite.tolist(),
        color="#e4e4e4",
        linewidth=0,
        zorder=0,
    )


def label_traces(axes: Axes) -> None:
    """Write the name of each trace at its right end, moved apart where they would meet."""
    lines = [line for line in axes.get_lines() if line.get_gid() in ("trace", "limit")]
    low, high = axes.get_ylim()
    ends: list[tuple[float, str, Any]] = []
    for line in lines:
        data = np.asarray(line.get_ydata(), dtype=float)
        finite = data[np.isfinite(data)]
        if finite.size:
            name = "limit" if line.get_gid() == "limit" else str(line.get_label())
            ends.append((float(np.clip((finite[-1] - low) / (high - low), 0, 1)), name, line.get_color()))
    ends.sort(key=lambda item: item[0])
    height = 8.2 / (_HEIGHT_IN * 72 * 0.785)
    places = _apart([item[0] for item in ends], height)
    for (at, name, colour), place in zip(ends, places, strict=True):
        axes.annotate(
            name,
            xy=(1.0, at),
            xytext=(1.035, place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            fontsize=7,
            fontweight="bold" if name == "limit" else "normal",
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "linewidth": 0.5,
                "shrinkA": 0,
                "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
            annotation_clip=False,
        )


def _apart(wanted: Sequence[float], height: float) -> list[float]:
    """Return rising positions at least `height` apart, as near to the rising `wanted` as can be, up to 1."""
    groups: list[list[float]] = []  # of wanted positions, each less the height of the labels below it
    for index, want in enumerate(wanted):
        groups.append([want - index * height])
        while len(groups) > 1 and float(np.mean(groups[-2])) > float(np.mean(groups[-1])):
            last = groups.pop()
            groups[-1] += last
    level = [float(np.mean(group)) for group in groups for _ in group]
    top = 1.0 - height * (len(level) - 1)
    return [max(min(place, top), 0.0) + index * height for index, place in enumerate(level)]


_NUMBER = re.compile(r"-?\d+\.\d+")
_PATH = re.compile(r' d="([^"]*)"')


def inline(svg: str, words: str) -> str:
    """Return the ``<svg>`` element alone, smaller, with a name for people who hear it."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = _PATH.sub(lambda match: f' d="{_short_path(match[1])}"', svg)
    svg = re.sub(r' (?:x|y|transform)="[^"]*"', lambda match: _NUMBER.sub(_short, match[0]), svg)
    # Only marker and clip definitions are referred to; the names of groups would repeat over the page.
    svg = re.sub(r'<g id="[^"]*"', "<g", svg)
    svg = re.sub(r"font: ([^;\"]*?)'[^;\"]*", r"font: \1sans-serif", svg)
    svg = re.sub(r"\n\s*", "\n", svg)
    svg = re.sub(r'<svg [^>]*viewBox="([^"]*)"[^>]*>', _OPEN.format(words=words), svg, count=1)
    return svg.strip()


_OPEN = (
    r'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
    r'viewBox="\1" role="img" aria-label="{words}">'
)


def _short(match: re.Match[str]) -> str:
    text = f"{float(match[0]):.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def _short_path(path: str) -> str:
    return re.sub(r"\s*([MLQCzZ])\s*", r"\1", _NUMBER.sub(_short, path)).strip()
