from __future__ import annotations

import math

from benchsweep.records import SamplingPlan
from benchsweep.statistics.sampling._asked import checked_percent, checked_risk, checked_size
from benchsweep.statistics.sampling._distributions import none_nonconforming

__all__ = ["zero_acceptance_plan"]

_ROUNDING = 1e-9
"""Relative; 7 % of 100 units are 7, not 8."""


def zero_acceptance_plan(
    lot_size: int, *, limiting_percent: float, consumer_risk: float = 0.10
) -> SamplingPlan:
    """Return the smallest sample that accepts no nonconforming unit and keeps the risk of the consumer.

    A lot with `limiting_percent` nonconforming units or more, at least one, is accepted with a probability of
    `consumer_risk` at most. Exact for the lot: drawn without replacement, hypergeometric.

    Parameters
    ----------
    lot_size
        Units in the lot, 1 or more.
    limiting_percent
        Limiting quality: above 0, up to 100 percent nonconforming of the lot.
    consumer_risk
        Above 0, below 1.

    Raises
    ------
    UsageError
        A figure is out of its range.

    Notes
    -----
    Closed form, no table: n is the smallest with C(N - D, n) / C(N, n) <= consumer risk, D nonconforming.

    Examples
    --------
    >>> zero_acceptance_plan(20, limiting_percent=10.0).sample_size
    14
    """
    checked_size(lot_size, 1, "")
    checked_percent(limiting_percent, "a limiting quality")
    checked_risk(consumer_risk, "a consumer's risk")
    bad = max(1, math.ceil(lot_size * limiting_percent / 100.0 * (1.0 - _ROUNDING)))
    low, high = 1, lot_size - bad + 1  # with so many tested, one of the bad is always among them
    while low < high:
        middle = (low + high) // 2
        if none_nonconforming(lot_size, bad, middle) <= consumer_risk * (1.0 + _ROUNDING):
            high = middle
        else:
            low = middle + 1
    return SamplingPlan(
        method="zero-acceptance",
        lot_size=lot_size,
        sample_size=low,
        accept=0,
        reject=1,
        table_sample_size=low,
        limiting_percent=limiting_percent,
        consumer_risk=consumer_risk,
        source="hypergeometric distribution, exact",
        standing="published",
    )
