"""Rows of the table of `lot_year`: what was simulated, what it should be, and the interval between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

__all__ = ["LEVEL", "Row", "mean_row", "rate_row", "reach", "table"]

LEVEL = 0.9999
"""Of the interval of each row."""


@dataclass(frozen=True)
class Row:
    """A simulated figure, what it should be, and the interval around it in which that must be.

    `lots` were simulated for it, or points of a chart. A row without `expected` says what was found, no more.
    `curve` is what the operating characteristic says that is shown with a plan.
    """

    group: str
    what: str
    lots: int
    found: float
    low: float
    high: float
    expected: float | None
    source: str
    percent: bool = True
    curve: float | None = None

    @property
    def agrees(self) -> bool:
        return all(each is None or self.low <= each <= self.high for each in (self.expected, self.curve))


def reach(error: float) -> float:
    """Return half the width of the interval of a mean with this standard error."""
    return error * float(special.ndtri(0.5 + LEVEL / 2.0))


def rate_row(
    group: str,
    what: str,
    hits: int,
    lots: int,
    expected: float | None,
    source: str,
    *,
    curve: float | None = None,
) -> Row:
    """Return the row of a rate, with the exact binomial interval."""
    found = stats.binomtest(hits, lots).proportion_ci(LEVEL, method="exact")
    low, high = float(found.low), float(found.high)
    return Row(group, what, lots, hits / lots, low, high, expected, source, curve=curve)


def mean_row(
    group: str,
    what: str,
    values: Sequence[float],
    expected: float | None,
    source: str,
    lots: int = 0,
    *,
    percent: bool = False,
) -> Row:
    """Return the row of a mean of independent values."""
    mean, error = float(np.mean(values)), float(np.std(values, ddof=1)) / math.sqrt(len(values))
    wide = reach(error)
    return Row(
        group, what, lots or len(values), mean, mean - wide, mean + wide, expected, source, percent=percent
    )


def table(made: Sequence[Row]) -> str:
    """Return the table in Markdown."""
    lines = [
        f"Intervals at {100 * LEVEL:g} %: exact binomial for rates, normal for means.",
        "",
        "| what | lots or points | found | interval | expected | curve | from | |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for row in made:
        low, high = _figure(row.low, row), _figure(row.high, row)
        expected = "" if row.expected is None else _figure(row.expected, row)
        curve = "" if row.curve is None else _figure(row.curve, row)
        told = "" if row.expected is None else "agrees" if row.agrees else "DIFFERS"
        lines.append(
            f"| {row.group}: {row.what} | {row.lots} | {_figure(row.found, row)} | {low} to {high} | "
            f"{expected} | {curve} | {row.source} | {told} |"
        )
    return "\n".join(lines)


def _figure(value: float, row: Row) -> str:
    return f"{100.0 * value:.3g} %" if row.percent else f"{value:.4g}"
