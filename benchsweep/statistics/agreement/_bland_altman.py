"""Bias and limits of agreement of paired results."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence

import numpy as np
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import BlandAltman
from benchsweep.statistics.agreement._values import Floats, row

__all__ = ["bland_altman"]

_WIDTH = 1.96
_MANY = 30
"""Independent pairs from which on limits of agreement are told without a warning (common practice)."""


def bland_altman(
    differences: Sequence[float] | Floats, groups: Sequence[Hashable] | None = None
) -> BlandAltman:
    """Return bias and limits of agreement (Bland and Altman, Lancet 1986; i: 307).

    The limits are bias -+ 1.96 s, with standard errors s / sqrt(n) of the bias and
    s sqrt(1/n + 1.96^2 / (2 (n - 1))) of a limit, which the paper gives as about sqrt(3/n) s.

    Results of one channel are alike, so that repeats on it say less than as many channels. Where `groups` has
    repeats, the variance of a difference is that between channels and that within, from an analysis of
    variance (Bland and Altman, J. Biopharm. Stat. 17 (2007) 571, section 3, from memory); the errors follow
    with the degrees of freedom of Satterthwaite, Biometrics Bulletin 2 (1946) 110. With one result for each
    channel this is the paper of 1986.

    Parameters
    ----------
    differences
        ``(n,)`` tester less bench, dB or ns.
    groups
        ``(n,)`` which channel each is of; None: each of another one.

    Raises
    ------
    UsageError
        Fewer than two, a value that is not finite, groups that are not as many.
    """
    value = row(differences, least=2, what="limits of agreement")
    names = list(range(value.size)) if groups is None else list(groups)
    if len(names) != value.size:
        raise UsageError(f"limits of agreement: {len(names)} groups for {value.size} differences")
    bias = float(np.mean(value))
    places: dict[Hashable, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    samples = [value[chosen] for chosen in places.values()]
    variance, freedom, of_bias = _variances(samples, value)
    s = math.sqrt(variance)
    limit_error = math.sqrt(of_bias + _WIDTH**2 * variance / (2.0 * freedom))
    return BlandAltman(
        count=value.size,
        bias=bias,
        deviation=s,
        lower=bias - _WIDTH * s,
        upper=bias + _WIDTH * s,
        bias_error=math.sqrt(of_bias),
        limit_error=limit_error,
        independent=len(samples),
        words=_words(value.size, len(samples), limit_error, freedom),
    )


def _variances(samples: Sequence[Floats], value: Floats) -> tuple[float, float, float]:
    """Return the variance of a difference, its degrees of freedom, and the variance of the mean."""
    n, channels = value.size, len(samples)
    plain = float(np.var(value, ddof=1))
    if channels in (1, n):
        return plain, n - 1.0, plain / n
    sizes = np.array([sample.size for sample in samples], dtype=np.float64)
    means = np.array([sample.mean() for sample in samples])
    between = float(np.sum(sizes * (means - value.mean()) ** 2)) / (channels - 1)
    inside = sum(float(np.sum((sample - sample.mean()) ** 2)) for sample in samples) / (n - channels)
    typical = (n - float(np.sum(sizes**2)) / n) / (channels - 1)
    extra = (between - inside) / typical
    if extra <= 0.0:
        # Repeats differ as much as channels do: all are independent.
        return plain, n - 1.0, plain / n
    share = 1.0 / typical
    total = share * between + (1.0 - share) * inside
    parts = (share * between) ** 2 / (channels - 1) + ((1.0 - share) * inside) ** 2 / (n - channels)
    of_bias = extra * float(np.sum(sizes**2)) / n**2 + inside / n
    return total, total**2 / parts, of_bias


def _words(count: int, channels: int, limit_error: float, freedom: float) -> str:
    told: list[str] = []
    if channels == 1:
        told.append(f"all {count} results are of one channel: they tell nothing of another channel")
    elif channels < count:
        told.append(f"{count} results of {channels} channels: repeats on one channel are not independent")
    if channels < _MANY:
        half = float(special.stdtrit(freedom, 0.975)) * limit_error
        told.append(
            f"from {channels} channel{'s' * (channels > 1)}: each limit is known to +- {half:.3g} (95 %)"
        )
    return "; ".join(told)
