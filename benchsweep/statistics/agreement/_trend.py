"""Whether values rise or fall along a straight line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.statistics.agreement._check import fit_line, shared_t
from benchsweep.statistics.agreement._values import Floats, number, row

__all__ = ["Trend", "trend"]


class Trend(NamedTuple):
    """Slope of values over time, and whether it is more than chance.

    Parameters
    ----------
    slope, error
        Change of the values per unit of `at`, and its standard error.
    change
        Along the line from the first to the last, in the unit of the values.
    t, limit
        Slope over its standard error; beyond -+ `limit` the values drift.
    size
        Number of values.
    """

    slope: float
    error: float
    change: float
    t: float
    limit: float
    size: int

    @property
    def drifts(self) -> int:
        """+1 where the values rise, -1 where they fall, 0 where that may be chance."""
        return 0 if abs(self.t) <= self.limit else int(math.copysign(1, self.slope))


def trend(
    at: Sequence[float] | Floats,
    values: Sequence[float] | Floats,
    *,
    confidence: float = 0.99,
    together: int = 1,
    least_deviation: float = 0.0,
) -> Trend:
    """Return the slope of values over time, with its t test.

    t = slope / (s / sqrt(sum (x - mean x)^2)), s the residual standard deviation of the straight line of
    least squares, against the two-sided quantile for n - 2 degrees of freedom (NIST/SEMATECH e-Handbook
    4.1.4.1; Draper and Smith, Applied Regression Analysis, 1.4, from memory), shared among `together` series
    judged at once (`shared_t`).

    Parameters
    ----------
    at
        ``(n,)`` when, in any unit from any time, n at least 3.
    values
        ``(n,)`` in any unit.
    least_deviation
        s is taken as no smaller, in the unit of the values: what they are rounded to.

    Raises
    ------
    UsageError
        Fewer than three values, not as many, not finite, all of one time; values on a line to the last digit
        without a least deviation.
    """
    x = row(at, least=3, what="times of a trend")
    number(least_deviation, what="a least standard deviation")
    line = fit_line(x, values)
    s = max(line.deviation, least_deviation)
    if not s > 0.0:
        raise UsageError("values that lie on a line to the last digit", hint="Measured values scatter.")
    error = s / math.sqrt(float(np.sum((x - x.mean()) ** 2)))
    limit = shared_t(line.freedom, confidence=confidence, together=together)
    change = line.slope * float(x.max() - x.min())
    return Trend(line.slope, error, change, line.slope / error, limit, int(x.size))
