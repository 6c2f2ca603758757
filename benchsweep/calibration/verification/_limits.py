from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from benchsweep.errors import UsageError

__all__ = [
    "FEWEST",
    "HistoryLimits",
    "ewma_signals",
    "expected_outside",
    "history_limits",
    "simultaneous_quantile",
]

FEWEST = 6
"""So many verifications before limits come from the history itself."""
_LONGEST_BASELINE = 20


@dataclass(frozen=True, slots=True)
class HistoryLimits:
    """Between what a value of a check standard should lie.

    Parameters
    ----------
    low, high
        In the unit of the values.
    basis
        ``definition``: the computed value and its expanded uncertainty; ``history``: earlier values.
    mean, standard_deviation, count
        Of the earlier values; 0 where there are too few.
    """

    low: float
    high: float
    basis: Literal["definition", "history"]
    mean: float
    standard_deviation: float
    count: int

    def holds(self, value: float) -> bool:
        """Tell whether `value` lies within."""
        return self.low <= value <= self.high


def history_limits(
    earlier: Sequence[float], *, definition: float, uncertainty: float, confidence: float = 0.95
) -> HistoryLimits:
    """Return the limits for the next value of a check standard.

    With at least six earlier values ``mean +- t(1 - alpha/2, K - 1) s`` (NIST/SEMATECH e-Handbook of
    Statistical Methods, 2.3.5.2); with fewer ``definition +- uncertainty``.
    """
    count = len(earlier)
    if count < FEWEST:
        return HistoryLimits(
            definition - uncertainty, definition + uncertainty, "definition", 0.0, 0.0, count
        )
    values = np.asarray(earlier, dtype=np.float64)
    mean, s = float(values.mean()), float(values.std(ddof=1))
    from scipy.special import stdtrit

    reach = float(stdtrit(count - 1, 0.5 + confidence / 2.0)) * s
    return HistoryLimits(mean - reach, mean + reach, "history", mean, s, count)


def ewma_signals(
    values: Sequence[float], *, weight: float = 0.2, width: float = 3.0, baseline: int | None = None
) -> tuple[int, ...]:
    """Return at which values (from 0) an exponentially weighted moving average leaves its limits.

    ``z_i = weight x_i + (1 - weight) z_(i-1)`` from the mean of the baseline, limits
    ``mean +- width s sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 i)))`` (NIST/SEMATECH e-Handbook,
    6.3.2.4; the handbook shows in 2.3.5.2 that it sees a small drift that single values hide).

    Parameters
    ----------
    values
        Oldest first.
    baseline
        How many of the first values give mean and s; by default up to 20. Signals are told only after them.

    Raises
    ------
    UsageError
        A baseline of fewer than two values.
    """
    if len(values) < FEWEST and baseline is None:
        return ()
    first = min(len(values) - 1, _LONGEST_BASELINE) if baseline is None else baseline
    if first < 2:
        raise UsageError(f"a baseline of {first} values has no standard deviation")
    known = np.asarray(values[:first], dtype=np.float64)
    mean, s = float(known.mean()), float(known.std(ddof=1))
    average, signals = mean, []
    for index, value in enumerate(values[first:], start=first):
        average = weight * value + (1.0 - weight) * average
        steps = index - first + 1
        reach = width * s * sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * steps)))
        if abs(average - mean) > reach:
            signals.append(index)
    return tuple(signals)


def simultaneous_quantile(count: int, *, freedom: float = np.inf, confidence: float = 0.95) -> float:
    """Return the quantile that `count` independent values all keep within with that confidence, two-sided.

    Student's t (normal for infinite `freedom`) at ``1 - (1 - confidence^(1/count)) / 2``: Sidak's correction,
    as in the control of a calibration at three points (NIST/SEMATECH e-Handbook, 2.3.7).
    """
    if count < 1:
        raise UsageError(f"{count} values cannot be judged together")
    share = 1.0 - (1.0 - confidence ** (1.0 / count)) / 2.0
    from scipy.special import ndtri, stdtrit

    return float(ndtri(share) if np.isinf(freedom) else stdtrit(freedom, share))


def expected_outside(count: int, *, confidence: float = 0.95) -> int:
    """Return how many of `count` values may lie outside limits of that confidence without telling anything.

    In 99 of 100 cases no more do when nothing is wrong (binomial, values taken as independent).
    """
    from scipy.special import bdtr

    return int(np.argmax(bdtr(np.arange(count + 1), count, 1.0 - confidence) >= 0.99))
