"""What moved: a channel, the bench or a tester."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal, NamedTuple

import numpy as np
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import ControlChart, Drift
from benchsweep.statistics.agreement._drift_fit import (
    BENCH,
    Cause,
    Fit,
    Row,
    Shift,
    fits,
    freedom,
    independent,
    scatters,
    shifts,
)
from benchsweep.statistics.agreement._values import Floats, part, row
from benchsweep.statistics.process import ewma_chart

__all__ = ["CheckSeries", "attribute_drift"]

_ODDS = 20.0
"""The best explanation must be so many times as likely as the next one, or nothing is attributed."""
_MISFIT = 0.001
"""An explanation leaves no more than chance would in all but so many cases."""


class CheckSeries(NamedTuple):
    """Values of one quantity over time.

    Parameters
    ----------
    days
        ``(n,)`` when, from any day, rising.
    values
        ``(n,)`` dB or ns.
    labels
        ``(n,)`` what each is called in a chart; empty: its day.
    """

    days: Sequence[float] | Floats
    values: Sequence[float] | Floats
    labels: Sequence[str] = ()


def attribute_drift(
    channels: Mapping[str, CheckSeries],
    testers: Mapping[str, Mapping[str, CheckSeries]] | None = None,
    *,
    baseline: int = 6,
    confidence: float = 0.99,
    together: int = 1,
    least_deviation: float = 0.0,
) -> Drift:
    """Return what moved, from check values of channels on one bench and differences of testers.

    A channel that moves changes its own check value, and no difference: the tester sees it as the bench does.
    A bench that moves changes all channels alike, and all differences the other way round. A tester changes
    its own differences alone. For each day on which something may have happened, the means since and before
    are compared, by weighted least squares with one cause at a time. Something moved where the best cause
    explains more than it would in made series of the same days that do not move; it is named where it is
    twenty times as likely as the next one and leaves no more than chance would. Else it is unclear: always so
    with one channel and no tester, or with one tester alone.

    Slow drift is taken as a step, and found somewhat later than by the charts that come with it, which are
    exponentially weighted (weight 0.2, limits at three deviations, NIST/SEMATECH e-Handbook 6.3.2.4). Several
    causes at once are unclear. Values count as independent: what all values of one session share, as its
    calibration, is taken for a movement of the bench where it is large against the rest. Differences must be
    against bench records of about the same time.

    Parameters
    ----------
    channels
        The same quantity of each channel (as ``insertion_loss A 12 at 250 MHz``) as the bench measured it.
    testers
        By tester and channel: tester less bench, of that quantity.
    baseline
        So many first values of each series are before anything happened and tell the scatter, that of all
        channels together and of all differences together; a series that clearly scatters more than its like
        (F test, 5 %) has its own. Series with no more values than that tell nothing yet.
    confidence
        That nothing is found where nothing moved.
    together
        So many quantities are judged at once.
    least_deviation
        The scatter is taken as no smaller, in the unit of the values: what they are rounded to.

    Returns
    -------
    Drift
        `charts` of all series long enough, by ``channel`` or ``tester on channel``.

    Raises
    ------
    UsageError
        Days or values that are not finite, not as many or not rising; a baseline below three; a baseline
        whose values are all alike in every series, without a least deviation; a confidence that is none.
    """
    part(confidence, what="a confidence")
    if baseline < 3:
        raise UsageError(f"a baseline of {baseline} values", hint="Give 3 or more; 6 to 10 are usual.")
    if together < 1:
        raise UsageError(f"{together} quantities judged at once", hint="Give 1 or more.")
    rows = tuple(each for each in _rows(channels, testers or {}) if each.value.size > baseline)
    if not rows:
        return Drift("", (f"no series has more than its {baseline} values of baseline yet",))
    charts = {each.name: _chart(each, baseline, least_deviation) for each in rows}
    scatter = np.maximum(scatters(rows, [each.value[:baseline] for each in rows]), least_deviation**2)
    if not np.all(scatter > 0.0):
        raise UsageError(
            "values of a baseline are all alike", hint="See whether one record was taken several times."
        )
    free = freedom(rows, baseline)
    structure = tuple((each.day.tobytes(), tuple(each.moves.items())) for each in rows)
    tests = independent(structure, baseline) * together
    alone = -math.expm1(math.log(confidence) / tests)
    chance = float(special.stdtrit(free, 0.5 * alone)) ** 2
    best: tuple[float, Shift, list[Fit]] | None = None
    for found in shifts(rows, [each.value for each in rows], scatter, baseline):
        ranked = sorted(fits(found), key=lambda fit: fit.left)
        gain = float(np.sum(found.shift**2 / found.variance)) - ranked[0].left
        if gain > chance and (best is None or gain > best[0]):
            best = gain, found, ranked
    if best is None:
        return Drift("", (f"none of {len(rows)} series moved (confidence {100.0 * confidence:g} %)",), charts)
    moved, words = _attributed(best[1], best[2], free)
    return Drift(moved, words, charts, best[2][0].cause)


def _rows(
    channels: Mapping[str, CheckSeries], testers: Mapping[str, Mapping[str, CheckSeries]]
) -> Iterator[Row]:
    for name, series in channels.items():
        yield _row(name, series, {("channel", name): 1.0, BENCH: 1.0})
    for tester, by_channel in testers.items():
        for channel, series in by_channel.items():
            yield _row(f"{tester} on {channel}", series, {("tester", tester): 1.0, BENCH: -1.0})


def _row(name: str, series: CheckSeries, moves: Mapping[Cause, float]) -> Row:
    day = row(series.days, least=0, what=f"the days of {name}")
    value = row(series.values, least=0, what=f"the values of {name}")
    if day.size != value.size or len(series.labels) not in (0, day.size):
        raise UsageError(f"{name}: {day.size} days and {len(series.labels)} labels for {value.size} values")
    if (np.diff(day) < 0.0).any():
        raise UsageError(f"{name}: its days do not rise", hint="Give the oldest first.")
    labels = tuple(series.labels) or tuple(f"day {each:g}" for each in day)
    return Row(name, day, value, labels, moves)


def _chart(of: Row, baseline: int, least_deviation: float) -> ControlChart:
    start = of.value[:baseline]
    deviation = max(float(start.std(ddof=1)), least_deviation)
    return ewma_chart(of.value, of.labels, centre=float(start.mean()), deviation=deviation, baseline=baseline)


def _attributed(
    found: Shift, ranked: Sequence[Fit], free: int
) -> tuple[Literal["channel", "bench", "tester", "unclear"], tuple[str, ...]]:
    best = ranked[0]
    kind, name = best.cause
    what = "the bench" if kind == "bench" else f"{kind} {name}"
    seen = _since(found, best.cause)
    told = f"{what} moved by {best.shift:+.3g} {seen}"
    rivals = [fit for fit in ranked[1:] if fit.left - best.left < 2.0 * math.log(_ODDS)]
    if rivals:
        others = ", ".join(" ".join(fit.cause).strip() for fit in rivals)
        return "unclear", (
            f"something moved {seen}: {what} by {best.shift:+.3g}, or {others}",
            "measure another channel on the same bench, or have a tester measure this one",
        )
    left = len(found.rows) - 1
    if left and float(special.fdtrc(left, free, best.left / left)) < _MISFIT:
        each = ", ".join(
            f"{one.name} {shift:+.3g}" for one, shift in zip(found.rows, found.shift, strict=True)
        )
        return "unclear", (
            f"no single cause explains what moved {seen}: {each}",
            f"the nearest is {what}; several moved, or the bench moved not alike for all",
        )
    still = [one.name for one in found.rows if best.cause not in one.moves]
    others = f"; {', '.join(still)} did not follow" if still else ""
    return kind, (f"{told}{others}",)


def _since(found: Shift, cause: Cause) -> str:
    """Return the first value since then in the series that the cause moves, and how many there are."""
    moved = [each for each in found.rows if cause in each.moves]
    places = [int(np.searchsorted(each.day, found.day)) for each in moved]
    count = sum(each.day.size - place for each, place in zip(moved, places, strict=True))
    first, place = min(zip(moved, places, strict=True), key=lambda each: float(each[0].day[each[1]]))
    values = "1 value" if count == 1 else f"{count} values"
    return f"since {first.labels[place]}, {values} of {len(moved)} series"
