"""What charts over frequency share: axes, their reach, words that name a trace."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import End, VerdictRow
from benchsweep.report.chart import Axis, Chart
from benchsweep.report.document import Line
from benchsweep.report.text import Texts, megahertz, pairs_words, signed

__all__ = ["Captioned", "Floats", "Grids", "ends_words", "frequency_axis", "worst_words"]

Captioned: TypeAlias = tuple[Chart, Line]
"""A chart and its caption."""

Floats: TypeAlias = NDArray[np.float64]

_HZ_PER_MHZ = 1e6


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


def ends_words(ends: Sequence[End | None], texts: Texts) -> str:
    """Return the ends that a chart has panels for, in words; empty where the ends cannot differ."""
    named = [end for end in ends if end is not None]
    if not named:
        return ""
    if len(named) == 1:
        return texts("chart.at_end", end=named[0])
    return texts("chart.at_both_ends")
