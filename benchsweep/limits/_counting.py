"""Which points of which traces a requirement does not count, for drawings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._adjust import Key
from benchsweep.limits._exempt import exempt_points
from benchsweep.limits._requirement import Requirement
from benchsweep.records import Trace

__all__ = ["not_counting"]


def not_counting(traces: Sequence[Trace], requirement: Requirement) -> dict[Key, NDArray[np.bool_]]:
    """Return for each trace with points that do not count which ones: ``(n_freq,)``, True there.

    Those are the points at which the line does not count (``exempt_where``), as `grade` leaves them out.
    Traces of which all points count are left out.
    """
    measured = {(trace.parameter, trace.end, trace.pairs): trace for trace in traces}
    found: dict[Key, NDArray[np.bool_]] = {}
    for key, trace in measured.items():
        line = requirement.line_of(trace.parameter)
        if line is not None:
            points = exempt_points(line.exempt_where, key, trace.frequency_hz, measured).points
            if points is not None and points.any():
                found[key] = points
    return found
