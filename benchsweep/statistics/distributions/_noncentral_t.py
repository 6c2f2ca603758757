from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

__all__ = ["noncentral_t_above"]

_NODES, _TAIL = 400, 1e-15
# Where the step of the normal distribution is steep in S it takes many nodes.


def noncentral_t_above(
    t: float | NDArray[np.float64], shift: float | NDArray[np.float64], freedom: int
) -> NDArray[np.float64]:
    """Return the probability that a noncentral t is `t` or more.

    T = (Z + shift) / S with Z normal and S^2 chi-square over its degrees of freedom: the mean, over what S
    can be, of the chance that Z is above t S - shift. (The noncentral t of scipy.special is not a number for
    large samples far from the limit; scipy.stats takes most of a second to import.)

    Parameters
    ----------
    t, shift
        Of shapes that fit each other.
    freedom
        Degrees of freedom, 1 or more.
    """
    spread, weight = _spreads(freedom)
    at, off = np.asarray(t, dtype=np.float64), np.asarray(shift, dtype=np.float64)
    return np.asarray(special.ndtr(off[..., None] - at[..., None] * spread) @ weight)


@cache
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    return node, weight


@lru_cache(maxsize=256)
def _spreads(freedom: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values of S and their weights, of Gauss and Legendre."""
    low, high = np.sqrt(special.chdtri(freedom, np.array([1.0 - _TAIL, _TAIL])))
    node, weight = _nodes()
    chi = low + (high - low) * (node + 1.0) / 2.0
    density = np.exp(
        (freedom - 1) * np.log(chi)
        - chi**2 / 2.0
        - (freedom / 2.0 - 1.0) * np.log(2.0)
        - special.gammaln(freedom / 2.0)
    )
    share = weight * density
    return chi / np.sqrt(freedom), share / share.sum()
