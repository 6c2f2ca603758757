from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchsweep.statistics.distributions import noncentral_t_above

__all__ = [
    "at_most_in_lot",
    "at_most_nonconforming",
    "at_most_nonconformities",
    "estimated_share",
    "none_nonconforming",
    "quality_reached",
    "share_accepted_at",
    "share_reaching",
]

# scipy.stats takes most of a second to import; every distribution needed here is one special function.

_FARTHEST = 8.0
"""Normal score beyond which a share is 0 or 1 (6e-16)."""


def at_most_nonconforming(accept: int, count: int, share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return P(d <= accept) of `count` units of a process with this share nonconforming (binomial)."""
    if accept >= count:
        return np.ones_like(share)
    return np.asarray(special.betaincc(accept + 1, count - accept, share), dtype=np.float64)


def at_most_nonconformities(accept: int, expected: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return P(d <= accept) where so many nonconformities are expected (Poisson)."""
    return np.asarray(special.gammaincc(accept + 1, expected), dtype=np.float64)


def at_most_in_lot(accept: int, count: int, lot_size: int, bad: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return P(d <= accept) of `count` units drawn from a lot with `bad` nonconforming ones.

    Hypergeometric, by logarithms of factorials: to 1e-12 for a lot of 1 000, 1e-8 for one of a million.
    """
    found = np.arange(min(accept, count) + 1)[:, None]
    possible = (found <= bad) & (count - found <= lot_size - bad)
    hit, missed = np.minimum(found, bad), np.minimum(count - found, lot_size - bad)
    logs = _log_choose(bad, hit) + _log_choose(lot_size - bad, missed) - _log_choose(lot_size, count)
    total = np.where(possible, np.exp(logs), 0.0).sum(axis=0)
    return np.asarray(np.minimum(total, 1.0), dtype=np.float64)


def _log_choose(n: NDArray[np.int64] | int, k: NDArray[np.int64] | int) -> NDArray[np.float64]:
    return np.asarray(special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1))


def none_nonconforming(lot_size: int, bad: int, count: int) -> float:
    """Return P(d = 0) of `count` units drawn from a lot with `bad` nonconforming ones, to rounding."""
    if count > lot_size - bad:
        return 0.0
    few, many = sorted((bad, count))
    steps = np.arange(few)
    return float(np.prod((lot_size - many - steps) / (lot_size - steps)))


def share_accepted_at(accept: int, count: int, probability: float) -> float:
    """Return the share nonconforming of which P(d <= accept) is `probability`; 1 where all are accepted."""
    if accept >= count:
        return 1.0
    return float(special.betainccinv(accept + 1, count - accept, probability))


def quality_reached(constant_k: float, count: int, share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return P(mean / s >= k) of `count` normal values with this share below zero (noncentral t)."""
    # A share of 0 or 1 stands for one so near to it that nothing changes; the normal score would be infinite.
    away = np.clip(-special.ndtri(share), -_FARTHEST, _FARTHEST)
    return noncentral_t_above(np.sqrt(count) * constant_k, np.sqrt(count) * away, count - 1)


def estimated_share(quality: float, count: int) -> float:
    """Return the share below zero estimated from Q = mean / s of `count` values.

    The minimum-variance unbiased estimate, a beta distribution (Lieberman and Resnikoff, 1955).
    """
    reached = 0.5 - 0.5 * quality * np.sqrt(count) / (count - 1)
    return float(special.betainc(count / 2 - 1, count / 2 - 1, min(max(reached, 0.0), 1.0)))


def share_reaching(constant_k: float, count: int, probability: float) -> float:
    """Return the share below zero with P(mean / s >= k) = `probability`, by narrowing the normal score."""
    low, high = -_FARTHEST, _FARTHEST
    for _ in range(12):
        away = np.linspace(low, high, 17)
        above = int(np.searchsorted(quality_reached(constant_k, count, special.ndtr(-away)), probability))
        low, high = float(away[max(above - 1, 0)]), float(away[min(above, away.size - 1)])
    return float(special.ndtr(-0.5 * (low + high)))
