"""What charts over frequency share: axes, their reach, words that name a trace."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import End, Parameter, VerdictRow
from benchsweep.report.chart import Axis, Chart, Mark, Panel
from benchsweep.report.document import Line
from benchsweep.report.text import Texts, megahertz, pairs_words, signed

__all__ = [
    "Captioned",
    "Floats",
    "Grids",
    "frequency_axis",
    "named",
    "over_frequency",
    "placed_words",
    "reach_of",
    "shared_beginning",
    "told_apart",
    "worst_words",
]

Captioned: TypeAlias = tuple[Chart, Line]
"""A chart and its caption."""

Floats: TypeAlias = NDArray[np.float64]

_HZ_PER_MHZ = 1e6
_BEYOND_LIMIT_DB = 45.0
_MOST_SHOWN = 6.0


def named(prefix: str, name: str) -> str:
    """Return the name of a chart in a document in which `prefix` is unique."""
    return f"{prefix}{name}" if not prefix or prefix.endswith("-") else f"{prefix}-{name}"


def told_apart(names: Sequence[str]) -> list[str]:
    """Return names without the part that all of them begin with, where they do: a legend has little room."""
    shared = len(shared_beginning(names))
    return [name[shared:] or name for name in names]


def shared_beginning(names: Sequence[str]) -> str:
    """Return what all names begin with, up to its last hyphen, dot, slash or space."""
    if len(set(names)) < 2:
        return ""
    count = min(map(len, names))
    for one, other in pairwise(names):
        while one[:count] != other[:count]:
            count -= 1
    beginning = names[0][:count]
    return beginning[: max((beginning.rfind(sign) + 1 for sign in "-./ _"), default=0)]


class Grids:
    """Grids in MHz, each made once: curves of one grid share one array, and so does what is written of it."""

    def __init__(self) -> None:
        self._made: dict[int, tuple[Floats, Floats]] = {}
        self._distinct: list[tuple[Floats, Floats]] = []

    def __call__(self, frequency_hz: Floats) -> Floats:
        """Return `frequency_hz` in MHz."""
        kept = self._made.get(id(frequency_hz))
        if kept is None:
            kept = self._known(frequency_hz)
            # The grid is kept beside it, so that no other array takes its identity.
            self._made[id(frequency_hz)] = (frequency_hz, kept[1])
        return kept[1]

    def _known(self, frequency_hz: Floats) -> tuple[Floats, Floats]:
        for known in self._distinct:
            if np.array_equal(known[0], frequency_hz):
                return known
        made = (frequency_hz, frequency_hz / _HZ_PER_MHZ)
        self._distinct.append(made)
        return made


def frequency_axis(texts: Texts, grids: Sequence[Floats]) -> Axis:
    """Return the logarithmic axis that runs over all of `grids` (MHz)."""
    start = min(float(grid[0]) for grid in grids)
    stop = max(float(grid[-1]) for grid in grids)
    if start == stop:
        start, stop = start / 1.1, stop * 1.1
    return Axis(texts("chart.frequency"), "MHz", log=True, low=start, high=stop)


def worst_words(row: VerdictRow, texts: Texts) -> str:
    """Return where a row is worst and by how much: ``12-36 -1.20 dB at 250.00 MHz``."""
    return texts(
        "chart.worst_at",
        pairs=pairs_words(row.pairs, texts),
        margin=signed(row.worst_margin_db, texts),
        unit=row.parameter.unit,
        frequency=megahertz(row.frequency_hz),
    )


def placed_words(row: VerdictRow, texts: Texts) -> str:
    """Return where a row is worst and by how much, with the end: ``12 -1.20 dB at 250.00 MHz at end A``."""
    worst = worst_words(row, texts)
    if row.end is None:
        return worst
    return texts("chart.worst_there", worst=worst, end=texts("chart.at_end", end=row.end))


def over_frequency(what: str, ends: Sequence[End | None], texts: Texts) -> str:
    """Return what is drawn over frequency, and for which ends where they can differ."""
    seen = [end for end in ends if end is not None]
    if not seen:
        return texts("chart.over_frequency", parameter=what)
    at = texts("chart.at_end", end=seen[0]) if len(seen) == 1 else texts("chart.at_both_ends")
    return texts("chart.over_frequency_at", parameter=what, ends=at)


def reach_of(panel: Panel, parameter: Parameter) -> tuple[float, float]:
    """Return from where to where the axis of a panel runs.

    Values far on the good side of all limits are cut off: there is nothing to see of them.
    """
    values = np.concatenate([*(curve.y for curve in panel.curves), *_edges(panel)])
    values = values[np.isfinite(values)]
    limits = [limit.y[np.isfinite(limit.y)] for limit in panel.limits]
    limit = np.concatenate(limits) if limits else np.empty(0)
    if limit.size and parameter.unit == "dB" and all(line.sense == "min" for line in panel.limits):
        values = values[values <= limit.max() + _BEYOND_LIMIT_DB]
    marked = [value for mark in panel.marks if mark.kind == "worst" for value in _marked(mark)]
    everything = np.concatenate([values, limit, [value for value in marked if np.isfinite(value)]])
    if everything.size == 0:
        return -0.05, 1.05
    low, high = float(everything.min()), float(everything.max())
    margin = 0.05 * (high - low) or 0.5
    return low - margin, high + margin


def _marked(mark: Mark) -> list[float]:
    """Return what has to be inside the panel of a worst point: it, and the ends of its interval."""
    low, high = mark.low or 0.0, mark.high or 0.0
    # An interval of many dB would leave no room for the curves.
    return [mark.y, mark.y - min(low, _MOST_SHOWN), mark.y + min(high, _MOST_SHOWN)]


def _edges(panel: Panel) -> list[Floats]:
    return [edge for band in panel.bands for edge in (band.low, band.high)]
