"""Factors of control charts for samples of n values from a normal distribution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from benchsweep.errors import UsageError

__all__ = ["ChartConstants", "chart_constants", "unbiasing"]

_MOST = 1000
# The normal distribution is integrated so far out; beyond it, a range of 1000 values has no weight left.
_FAR = 9.0
_POINTS = 1801


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Factors of control charts, of the trade's usual names (ISO 7870-2, from memory).

    Parameters
    ----------
    n
        Values in a sample.
    d2, d3
        Mean and standard deviation of the range over the standard deviation of one value.
    c4
        Mean of the sample standard deviation over that of one value.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        """Half-width of the limits of means over the mean range."""
        return 3.0 / (self.d2 * math.sqrt(self.n))

    @property
    def a3(self) -> float:
        """Half-width of the limits of means over the mean standard deviation."""
        return 3.0 / (self.c4 * math.sqrt(self.n))

    @property
    def e2(self) -> float:
        """Half-width of the limits of individuals over the mean range."""
        return 3.0 / self.d2

    @property
    def range_factors(self) -> tuple[float, float]:
        """D3 and D4: limits of the range over its mean."""
        part = 3.0 * self.d3 / self.d2
        return max(0.0, 1.0 - part), 1.0 + part

    @property
    def deviation_factors(self) -> tuple[float, float]:
        """B3 and B4: limits of the standard deviation over its mean."""
        part = 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4
        return max(0.0, 1.0 - part), 1.0 + part


def unbiasing(n: int) -> float:
    """Return c4 = sqrt(2/(n - 1)) Gamma(n/2) / Gamma((n - 1)/2)."""
    logs = special.gammaln(0.5 * n) - special.gammaln(0.5 * (n - 1))
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(logs))


@lru_cache(maxsize=128)
def chart_constants(n: int) -> ChartConstants:
    """Return the factors for samples of `n` values, computed from the normal distribution.

    d2 is the integral of 1 - (1 - F)^n - F^n; d3 follows from the mean square of the range, twice the
    integral of 1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n over all x < y.

    Raises
    ------
    UsageError
        Samples of fewer than 2 or more than 1000 values.
    """
    if not 2 <= n <= _MOST:
        raise UsageError(f"samples of {n} values", hint=f"Control charts take 2 to {_MOST}.")
    x = np.linspace(-_FAR, _FAR, _POINTS)
    step = float(x[1] - x[0])
    below, above = special.ndtr(x), special.ndtr(-x)
    # The integrand and all its derivatives vanish at both ends: the plain sum converges like no other rule.
    d2 = float(np.sum(1.0 - above**n - below**n)) * step
    square = 0.0
    for place in range(1, _POINTS):
        between = below[place] - below[:place]
        inner = 1.0 - below[place] ** n - above[:place] ** n + between**n
        # On the diagonal the integrand is 1 - F^n - (1 - F)^n; half of that cell counts.
        edge = 0.5 * (1.0 - below[place] ** n - above[place] ** n)
        square += float(np.sum(inner)) + float(edge)
    mean_square = 2.0 * square * step**2
    return ChartConstants(n, d2, math.sqrt(mean_square - d2**2), unbiasing(n))
