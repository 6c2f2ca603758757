"""How far margins are from zero: capability and its confidence, tolerance limits, normality."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import Capability, Normality, ToleranceLimits
from benchsweep.statistics.distributions import noncentral_t_above
from benchsweep.statistics.process._values import Floats, finite

__all__ = [
    "capability",
    "least_count",
    "normality",
    "one_sided_factor",
    "tolerance_limits",
    "two_sided_factor",
]

_FEWEST_FOR_NORMALITY, _MOST_FOR_NORMALITY = 8, 5000
_DOUBTFUL = 0.05
_REACH = 8.5
_NODES = 120


def capability(
    values: Sequence[float] | Floats,
    *,
    confidence: float = 0.95,
    deviation: float | None = None,
    degrees: int | None = None,
) -> Capability:
    """Return how well margins are kept above zero.

    The index is that of one side, mean / (3 s): the smaller one of both sides has no meaning for a margin
    that cannot be too large. Its bound is exact for independent normal values: sqrt(n) mean / s is
    noncentral t with n - 1 degrees of freedom and noncentrality 3 sqrt(n) times the index of the process.
    The bound is z_p / 3 or more exactly when mean - k1 s, the one-sided tolerance limit for p with the same
    confidence, is zero or more. Reels of lots that differ are not independent: the bound is then too high.

    Parameters
    ----------
    deviation, degrees
        Standard deviation within lots with its degrees of freedom, instead of that of all values.

    Raises
    ------
    UsageError
        Fewer than two values, one that is not finite, all alike, a confidence, deviation or degrees that are
        none.
    """
    value = finite(values, least=2, what="a capability")
    _check_part(confidence, "confidence")
    within = deviation is not None
    if deviation is not None and not (math.isfinite(deviation) and deviation > 0.0):
        raise UsageError(f"a standard deviation of {deviation:g} makes no sense", hint="Give one above 0.")
    s = float(np.std(value, ddof=1)) if deviation is None else deviation
    free = value.size - 1 if degrees is None else degrees
    if free < 1:
        raise UsageError(f"a capability with {free} degrees of freedom", hint="Give 1 or more.")
    mean = float(np.mean(value))
    if not s > 1e-12 * max(1.0, abs(mean)):
        raise UsageError("a capability of values that are all alike", hint="It needs values that differ.")
    t = math.sqrt(value.size) * mean / s
    lower = _noncentrality(t, free, confidence) / (3.0 * math.sqrt(value.size))
    below = 100.0 * float(special.ndtr(-mean / s))
    return Capability(value.size, mean, s, mean / (3.0 * s), lower, confidence, below, within)


@lru_cache(maxsize=256)
def one_sided_factor(count: int, content: float, confidence: float) -> float:
    """Return k1: at least `content` of a normal population lies above mean - k1 s, with that confidence.

    Exact: quantile of the noncentral t distribution with noncentrality z sqrt(n), over sqrt(n) (ISO 16269-6,
    from memory; NIST/SEMATECH e-Handbook 7.2.6.3).

    Raises
    ------
    UsageError
    """
    _check_count(count, content, confidence)
    shift = float(special.ndtri(content)) * math.sqrt(count)

    def missing(t: float) -> float:
        return 1.0 - float(noncentral_t_above(t, shift, count - 1)) - confidence

    # The factor for one value that is known, and above it as far as it takes.
    top = max(1.0, abs(shift)) + 10.0
    while missing(top) < 0.0:
        top *= 2.0
    return _root(missing, -top, top) / math.sqrt(count)


@lru_cache(maxsize=256)
def two_sided_factor(count: int, content: float, confidence: float) -> float:
    """Return k2: at least `content` lies between mean - k2 s and mean + k2 s, with that confidence.

    Exact: the chance that s is large enough, averaged over where the mean comes to lie (Wald and Wolfowitz
    1946; ISO 16269-6, from memory).

    Raises
    ------
    UsageError
    """
    _check_count(count, content, confidence)
    free = count - 1
    # Where the mean lies, in its own standard deviations; both sides are alike.
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    z = 0.5 * _REACH * (nodes + 1.0)
    weight = _REACH * weights * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
    reach = _half_width(z / math.sqrt(count), content)

    def missing(k: float) -> float:
        chance = special.chdtrc(free, free * (reach / k) ** 2)
        return float(np.sum(weight * chance)) - confidence

    top = 10.0
    while missing(top) < 0.0:
        top *= 2.0
    return _root(missing, 1e-6, top)


def tolerance_limits(
    values: Sequence[float] | Floats,
    *,
    content: float = 0.99,
    confidence: float = 0.95,
    sides: Literal["lower", "both"] = "lower",
    method: Literal["normal", "distribution-free"] = "normal",
) -> ToleranceLimits:
    """Return limits that hold at least `content` of the population with `confidence`.

    Without a distribution they are the value of the highest rank (counted from each end) that still reaches
    the confidence: the share of a population above the r-th least of n values follows a beta distribution
    with parameters n - r + 1 and r, between the r-th least and the r-th greatest with n - 2 r + 1 and 2 r.

    Raises
    ------
    UsageError
        Too few values (`least_count` tells how many it takes), or figures that make no sense.
    """
    value = finite(values, least=2, what="a tolerance limit")
    _check_count(value.size, content, confidence)
    both = sides == "both"
    if method == "normal":
        factor = (two_sided_factor if both else one_sided_factor)(value.size, content, confidence)
        mean, s = float(np.mean(value)), float(np.std(value, ddof=1))
        upper = mean + factor * s if both else None
        return ToleranceLimits(value.size, content, confidence, mean - factor * s, upper, factor, method)
    rank = 0
    while _reached(value.size, rank + 1, content, both) >= confidence:
        rank += 1
    if rank == 0:
        needed = least_count(content, confidence, sides=sides)
        raise UsageError(
            f"{value.size} values tell no limit for {100 * content:g} % without a distribution",
            hint=f"It takes {needed}.",
        )
    ordered = np.sort(value)
    upper = float(ordered[-rank]) if both else None
    return ToleranceLimits(value.size, content, confidence, float(ordered[rank - 1]), upper, math.nan, method)


def least_count(content: float, confidence: float, *, sides: Literal["lower", "both"] = "lower") -> int:
    """Return how many values it takes until the least (and the greatest) of them are tolerance limits.

    Raises
    ------
    UsageError
    """
    _check_part(content, "content")
    _check_part(confidence, "confidence")
    both = sides == "both"
    low = high = 3 if both else 1
    while _reached(high, 1, content, both) < confidence:
        low, high = high, 2 * high
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if _reached(middle, 1, content, both) >= confidence else (middle + 1, high)
    return high


def normality(values: Sequence[float] | Floats) -> Normality:
    """Return whether values may be normal: test of Shapiro and Wilk (Biometrika 52 (1965) 591), at 5 %.

    Worst margins are minima and often skewed; a test with few values sees little of it, so that a pass is
    no proof.

    Raises
    ------
    UsageError
        A value that is not finite.
    """
    value = finite(values, least=0, what="a test of normality")
    if value.size < _FEWEST_FOR_NORMALITY:
        words = f"{value.size} values are too few to tell whether they are normal"
        return Normality(value.size, None, None, None, words)
    if float(np.ptp(value)) <= 1e-12 * max(1.0, float(np.max(np.abs(value)))):
        return Normality(value.size, None, None, True, "all values are alike: they are not normal")
    from scipy.stats import shapiro  # takes half a second to import

    if value.size > _MOST_FOR_NORMALITY:
        # The approximation of its p-value ends there; the last ones are those that count.
        value = value[-_MOST_FOR_NORMALITY:]
    found = shapiro(value)
    p = float(found.pvalue)
    doubtful = p < _DOUBTFUL
    told = "0.0001 or less" if p <= 1e-4 else f"{p:.2g}"
    words = f"Shapiro-Wilk: p = {told} of {value.size} values, "
    words += "so they are not normal (below 0.05)" if doubtful else "so nothing speaks against normal values"
    return Normality(value.size, float(found.statistic), p, doubtful, words)


def _noncentrality(t: float, degrees: int, confidence: float) -> float:
    """Return the noncentrality with which t or less comes with probability `confidence`."""

    def missing(shift: float) -> float:
        return confidence - 1.0 + float(noncentral_t_above(t, shift, degrees))

    reach = abs(t) + 10.0
    while missing(-reach) > 0.0 or missing(reach) < 0.0:
        reach *= 2.0
    return _root(missing, -reach, reach)


def _half_width(centre: Floats, content: float) -> Floats:
    """Return r with Phi(centre + r) - Phi(centre - r) = content."""
    low, high = np.zeros(centre.shape), centre + _REACH + 1.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        enough = special.ndtr(centre + middle) - special.ndtr(centre - middle) >= content
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return 0.5 * (low + high)


def _reached(count: int, rank: int, content: float, both: bool) -> float:
    """Return the confidence that limits of this rank hold so much of the population."""
    inside, outside = (count - 2 * rank + 1, 2 * rank) if both else (count - rank + 1, rank)
    return 0.0 if inside <= 0 else 1.0 - float(special.betainc(inside, outside, content))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function is zero, between two places where its signs differ."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _check_part(part: float, what: str) -> None:
    if not 0.0 < part < 1.0:
        raise UsageError(f"a {what} of {part:g}", hint="Give a part of one, such as 0.95.")


def _check_count(count: int, content: float, confidence: float) -> None:
    _check_part(content, "content")
    _check_part(confidence, "confidence")
    if count < 2:
        raise UsageError(f"a tolerance limit of {count} values", hint="It takes two or more.")
