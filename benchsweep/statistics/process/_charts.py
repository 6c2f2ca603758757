"""Control charts of single values and of samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.records import ChartKind, ControlChart
from benchsweep.statistics.process._constants import chart_constants, unbiasing
from benchsweep.statistics.process._rules import LIMITS_ONLY, run_signals
from benchsweep.statistics.process._values import Floats, baseline_of, labelled

__all__ = [
    "ewma_chart",
    "individuals_chart",
    "mean_charts",
    "moving_range_deviation",
    "samples_of",
]

_WIDTH = 3.0


def _chart(
    kind: ChartKind,
    labels: Sequence[str],
    value: Floats,
    centre: Floats,
    half: tuple[Floats, Floats],
    deviation: Floats,
    baseline: int,
    words: str,
) -> ControlChart:
    """Return a chart with its signals; `half` is how far the limits are below and above the centre."""
    lower, upper = centre - half[0], centre + half[1]
    ranges = kind in ("moving-range", "range", "deviation", "ewma")
    signals = run_signals(value, centre, lower, upper, deviation, rules=LIMITS_ONLY if ranges else None)
    return ControlChart(kind, tuple(labels), value, centre, lower, upper, deviation, baseline, signals, words)


def moving_range_deviation(values: Floats) -> float:
    """Return the standard deviation from the mean moving range of two, over d2 = 1.128."""
    return float(np.mean(np.abs(np.diff(values)))) / chart_constants(2).d2


def individuals_chart(
    values: Sequence[float] | Floats, labels: Sequence[str], *, baseline: int | None = None
) -> tuple[ControlChart, ControlChart]:
    """Return the chart of individuals and that of their moving ranges.

    Limits are mean +- 3 mean moving range / 1.128, and 3.267 times the mean moving range (NIST/SEMATECH
    e-Handbook 6.3.2.2; ISO 7870-2, from memory).

    Parameters
    ----------
    values, labels
        In time order.
    baseline
        So many of the first values set centre and limits; None: all.

    Raises
    ------
    UsageError
        Fewer than two values, one that is not finite, a baseline that does not fit.
    """
    value = labelled(values, labels, least=2, what="a chart of individuals")
    used = baseline_of(value.size, baseline)
    sigma = moving_range_deviation(value[:used])
    centre = np.full(value.shape, np.mean(value[:used]))
    each, half = np.full(value.shape, sigma), np.full(value.shape, _WIDTH * sigma)
    words = f"mean and mean moving range of {used} points, limits at 3 times the latter over d2 = 1.128"
    individuals = _chart("individuals", labels, value, centre, (half, half), each, used, words)
    two = chart_constants(2)
    mean_range = sigma * two.d2
    moving = np.concatenate([[np.nan], np.abs(np.diff(value))])
    low, high = two.range_factors
    middle = np.full(value.shape, mean_range)
    ranges = _chart(
        "moving-range",
        labels,
        moving,
        middle,
        (middle * (1.0 - low), middle * (high - 1.0)),
        np.full(value.shape, sigma * two.d3),
        used,
        f"mean moving range of {used} points, upper limit at D4 = {high:.3f} times it",
    )
    return individuals, ranges


def mean_charts(
    groups: Sequence[Sequence[float] | Floats],
    labels: Sequence[str],
    *,
    baseline: int | None = None,
    spread: Literal["range", "deviation"] = "deviation",
) -> tuple[ControlChart, ControlChart]:
    """Return the chart of the means of samples and that of their ranges or standard deviations.

    The standard deviation within samples is the sum of the ranges over the sum of d2, or of the standard
    deviations over the sum of c4, which for samples of one size is the mean range over d2 (limits A2, D3,
    D4) or the mean standard deviation over c4 (A3, B3, B4). Limits follow the size of each sample; a sample
    of one value has no spread and sets none.

    These limits know no variation from sample to sample. Where lots differ in their own right, as lots of
    cable do, `between_chart` is the one to judge them by.

    Parameters
    ----------
    groups, labels
        A sample for each label, in time order.
    baseline
        So many of the first samples set centre and limits; None: all.

    Raises
    ------
    UsageError
        No sample in the baseline has two values, an empty sample, a value that is not finite.
    """
    samples = samples_of(groups, labels)
    used = baseline_of(len(samples), baseline, least=1)
    sizes = np.array([sample.size for sample in samples])
    means = np.array([float(np.mean(sample)) for sample in samples])
    tell = np.array([_spread(sample, spread) for sample in samples])
    mean_of = np.array([_mean_factor(size, spread) for size in sizes])
    deviation_of = np.array([_deviation_factor(size, spread) for size in sizes])
    several = sizes[:used] > 1
    if not several.any():
        raise UsageError(
            "no sample of the baseline has two values or more", hint="Take a chart of individuals."
        )
    sigma = float(np.sum(tell[:used][several]) / np.sum(mean_of[:used][several]))
    centre = np.full(means.shape, float(np.sum(means[:used] * sizes[:used]) / np.sum(sizes[:used])))
    each = sigma / np.sqrt(sizes)
    name = "ranges over d2" if spread == "range" else "standard deviations over c4"
    words = f"mean of all values and {name} of {used} samples; limits at 3 standard deviations of a mean"
    kind: Literal["range", "deviation"] = spread
    of_means = _chart("mean", labels, means, centre, (_WIDTH * each, _WIDTH * each), each, used, words)
    middle, wide = sigma * mean_of, sigma * deviation_of
    low = np.minimum(middle, _WIDTH * wide)
    spreads = _chart(kind, labels, tell, middle, (low, _WIDTH * wide), wide, used, words)
    return of_means, spreads


def ewma_chart(
    values: Sequence[float] | Floats,
    labels: Sequence[str],
    *,
    weight: float = 0.2,
    width: float = 3.0,
    centre: float | None = None,
    deviation: float | Sequence[float] | Floats | None = None,
    baseline: int | None = None,
    steady: bool = False,
) -> ControlChart:
    """Return the chart of the exponentially weighted moving average.

    z_t = weight y_t + (1 - weight) z_(t-1), begun at the centre; limits are `width` times deviation
    sqrt(weight/(2 - weight) (1 - (1 - weight)^(2 t))) (NIST/SEMATECH e-Handbook 6.3.2.4). It sees a small
    lasting change sooner than single points do. Where each value has a deviation of its own, as means of
    samples of different sizes have, the limits follow the variance v_t = weight^2 s_t^2 + (1 - weight)^2
    v_(t-1), which for equal ones is the same.

    Parameters
    ----------
    centre, deviation
        Of single values; None: mean of the baseline, and its mean moving range over 1.128. A deviation for
        all values, or ``(n,)`` one for each.
    steady
        Limits as after very many points, from the first one on, as the handbook's example has them.

    Raises
    ------
    UsageError
        A weight outside 0 to 1, a width or deviation that is none, too few values.
    """
    if not 0.0 < weight <= 1.0:
        raise UsageError(f"a weight of {weight:g}", hint="Give more than 0 and at most 1; 0.2 is usual.")
    if not (math.isfinite(width) and width > 0.0):
        raise UsageError(f"limits at {width:g} standard deviations", hint="3 is usual.")
    if centre is not None and not math.isfinite(centre):
        raise UsageError(f"a centre of {centre:g} makes no sense")
    known = centre is not None and deviation is not None
    value = labelled(values, labels, least=1 if known else 2, what="a moving average")
    used = baseline_of(value.size, baseline, least=1 if known else 2)
    sigma = _deviations(moving_range_deviation(value[:used]) if deviation is None else deviation, value.size)
    middle = float(np.mean(value[:used])) if centre is None else centre
    smooth = np.empty(value.shape)
    last = middle
    for place, each in enumerate(value):
        last = weight * float(each) + (1.0 - weight) * last
        smooth[place] = last
    # As after very many points, or as after the points there are.
    variance = weight / (2.0 - weight) * sigma**2
    if not steady:
        before = 0.0
        for place, each in enumerate(sigma):
            before = weight**2 * float(each) ** 2 + (1.0 - weight) ** 2 * before
            variance[place] = before
    spread = np.sqrt(variance)
    words = f"weight {weight:g}, limits at {width:g} standard deviations, "
    words += "centre and deviation as given" if known else f"centre and deviation of {used} points"
    half = width * spread
    return _chart("ewma", labels, smooth, np.full(value.shape, middle), (half, half), spread, used, words)


def _deviations(deviation: float | Sequence[float] | Floats, count: int) -> Floats:
    found = np.asarray(deviation, dtype=np.float64)
    if found.ndim and found.shape != (count,):
        raise UsageError(f"{found.size} standard deviations for {count} values")
    if not (np.isfinite(found) & (found >= 0.0)).all():
        wrong = float(found[~(np.isfinite(found) & (found >= 0.0))][0])
        raise UsageError(f"a standard deviation of {wrong:g} makes no sense")
    return np.full(count, found) if found.ndim == 0 else found


def samples_of(groups: Sequence[Sequence[float] | Floats], labels: Sequence[str]) -> list[Floats]:
    """Return samples as ``(n,)`` float64, each of one value or more, all finite.

    Raises
    ------
    UsageError
    """
    if len(groups) != len(labels):
        raise UsageError(f"a chart of means: {len(labels)} labels for {len(groups)} samples")
    return [
        labelled(group, [label] * len(group), least=1, what=f"the sample {label}")
        for group, label in zip(groups, labels, strict=True)
    ]


def _spread(sample: Floats, spread: str) -> float:
    if sample.size == 1:
        return math.nan
    return float(np.ptp(sample)) if spread == "range" else float(np.std(sample, ddof=1))


def _mean_factor(size: int, spread: str) -> float:
    """Return what the spread of so many values is on average, over the standard deviation of one."""
    if size == 1:
        return math.nan
    return chart_constants(size).d2 if spread == "range" else unbiasing(size)


def _deviation_factor(size: int, spread: str) -> float:
    if size == 1:
        return math.nan
    return chart_constants(size).d3 if spread == "range" else math.sqrt(1.0 - unbiasing(size) ** 2)
