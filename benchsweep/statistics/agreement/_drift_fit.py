"""Shifts of several series at once, and the single causes that may explain them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from scipy import special

from benchsweep.statistics.agreement._values import Floats

__all__ = ["BENCH", "Cause", "Fit", "Row", "Shift", "fits", "freedom", "independent", "scatters", "shifts"]

Cause = tuple[Literal["channel", "bench", "tester"], str]
BENCH: Cause = ("bench", "")
_MADE, _SEED, _RARE = 2000, 9, 0.01
"""Made series that do not move, what they are drawn from, and how few of them may exceed a bound."""


@dataclass(frozen=True, slots=True)
class Row:
    """A series with what would move it: the sign of each cause."""

    name: str
    day: Floats
    value: Floats
    labels: tuple[str, ...]
    moves: Mapping[Cause, float]


class Shift(NamedTuple):
    """Means since a day less means before, in their rows, with their variances."""

    day: float
    rows: tuple[Row, ...]
    shift: Floats
    variance: Floats


class Fit(NamedTuple):
    """How well a cause explains the shifts since a day: what it leaves, and how far it moved."""

    cause: Cause
    left: float
    shift: float


@lru_cache(maxsize=64)
def independent(structure: tuple[tuple[bytes, tuple[tuple[Cause, float], ...]], ...], baseline: int) -> float:
    """Return how many independent tests all causes and days are worth together.

    Days that follow each other give almost the same means, so that counting them all would see little. Made
    series of these days that do not move tell what is exceeded in one of a hundred; so many independent tests
    would exceed it as often. The seed is fixed: the answer is always the same.
    """
    days = [np.frombuffer(day, dtype=np.float64) for day, _ in structure]
    rows = tuple(Row("", day, day, (), dict(moves)) for day, (_, moves) in zip(days, structure, strict=True))
    draw = np.random.default_rng(_SEED)
    values = [draw.normal(size=(_MADE, day.size)) for day in days]
    scatter = scatters(rows, [each[:, :baseline] for each in values])
    most = np.zeros(_MADE)
    for found in shifts(rows, values, scatter, baseline):
        weight = 1.0 / found.variance
        for cause in _causes(found.rows):
            sign = _signs(found.rows, cause)
            gain = (found.shift * weight @ sign) ** 2 / (weight @ sign**2)
            most = np.maximum(most, gain)
    free = freedom(rows, baseline)
    exceeded = 2.0 * float(special.stdtr(free, -math.sqrt(float(np.quantile(most, 1.0 - _RARE)))))
    return max(1.0, math.log1p(-_RARE) / math.log1p(-exceeded))


def freedom(rows: Sequence[Row], baseline: int) -> int:
    """Return the degrees of freedom behind the scatter of the kind that has fewest series.

    Its tail is the longest, and it is what rare movements must be judged by.
    """
    kinds = [each.moves[BENCH] for each in rows]
    return min(kinds.count(kind) for kind in kinds) * (baseline - 1)


def scatters(rows: Sequence[Row], starts: Sequence[Floats]) -> Floats:
    """Return the variance of single values of each series: ``(..., rows)`` for starts ``(..., baseline)``."""
    own = np.stack([np.var(each, axis=-1, ddof=1) for each in starts], axis=-1)
    free = starts[0].shape[-1] - 1
    found = np.empty_like(own)
    kinds = np.array([each.moves[BENCH] for each in rows])
    for kind in set(kinds):
        alike = own[..., kinds == kind]
        count = alike.shape[-1]
        pooled = alike.mean(axis=-1, keepdims=True)
        if count > 1:
            others = (count * pooled - alike) / (count - 1)
            wild = alike > float(special.fdtri(free, free * (count - 1), 0.95)) * others
            found[..., kinds == kind] = np.where(wild, alike, pooled)
        else:
            found[..., kinds == kind] = alike
    return found


def shifts(rows: Sequence[Row], values: Sequence[Floats], scatter: Floats, baseline: int) -> Iterator[Shift]:
    """Yield, for each day, the shifts of all series that were known before and measured since.

    Values and scatter may have leading axes of made series.
    """
    sums = [np.cumsum(each, axis=-1) for each in values]
    for day in sorted({float(day) for each in rows for day in each.day[baseline:]}):
        chosen, shift, factor = [], [], []
        for place, each in enumerate(rows):
            before = int(np.searchsorted(each.day, day))
            after = each.day.size - before
            if before < baseline or not after:
                continue
            first, whole = sums[place][..., before - 1], sums[place][..., -1]
            chosen.append(place)
            shift.append((whole - first) / after - first / before)
            factor.append(1.0 / before + 1.0 / after)
        if chosen:
            used = tuple(rows[place] for place in chosen)
            variance = scatter[..., chosen] * np.array(factor)
            yield Shift(day, used, np.stack(shift, axis=-1), variance)


def _causes(rows: Sequence[Row]) -> list[Cause]:
    return list(dict.fromkeys(cause for each in rows for cause in each.moves))


def _signs(rows: Sequence[Row], cause: Cause) -> Floats:
    return np.array([each.moves.get(cause, 0.0) for each in rows])


def fits(found: Shift) -> Iterator[Fit]:
    for cause in _causes(found.rows):
        sign = _signs(found.rows, cause)
        moved = float(np.sum(sign * found.shift / found.variance) / np.sum(sign**2 / found.variance))
        yield Fit(cause, float(np.sum((found.shift - sign * moved) ** 2 / found.variance)), moved)
