"""A chart of which only a part can be read off."""

from __future__ import annotations

from dataclasses import dataclass

from benchsweep.report.chart import Chart
from benchsweep.report.document import Line

__all__ = ["ReadApart"]


@dataclass(frozen=True, slots=True, eq=False)
class ReadApart:
    """A chart, and the same with only what values are read off.

    Parameters
    ----------
    whole
        What is drawn.
    read
        The same axes, names at the right and titles, with fewer curves: its panels stand where those of
        `whole` do.
    caption
        Names it.
    """

    whole: Chart
    read: Chart
    caption: Line
