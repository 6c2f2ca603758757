"""Lots that differ in their own right: whether they do, and the chart of their means where they do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy import special

from benchsweep.records import ControlChart
from benchsweep.statistics.process._charts import ewma_chart, moving_range_deviation, samples_of
from benchsweep.statistics.process._rules import run_signals
from benchsweep.statistics.process._values import Floats, baseline_of

__all__ = ["between_average", "between_chart", "lots_differ"]

_WIDTH = 3.0
_FEWEST_LOTS = 2


def between_chart(
    groups: Sequence[Sequence[float] | Floats], labels: Sequence[str], *, baseline: int | None = None
) -> ControlChart:
    """Return a chart of the means of lots whose limits come from how the means differ from lot to lot.

    A chart of means with limits from within the lots signals nearly every lot where lots differ in their
    own right (another charge of copper, another day), which is normal in cable: the alarm would tell what
    everybody knows. Here the means are treated as individuals: mean +- 3 mean moving range / 1.128, which
    holds what differs from lot to lot and what differs within (chart of means of the three-way chart,
    common practice, no source). It needs more lots to know its limits, and sees a change of the process
    from lot to lot later.

    The mean of a lot of few reels scatters more than that of many, so the limits follow the size: the
    variance of the means is parted into that of lots and that of reels over their number. Lots of one size
    have the limits of individuals, but never narrower ones than what is within the lots explains, which
    rests on more values than the moving range does.

    Raises
    ------
    UsageError
        Fewer than two lots, an empty one, a value that is not finite, a baseline that does not fit.
    """
    samples = samples_of(groups, labels)
    used = baseline_of(len(samples), baseline)
    means = np.array([float(np.mean(sample)) for sample in samples])
    each = _deviations_of_means(samples, means, used)
    centre = np.full(means.shape, np.mean(means[:used]))
    lower, upper = centre - _WIDTH * each, centre + _WIDTH * each
    signals = run_signals(means, centre, lower, upper, each)
    words = (
        f"mean and mean moving range of the means of {used} lots, limits at 3 times "
        "the latter over d2 = 1.128"
    )
    if len({sample.size for sample in samples}) > 1:
        words += ", wider for lots of fewer reels"
    return ControlChart("mean", tuple(labels), means, centre, lower, upper, each, used, signals, words)


def between_average(
    groups: Sequence[Sequence[float] | Floats], labels: Sequence[str], *, baseline: int | None = None
) -> ControlChart:
    """Return the exponentially weighted moving average of the means that `between_chart` shows.

    Raises
    ------
    UsageError
        As `between_chart`.
    """
    lots = between_chart(groups, labels, baseline=baseline)
    chart = ewma_chart(
        lots.value, labels, centre=float(lots.centre[0]), deviation=lots.deviation, baseline=lots.baseline
    )
    words = f"weight 0.2, limits at 3 standard deviations, from the means of {lots.baseline} lots"
    return replace(chart, constants=words)


def lots_differ(groups: Sequence[Sequence[float] | Floats]) -> float | None:
    """Return the p-value of lots that do not differ: F test of a one-way analysis of variance.

    Returns
    -------
    None where fewer than two lots or no lot of two values are there to tell, or nothing differs at all.
    """
    samples = [np.asarray(group, dtype=np.float64) for group in groups if len(group)]
    count, total = len(samples), sum(sample.size for sample in samples)
    if count < _FEWEST_LOTS or total <= count:
        return None
    grand = float(np.concatenate(samples).mean())
    between = sum(sample.size * (float(sample.mean()) - grand) ** 2 for sample in samples)
    within = _squares_within(samples)
    if within <= 0.0:
        return None if between <= 0.0 else 0.0
    f = (between / (count - 1)) / (within / (total - count))
    return float(special.fdtrc(count - 1, total - count, f))


def _deviations_of_means(samples: Sequence[Floats], means: Floats, used: int) -> Floats:
    """Return the standard deviation of the mean of each lot, lots and reels taken together."""
    whole = moving_range_deviation(means[:used])
    sizes = np.array([sample.size for sample in samples])
    freedom = int(np.sum(sizes[:used] - 1))
    if freedom == 0:  # a single reel of each lot: what lots and what reels do cannot be told apart
        return np.full(means.shape, whole)
    inside = _squares_within(samples[:used]) / freedom / sizes
    of_lots = max(0.0, whole**2 - float(np.mean(inside[:used])))
    found: Floats = np.sqrt(of_lots + inside)
    return found


def _squares_within(samples: Sequence[Floats]) -> float:
    return sum(float(np.sum((sample - sample.mean()) ** 2)) for sample in samples)
