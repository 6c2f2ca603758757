"""A field tester's result against the bench's traces: differences, matched extrema, worst margins, swaps.

Differences are tester less bench. Everything here is pure and knows no uncertainty: where a difference means
something (`differences`, `compared_points`), and what in a result cannot be of this channel as it is named
(`suspicions`).
"""

from benchsweep.comparison._differences import Floor, differences, not_compared
from benchsweep.comparison._evidence import AllowedErrors
from benchsweep.comparison._names import bench_key, name_of
from benchsweep.comparison._points import (
    MatchedPoint,
    WorstMargin,
    compared_points,
    point_value,
    worst_margin,
)
from benchsweep.comparison._suspicions import suspicions

__all__ = [
    "AllowedErrors",
    "Floor",
    "MatchedPoint",
    "WorstMargin",
    "bench_key",
    "compared_points",
    "differences",
    "name_of",
    "not_compared",
    "point_value",
    "suspicions",
    "worst_margin",
]
