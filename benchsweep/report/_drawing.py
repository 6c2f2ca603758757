"""What all drawings share: styles, thinning, labels at the ends of lines, and SVG text that stays small.

Inline SVG, not pixels: it prints sharply at any size, its words can be searched and read aloud, and it is no
larger than PNG (the drawing with most traces takes 171 kB, its PNG 179 kB at 150 and 270 kB at 200 dots per
inch). What keeps it small: a trace is drawn with some 250 points (the least and the
greatest value of each stretch, and always the worst point); coordinates are rounded to a tenth of a point.

The colours are close to those of Okabe and Ito, "Color universal design" (2008), chosen for colour-blind
readers; a line is always told by its style or its label too.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from numpy.typing import NDArray

__all__ = [
    "MARKERS",
    "OTHER_STYLE",
    "PAIR_STYLES",
    "apart",
    "drawing",
    "label_traces",
    "pair_style",
    "quiet",
    "straightened",
    "thinned",
    "thinned_over",
    "write_svg",
]

PAIR_STYLES: Mapping[str, tuple[str, Any]] = {
    "12": ("#0072B2", "solid"),
    "36": ("#D55E00", (0, (6, 2))),
    "45": ("#009E73", (0, (1.5, 1.2))),
    "78": ("#AA4499", (0, (6, 1.5, 1.2, 1.5))),
}
OTHER_STYLE: tuple[str, Any] = ("#555555", "solid")
MARKERS: Mapping[str, str] = {"12": "o", "36": "s", "45": "^", "78": "D"}
_STRETCHES = 125
_LABEL_POINTS = 8.2

_RC: Any = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.titlesize": 8.0,
    "axes.unicode_minus": True,
    "path.simplify": False,
    "text.parse_math": False,
}


@contextmanager
def drawing(salt: str, width_in: float, height_in: float) -> Iterator[Figure]:
    """Give an empty figure of that size; the same `salt` and content give the same text."""
    with mpl.rc_context(_RC | {"svg.hashsalt": f"benchsweep {salt}"}):
        figure = Figure(figsize=(width_in, height_in))
        FigureCanvasSVG(figure)
        yield figure


def write_svg(figure: Figure, words: str) -> str:
    """Return the SVG element of a figure made by `drawing`, inside its context; `words` are read aloud."""
    stream = io.StringIO()
    figure.savefig(stream, format="svg", metadata={"Date": None})
    return _inline(stream.getvalue(), words)


def pair_style(pair: str) -> tuple[str, Any]:
    """Return colour and dashes of a pair."""
    return PAIR_STYLES.get(pair, OTHER_STYLE)


def quiet(axes: Axes) -> None:
    """Give a panel a light grid and small ticks."""
    axes.grid(visible=True, which="major", color="#cccccc", linewidth=0.4)
    axes.tick_params(which="both", length=2, width=0.4, pad=2)


def thinned(
    frequency_hz: NDArray[np.float64], value: NDArray[np.float64], keep: int | None
) -> NDArray[np.intp]:
    """Return the indices of the points to draw, rising.

    The axis is cut into stretches of equal length on a logarithmic scale; each gives its least and its
    greatest finite value. The first, the last and the point `keep` are always among them.
    """
    if frequency_hz.size <= 2 * _STRETCHES:
        return np.arange(frequency_hz.size)
    return thinned_over(np.log(frequency_hz / frequency_hz[0]), value, keep)


def thinned_over(
    position: NDArray[np.float64], value: NDArray[np.float64], keep: int | None = None
) -> NDArray[np.intp]:
    """Return the indices of the points to draw over an axis that is linear in `position`; see `thinned`."""
    size = position.size
    if size <= 2 * _STRETCHES:
        return np.arange(size)
    edges = np.linspace(float(position[0]), float(position[-1]), _STRETCHES + 1)[1:-1]
    starts = np.unique(np.concatenate(([0], np.searchsorted(position, edges))))
    chosen = {0, size - 1} | ({keep} if keep is not None else set())
    for start, stop in zip(starts, [*starts[1:], size], strict=True):
        finite = np.flatnonzero(np.isfinite(value[start:stop])) + start
        if finite.size == 0:
            if stop > start:
                chosen.add(int(start))
            continue
        chosen |= {int(finite[np.argmin(value[finite])]), int(finite[np.argmax(value[finite])])}
    return np.array(sorted(chosen), dtype=np.intp)


def straightened(x: NDArray[np.float64], y: NDArray[np.float64], tolerance: float = 1e-3) -> NDArray[np.intp]:
    """Return the indices between which straight lines follow a smooth curve (Douglas and Peucker, 1973).

    Lines leave the curve by less than `tolerance` of the extent of `y`; the ends of every finite stretch are
    kept, and its neighbours that are not finite, so that gaps stay gaps.
    """
    finite = np.isfinite(y)
    if not finite.any():
        return np.arange(min(x.size, 1))
    allowed = tolerance * (float(np.ptp(y[finite])) or 1.0)
    edges = np.flatnonzero(np.diff(finite.astype(np.int8)))
    chosen = {0, x.size - 1, *edges.tolist(), *(edges + 1).tolist()}
    starts = [0, *(edges + 1).tolist()]
    open_spans = [
        (start, stop)
        for start, stop in zip(starts, [*edges.tolist(), x.size - 1], strict=True)
        if finite[start]
    ]
    while open_spans:
        start, stop = open_spans.pop()
        if stop - start < 2:
            continue
        chord = np.interp(x[start : stop + 1], [x[start], x[stop]], [y[start], y[stop]])
        away = np.abs(y[start : stop + 1] - chord)
        worst = int(np.argmax(away))
        if away[worst] > allowed:
            chosen.add(start + worst)
            open_spans += [(start, start + worst), (start + worst, stop)]
    return np.array(sorted(chosen), dtype=np.intp)


def label_traces(axes: Axes) -> None:
    """Write the name of each trace at its right end, moved apart where they would meet.

    Named are the lines whose gid is ``trace`` or ``limit``.
    """
    lines = [line for line in axes.get_lines() if line.get_gid() in ("trace", "limit")]
    low, high = axes.get_ylim()
    ends: list[tuple[float, str, Any]] = []
    for line in lines:
        data = np.asarray(line.get_ydata(), dtype=float)
        finite = data[np.isfinite(data)]
        if finite.size:
            name = str(line.get_label())
            ends.append((float(np.clip((finite[-1] - low) / (high - low), 0, 1)), name, line.get_color()))
    ends.sort(key=lambda item: item[0])
    figure = axes.get_figure(root=True)
    tall = axes.get_position().height * (figure.get_figheight() if figure is not None else 1.0)
    height = _LABEL_POINTS / (tall * 72.0)
    places = apart([item[0] for item in ends], height)
    for (at, name, colour), place in zip(ends, places, strict=True):
        axes.annotate(
            name,
            xy=(1.0, at),
            xytext=(1.035, place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            fontsize=7,
            fontweight="bold" if name.startswith("limit") else "normal",
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


def apart(wanted: Sequence[float], height: float) -> list[float]:
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


def _inline(svg: str, words: str) -> str:
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
