"""Repeatability and reproducibility of several laboratories or testers, with tests for outliers."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import InterlaboratoryStudy
from benchsweep.statistics.repeatability._values import Floats, finite

__all__ = ["cochran_critical", "grubbs_critical", "h_critical", "interlaboratory", "k_critical"]

_LIMIT = 2.8
"""1.96 sqrt(2), as ISO 5725-6 and ASTM E177 round it."""
_STRAGGLER, _OUTLIER = 0.05, 0.01
"""Levels of ISO 5725-2 (from memory)."""


def h_critical(laboratories: int, level: float = 0.005) -> float:
    """Return the critical value of Mandel's h, two-sided at `level` (ASTM E691, formula from memory).

    Raises
    ------
    UsageError
        Fewer than three laboratories, a level that is none.
    """
    _check(laboratories, 2, level, least=3)
    t2 = float(special.stdtrit(laboratories - 2, 0.5 * level)) ** 2
    return (laboratories - 1) * math.sqrt(t2 / (laboratories * (t2 + laboratories - 2)))


def k_critical(laboratories: int, replicates: int, level: float = 0.005) -> float:
    """Return the critical value of Mandel's k, one-sided at `level` (ASTM E691, formula from memory).

    Raises
    ------
    UsageError
        Fewer than two laboratories or replicates, a level that is none.
    """
    _check(laboratories, replicates, level)
    f = _f(replicates - 1, (laboratories - 1) * (replicates - 1), level)
    return math.sqrt(laboratories / (1.0 + (laboratories - 1) / f))


def cochran_critical(laboratories: int, replicates: int, level: float = 0.05) -> float:
    """Return the critical share of the largest variance in the sum of all (Cochran; ISO 5725-2).

    Raises
    ------
    UsageError
        As `k_critical`.
    """
    _check(laboratories, replicates, level)
    f = _f(replicates - 1, (laboratories - 1) * (replicates - 1), level / laboratories)
    return 1.0 / (1.0 + (laboratories - 1) / f)


def grubbs_critical(count: int, level: float = 0.05) -> float:
    """Return the critical distance of one mean from all, in their deviation, two-sided (Grubbs; ISO 5725-2).

    Raises
    ------
    UsageError
        Fewer than three, a level that is none.
    """
    _check(count, 2, level, least=3)
    t2 = float(special.stdtrit(count - 2, 0.5 * level / count)) ** 2
    return (count - 1) / math.sqrt(count) * math.sqrt(t2 / (count - 2 + t2))


def interlaboratory(
    values: Sequence[Sequence[float]] | Floats, *, names: Sequence[str] | None = None
) -> InterlaboratoryStudy:
    """Return repeatability and reproducibility of one part that several laboratories measured (ISO 5725-2).

    s_r^2 is the pooled variance within laboratories, s_L^2 = (s_d^2 - s_r^2) / n, not below zero, s_d^2 from
    their means, each by its number of values, and s_R^2 = s_r^2 + s_L^2; limits are 2.8 s. With as many
    values in each, that is ASTM E691.

    Mandel's h of a mean is its distance from the mean of means in their standard deviation, k of a laboratory
    its deviation over s_r. Where numbers of values differ, the critical k and Cochran's are those of the mean
    number, cut to a whole one. Outliers (1 %) and stragglers (5 %) are named; nothing is taken out.

    Parameters
    ----------
    values
        Of each laboratory (tester, operator), two or more, in dB or ns; three laboratories or more.
    names
        Of the laboratories, for the words; None: numbers from 1.

    Raises
    ------
    UsageError
        Too few laboratories or values, one that is not finite, names that are not as many.
    """
    samples = [
        finite(each, what=f"laboratory {place} of a study") for place, each in enumerate(values, start=1)
    ]
    p = len(samples)
    labels = [f"laboratory {place}" for place in range(1, p + 1)] if names is None else list(names)
    if len(labels) != p:
        raise UsageError(f"{len(labels)} names for {p} laboratories")
    if p < 3:
        raise UsageError(f"an interlaboratory study of {p}", hint="It takes three; eight or more tell well.")
    for label, sample in zip(labels, samples, strict=True):
        if sample.ndim != 1 or sample.size < 2:
            raise UsageError(
                f"{label} has {sample.size} value{'' if sample.size == 1 else 's'}",
                hint="Repeatability needs two or more of each, or leave it out.",
            )
    sizes = np.array([sample.size for sample in samples], dtype=np.float64)
    means = np.array([sample.mean() for sample in samples])
    variances = np.array([sample.var(ddof=1) for sample in samples])
    count = float(sizes.sum())
    mean = float(sizes @ means) / count
    within = float((sizes - 1.0) @ variances) / (count - p)
    typical = (count - float(sizes @ sizes) / count) / (p - 1)
    between = max(0.0, (float(sizes @ (means - mean) ** 2) / (p - 1) - within) / typical)
    s_r, s_big = math.sqrt(within), math.sqrt(within + between)
    h = _over(means - means.mean(), float(means.std(ddof=1)))
    k = _over(np.sqrt(variances), s_r)
    replicates = max(2, int(typical + 1e-9))
    return InterlaboratoryStudy(
        laboratories=p,
        replicates=typical,
        mean=mean,
        repeatability=s_r,
        between=math.sqrt(between),
        reproducibility=s_big,
        repeatability_limit=_LIMIT * s_r,
        reproducibility_limit=_LIMIT * s_big,
        h=h,
        k=k,
        h_critical=h_critical(p),
        k_critical=k_critical(p, replicates),
        outliers=(*_by_variance(labels, variances, replicates), *_by_mean(labels, h)),
    )


def _over(values: Floats, deviation: float) -> tuple[float, ...]:
    """Return values over a deviation; all zero where they do not differ at all."""
    if not deviation > 0.0:
        return (0.0,) * values.size
    return tuple(float(each) for each in values / deviation)


def _by_variance(labels: Sequence[str], variances: Floats, replicates: int) -> tuple[str, ...]:
    total = float(variances.sum())
    if not total > 0.0:
        return ()
    worst = int(np.argmax(variances))
    share = float(variances[worst]) / total
    name = _named(share, lambda level: cochran_critical(len(labels), replicates, level))
    if name is None:
        return ()
    return (
        f"{labels[worst]} scatters more than the others: {name} by Cochran's test, "
        f"{100.0 * share:.0f} % of all variance",
    )


def _by_mean(labels: Sequence[str], h: Sequence[float]) -> tuple[str, ...]:
    # Grubbs' statistic of the farthest mean is its h.
    worst = int(np.argmax(np.abs(h)))
    name = _named(abs(h[worst]), lambda level: grubbs_critical(len(labels), level))
    if name is None:
        return ()
    side = "above" if h[worst] > 0.0 else "below"
    return (f"{labels[worst]} lies {side} the others: {name} by Grubbs' test, h = {h[worst]:.2f}",)


def _named(statistic: float, critical: Callable[[float], float]) -> str | None:
    if statistic > critical(_OUTLIER):
        return f"outlier ({100 * _OUTLIER:g} %)"
    return f"straggler ({100 * _STRAGGLER:g} %)" if statistic > critical(_STRAGGLER) else None


def _f(over: int, under: int, tail: float) -> float:
    return float(special.fdtri(over, under, 1.0 - tail))


def _check(laboratories: int, replicates: int, level: float, *, least: int = 2) -> None:
    if laboratories < least or replicates < 2:
        raise UsageError(
            f"critical values for {laboratories} laboratories with {replicates} values",
            hint=f"Give {least} laboratories and 2 values or more.",
        )
    if not 0.0 < level < 1.0:
        raise UsageError(f"a level of {level:g}", hint="Give a number between 0 and 1.")
