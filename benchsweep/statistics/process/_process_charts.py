"""The charts of one parameter over lots: which ones, with which limits, and what a reader must know."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.records import ControlChart
from benchsweep.statistics.process._charts import ewma_chart, individuals_chart, mean_charts, samples_of
from benchsweep.statistics.process._lots import between_average, between_chart, lots_differ
from benchsweep.statistics.process._values import Floats, labelled

__all__ = ["process_charts"]

_FEW = 20
"""Points that limits of a control chart should rest on at least (common practice)."""
_DIFFER = 0.05
"""Lots differ where chance alone would make them differ so much less often than this."""


def process_charts(
    groups: Sequence[Sequence[float] | Floats],
    labels: Sequence[str],
    reel_labels: Sequence[Sequence[str]],
    *,
    baseline: int | None = None,
    order: Sequence[int] | None = None,
) -> tuple[tuple[ControlChart, ...], tuple[str, ...]]:
    """Return the charts of reels and of lots, and notes on them.

    Reels one by one with their moving ranges; then the weighted average, the means of lots and their
    standard deviations. Where lots do not differ, the average is that of reels, which sees a change
    soonest, and the limits of means come from within the lots. Where they differ (F test at 5 %), reels of
    a lot are alike: an average of reels would signal each lot that lies a little off. So the average is
    that of means, and both have limits from lot to lot (`between_chart`). The test takes all lots, not only
    the baseline: of a short baseline it cannot tell, and limits from within would then signal every lot,
    while limits from lot to lot lose little where they are not needed.

    Parameters
    ----------
    groups, labels
        Margins of the reels of each lot, one lot or more, lots in time order.
    reel_labels
        Of the reels in each of the groups.
    baseline
        So many of the first reels set centre and limits; None: all. Charts of lots take the lots that lie
        wholly within them.
    order
        ``(n,)`` places of all reels, counted lot after lot, in time order, for lots that overlap in time;
        None: lot after lot.

    Raises
    ------
    UsageError
        Labels or an order that do not fit, an empty lot, a value that is not finite, a baseline of fewer
        than two or of more than there are. What cannot be charted for want of values is told in the notes
        instead.
    """
    samples, names = _checked(groups, labels, reel_labels)
    count = len(names)
    in_time = list(range(count)) if order is None else list(order)
    if sorted(in_time) != list(range(count)):
        raise UsageError(f"an order of {count} reels that does not name each of them once")
    if baseline is not None and baseline < 2:
        raise UsageError(f"a baseline of {baseline} reels", hint="Centre and limits need two reels or more.")
    if baseline is not None and baseline > count:
        raise UsageError(
            f"a baseline of {baseline} reels, of which there are {count}",
            hint=f"Give {count} or fewer, or none: then all reels set centre and limits.",
        )
    notes: list[str] = []
    rests = count if baseline is None else baseline
    if rests >= 2:
        _tell_few(rests, "limits", "reels", notes)
    values, in_order = np.concatenate(samples)[in_time], [names[place] for place in in_time]
    charts = _drawn(lambda: individuals_chart(values, in_order, baseline=baseline), "reels", notes)
    first = None if baseline is None else _whole_lots(samples, in_time, baseline)
    if baseline is not None and first is None and len(samples) > 1:
        notes.append(
            f"fewer than two lots lie wholly within the first {baseline} reels: the limits of lots rest on "
            f"all {len(samples)} lots"
        )
    p_value = lots_differ(samples)
    if p_value is not None and p_value < _DIFFER:
        notes.append(_why_between(samples, p_value, first))
        # 10 lots of 8 that scatter 0.6 or 1 times as much as their reels: 95 % is 88 or 77 % (simulated).
        notes.append(
            "reels of lots that differ are not independent: the bound of the capability and the tolerance "
            "limits hold with less confidence than they state"
        )
        return (*charts, *_between(samples, labels, first, notes)), tuple(notes)
    charts += _drawn(lambda: (ewma_chart(values, in_order, baseline=baseline),), "averages", notes)
    if len(samples) > 1:
        charts += _drawn(lambda: mean_charts(samples, labels, baseline=first), "lots", notes)
    return tuple(charts), tuple(notes)


def _checked(
    groups: Sequence[Sequence[float] | Floats],
    labels: Sequence[str],
    reel_labels: Sequence[Sequence[str]],
) -> tuple[list[Floats], list[str]]:
    """Return the margins of each lot, and the names of all reels, lot after lot."""
    if not len(groups) == len(labels) == len(reel_labels) > 0:
        raise UsageError(
            f"{len(labels)} lots and {len(reel_labels)} lists of reels for {len(groups)} samples"
        )
    for lot, group, reels in zip(labels, groups, reel_labels, strict=True):
        labelled(group, [f"{reel} of lot {lot}" for reel in reels], least=1, what=f"the lot {lot}")
    return samples_of(groups, labels), [reel for reels in reel_labels for reel in reels]


def _between(
    samples: Sequence[Floats], labels: Sequence[str], first: int | None, notes: list[str]
) -> list[ControlChart]:
    """Return the charts of lots that differ."""
    _tell_few(len(samples) if first is None else first, "limits of means", "lots", notes)
    charts = _drawn(lambda: (between_average(samples, labels, baseline=first),), "averages of lots", notes)
    charts += _drawn(lambda: (between_chart(samples, labels, baseline=first),), "means of lots", notes)
    return charts + _drawn(lambda: mean_charts(samples, labels, baseline=first)[1:], "lots", notes)


def _tell_few(count: int, limits: str, what: str, notes: list[str]) -> None:
    if count < _FEW:
        notes.append(
            f"{limits} rest on {count} {what} and are provisional; they should on {_FEW} or more "
            "(common practice)"
        )


def _why_between(samples: Sequence[Floats], p_value: float, first: int | None) -> str:
    judged = (
        "their means are judged by how means differ from lot to lot, and the weighted average is that of "
        "lots; single reels beyond the limits of their chart may be no more than another lot"
    )
    before = None if first is None else lots_differ(samples[:first])
    if first is not None and (before is None or before >= _DIFFER):
        return (
            f"lots differ (F test, p = {p_value:.2g}), but not those of the baseline: the process changed "
            f"after it, or the baseline is too short to tell; {judged}"
        )
    return f"lots differ in their own right (F test, p = {p_value:.2g}), as lots of cable do: {judged}"


def _drawn(make: Callable[[], tuple[ControlChart, ...]], what: str, notes: list[str]) -> list[ControlChart]:
    try:
        return list(make())
    except UsageError as error:
        notes.append(f"no chart of {what}: {error.message}")
        return []


def _whole_lots(samples: Sequence[Floats], in_time: Sequence[int], baseline: int) -> int | None:
    """Return how many of the first lots lie wholly within so many reels; None where fewer than two do."""
    lot_of = np.repeat(np.arange(len(samples)), [sample.size for sample in samples])
    later = {int(lot_of[place]) for place in in_time[baseline:]}
    count = min(later, default=len(samples))
    return count if count > 1 else None
