"""Minima and maxima of traces over frequency, and which of one trace belongs to which of another.

A null of a crosstalk or return loss trace is where contributions of several places cancel; a phase error that
is nothing elsewhere moves it by some points and changes its depth, so that the difference at a fixed
frequency beside it says nothing. A tester is compared there extremum with extremum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Parameter

__all__ = ["NULL_DB", "WITH_NULLS", "Matched", "matched_extrema"]

NULL_DB = 3.0
"""A maximum of the loss is a null when it stands above both its neighbouring minima by so much (dB)."""

WITH_NULLS = frozenset(Parameter) - {Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW}
"""Parameters whose traces have nulls."""


@dataclass(frozen=True, slots=True, eq=False)
class Matched:
    """Extrema of the tester that belong to one of the bench.

    Parameters
    ----------
    tester, bench
        ``(n,)`` indices into the grid of each.
    flanks
        ``(n_freq,)`` bool on the tester's grid: beside a null of either, where no difference means anything.
    """

    tester: NDArray[np.intp]
    bench: NDArray[np.intp]
    flanks: NDArray[np.bool_]


def _extrema(value: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the indices of the inner minima and maxima."""
    rise = np.sign(np.diff(value))
    turns = np.flatnonzero(rise[:-1] * rise[1:] < 0.0) + 1
    high = value[turns] > value[turns - 1]
    return turns[~high], turns[high]


def _nulls(value: NDArray[np.float64]) -> NDArray[np.intp]:
    low, high = _extrema(value)
    if not high.size:
        return high
    # The ends of the trace bound the outermost maxima as minima do.
    bounds = np.unique(np.concatenate([[0], low, [value.size - 1]]))
    at = np.searchsorted(bounds, high)
    around = np.maximum(value[bounds[at - 1]], value[bounds[np.minimum(at, bounds.size - 1)]])
    deep: NDArray[np.bool_] = value[high] - around >= NULL_DB
    return high[deep]


def matched_extrema(
    tester_hz: NDArray[np.float64],
    tester: NDArray[np.float64],
    bench_hz: NDArray[np.float64],
    bench: NDArray[np.float64],
    steps: int,
) -> Matched:
    """Match the extrema of the tester with those of the bench of the same kind within `steps` grid steps.

    Parameters
    ----------
    tester_hz, tester
        ``(n,)`` grid and values of the tester, finite.
    bench_hz, bench
        ``(m,)`` grid and values of the bench, finite.
    steps
        An extremum of the bench belongs to one of the tester when it is at most so many steps away; a step is
        the larger one of the two grids there. The nearest in frequency is taken, each one once.
    """
    pairs: list[tuple[int, int]] = []
    flanks = np.zeros(tester_hz.size, dtype=np.bool_)
    if steps < 1 or min(tester_hz.size, bench_hz.size) < 3:
        return Matched(np.array([], dtype=np.intp), np.array([], dtype=np.intp), flanks)
    reach = steps * _steps_at(tester_hz, tester_hz, bench_hz)
    for own, others in zip(_extrema(tester), _extrema(bench), strict=True):
        pairs += _nearest(tester_hz, own, bench_hz, others, reach)
    for at in (*tester_hz[_nulls(tester)], *bench_hz[_nulls(bench)]):
        flanks |= np.abs(tester_hz - at) <= reach
    pairs.sort()
    found = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    flanks[found[:, 0]] = False
    return Matched(found[:, 0], found[:, 1], flanks)


def _steps_at(at: NDArray[np.float64], *grids: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the largest step of several grids at some frequencies."""
    steps = [np.interp(at, grid, np.gradient(grid)) for grid in grids]
    return np.asarray(np.max(steps, axis=0), dtype=np.float64)


def _nearest(
    tester_hz: NDArray[np.float64],
    own: NDArray[np.intp],
    bench_hz: NDArray[np.float64],
    others: NDArray[np.intp],
    reach: NDArray[np.float64],
) -> list[tuple[int, int]]:
    if not own.size or not others.size:
        return []
    apart = np.abs(tester_hz[own][:, None] - bench_hz[others][None, :])
    mutual = []
    first, second = apart.argmin(axis=1), apart.argmin(axis=0)
    for row, column in enumerate(first):
        if second[column] == row and apart[row, column] <= reach[own[row]] * (1.0 + 1e-9):
            mutual.append((int(own[row]), int(others[column])))
    return mutual
