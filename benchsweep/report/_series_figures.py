"""Drawings of a series: changes over time and over an ambient reading, as SVG text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from benchsweep.records import Parameter, SeriesChange, SeriesSummary
from benchsweep.report._drawing import (
    MARKERS,
    drawing,
    label_traces,
    pair_style,
    quiet,
    thinned_over,
    write_svg,
)
from benchsweep.report._words import PARAMETER_WORDS, clean, pairs_words

__all__ = ["draw_course", "time_unit"]

_WIDTH_IN, _HEIGHT_IN = 7.6, 2.8
_MOST_DOTS = 200
_TIME_UNITS = ((180.0 / 3600.0, 3600.0, "seconds"), (3.0, 60.0, "minutes"), (72.0, 1.0, "hours"))

Numbers = NDArray[np.float64]


def draw_course(parameter: Parameter, summary: SeriesSummary, *, against_reading: bool) -> str:
    """Return the SVG element with the changes of `parameter`: level, and delay where it has one.

    Parameters
    ----------
    against_reading
        Over the ambient reading, as dots; else over the time since the first sweep, as lines, with the times
        without the analyzer shaded.
    """
    changes = [change for change in summary.changes if change.parameter is parameter]
    panels: list[tuple[str, list[Numbers]]] = [("loss / dB", [change.loss_db for change in changes])]
    if parameter is Parameter.INSERTION_LOSS:
        panels.append(("delay / ps", [change.delay_ps for change in changes]))
    course = summary.course
    per_hour, unit = time_unit(course.hours)
    abscissa = course.reading if against_reading else course.hours * per_hour
    words = clean(course.reading_name) if against_reading else f"{unit} since the first sweep"
    salt = f"series {parameter} {against_reading}"
    over = "the ambient reading" if against_reading else "time"
    with drawing(salt, _WIDTH_IN, _HEIGHT_IN) as figure:
        share = 0.5
        for place, (quantity, values) in enumerate(panels):
            axes = figure.add_axes((place * share + 0.075, 0.15, share - 0.145, 0.80))
            if not against_reading:
                _shade_gaps(axes, summary, per_hour)
            _panel(axes, changes, abscissa, values, dots=against_reading)
            axes.set_xlabel(words, labelpad=1.5)
            axes.set_ylabel(f"change of {quantity}")
            axes.yaxis.set_label_coords(-0.16, 0.5)
            # Long numbers would run into the label.
            axes.ticklabel_format(axis="y", style="sci", scilimits=(-2, 4), useOffset=False)
            if not against_reading:
                label_traces(axes)
        return write_svg(figure, f"change of {PARAMETER_WORDS[parameter]} over {over}")


def _panel(
    axes: Axes, changes: Sequence[SeriesChange], x: Numbers, values: Sequence[Numbers], *, dots: bool
) -> None:
    axes.axhline(0.0, color="#888888", linewidth=0.5)
    for change, y in zip(changes, values, strict=True):
        usable = np.isfinite(x) & np.isfinite(y)
        at, value = x[usable], y[usable]
        if at.size == 0:
            continue
        kept = _every(at.size) if dots else thinned_over(at, value)
        colour, dashes = pair_style(change.pairs[0])
        filled = change.end == "A"
        axes.plot(
            at[kept],
            value[kept],
            color=colour,
            linestyle="none" if dots else dashes,
            linewidth=0.9 if filled else 0.6,
            marker=MARKERS.get(change.pairs[0], "x") if dots else None,
            markersize=2.5,
            markerfacecolor=colour if filled else "white",
            markeredgewidth=0.5,
            label=clean(f"{change.end} {pairs_words(change.pairs)}"),
            gid="trace",
        )
    quiet(axes)


def _every(size: int) -> NDArray[np.intp]:
    return np.unique(np.linspace(0, size - 1, min(size, _MOST_DOTS)).astype(np.intp))


def time_unit(hours: Numbers) -> tuple[float, str]:
    """Return the unit in which a time axis reads well: how many of it make an hour, and its name."""
    longest = float(np.max(hours, initial=0.0))
    for most_hours, per_hour, name in _TIME_UNITS:
        if longest <= most_hours:
            return per_hour, name
    return 1.0 / 24.0, "days"


def _shade_gaps(axes: Axes, summary: SeriesSummary, per_hour: float) -> None:
    first = datetime.fromisoformat(summary.first_at)
    for event in summary.events:
        if event.kind in ("gap", "resumed") and event.seconds:
            begins = (datetime.fromisoformat(event.at) - first).total_seconds() / 3600.0
            ends = begins + event.seconds / 3600.0
            axes.axvspan(begins * per_hour, ends * per_hour, color="#e4e4e4", linewidth=0, zorder=0)
