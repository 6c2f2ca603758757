"""Charts as data, and as SVG: curves over frequency, distance or time, with limits and how sure they are.

Plain SVG written from numbers: it prints sharply, its words can be searched and read aloud, it needs no
script to be seen, and it is made in a hundredth of the time that a general plotting library needs.
"""

from benchsweep.report.chart._model import (
    Axis,
    Band,
    Chart,
    Curve,
    LimitLine,
    Look,
    Mark,
    Panel,
    Picture,
    Span,
)
from benchsweep.report.chart._picture import picture

__all__ = [
    "Axis",
    "Band",
    "Chart",
    "Curve",
    "LimitLine",
    "Look",
    "Mark",
    "Panel",
    "Picture",
    "Span",
    "picture",
]
