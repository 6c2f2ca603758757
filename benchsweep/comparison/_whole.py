"""Whether the tester measured this channel at all, its length, and against which limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._evidence import AllowedErrors, Evidence
from benchsweep.comparison._extrema import WITH_NULLS
from benchsweep.comparison._grid import at_frequencies, inside, limit_at
from benchsweep.comparison._names import Key, bench_key, by_key, curve_of, listed
from benchsweep.comparison._numbers import delays_of
from benchsweep.comparison._values import key_of, told_values
from benchsweep.records import FieldResult, LimitCurve, Parameter, Suspicion, Trace

__all__ = ["channel_suspicions", "length_suspicions", "limit_suspicions", "surely_this_channel"]

ALIKE = 0.5
"""Median correlation of the ripple of crosstalk and return loss with the bench's below which it is another
channel: of the same channel it is above 0.8 with errors of 1.5 dB, of others about zero."""

SURELY_ALIKE = 0.8
"""Of the same channel it is above, of channels that are nearly the same below (tests/comparison)."""

_RIPPLE_DB = 2.0
_FEWEST_POINTS = 20
_FEWEST_TRACES = 3

_PROPORTION = 0.1
"""Logarithm by which the ratio of losses of nearly alike lengths may differ between halves of the band; the
more they differ, the more the errors of a tester in the smaller loss add to it."""

LIMIT_DB = 0.3
"""Limits that differ by more are not the same: they are told with one digit, rounded or cut off."""


def channel_suspicions(evidence: Evidence) -> tuple[Suspicion, ...]:
    """Tell whether the ripple over frequency is another channel's: of NEXT, return loss and their like.

    A tester within its allowed errors is never suspected: its numbers fit under their names.
    """
    rippled = _rippled(evidence)
    if not rippled or np.median([evidence.cost(at, evidence.numbers[at].key) for at in rippled]) <= 1.0:
        return ()
    alike = _likeness(evidence)
    if alike is None or alike >= ALIKE:
        return ()
    words = (
        f"this is most likely another channel: the course of crosstalk and return loss over frequency has "
        f"nothing of the bench's, whatever pairs and ends are taken (correlation {alike:.2f}, of "
        f"the same channel above 0.8). Look which channel was measured."
    )
    return (Suspicion("channel", words),)


def surely_this_channel(evidence: Evidence) -> bool:
    """Tell whether the ripple of crosstalk and return loss is this channel's: no other has the same."""
    alike = _likeness(evidence)
    return alike is not None and alike >= SURELY_ALIKE


def _rippled(evidence: Evidence) -> list[int]:
    return [
        at
        for at, one in enumerate(evidence.numbers)
        if one.key[0] in WITH_NULLS and one.frequency_hz is not None and one.value.size >= _FEWEST_POINTS
    ]


def _likeness(evidence: Evidence) -> float | None:
    """Return the median correlation of the ripple with the most alike trace of the bench; None: too little.

    Which trace of the bench is the most alike is taken, so that exchanged names make no other channel of it.
    """
    alike = [found for at in _rippled(evidence) if (found := _most_alike(evidence, at)) is not None]
    return float(np.median(alike)) if len(alike) >= _FEWEST_TRACES else None


def _most_alike(evidence: Evidence, at: int) -> float | None:
    one = evidence.numbers[at]
    if one.frequency_hz is None:
        return None
    found = (_alike(one.frequency_hz, one.value, evidence.there[name]) for name in evidence.names(at))
    return max((ripple for ripple in found if ripple is not None), default=None)


def _alike(frequency_hz: NDArray[np.float64], value: NDArray[np.float64], trace: Trace) -> float | None:
    """Return the correlation of what is left of two traces without their slope; None without any ripple."""
    bench = at_frequencies(frequency_hz, trace.frequency_hz, trace.value)
    if not np.isfinite(bench).all():
        return None
    one, other = _ripple(frequency_hz, value), _ripple(frequency_hz, bench)
    if other.std() < _RIPPLE_DB or one.std() == 0.0:
        return None
    return float(np.corrcoef(one, other)[0, 1])


def _ripple(frequency_hz: NDArray[np.float64], value: NDArray[np.float64]) -> NDArray[np.float64]:
    x = np.log(frequency_hz)
    left = value - np.polyval(np.polyfit(x, value, 2), x)
    # Nulls are deep by chance.
    bound = 3.0 * np.median(np.abs(left)) + 1e-9
    return np.clip(left, -bound, bound)


def length_suspicions(
    result: FieldResult, traces: Sequence[Trace], limits: Sequence[LimitCurve]
) -> tuple[Suspicion, ...]:
    """Tell whether delay and insertion loss are those of a channel of another length.

    Delays that differ by more than 8 % and 10 ns (twice what such testers declare, as remembered) are
    another length, unless the insertion loss contradicts. The insertion loss alone says so when it differs by
    30 % and 3 dB in all pairs, in proportion all along the band.
    """
    there = by_key(traces)
    delay, loss = _delay_ratio(result, there), _loss_ratio(result, there, limits)
    if delay is not None:
        if loss is not None and (loss - 1.0) * (delay - 1.0) < 0.25 * (delay - 1.0) ** 2:
            return ()
        why = f"delay is {delay:.2f} times the bench's"
        why += f", insertion loss {loss:.2f} times" if loss is not None else ""
    elif loss is not None and abs(np.log(loss)) > np.log(1.3) and not delays_of(result)[Parameter.DELAY]:
        why = f"insertion loss of all pairs is {loss:.2f} times the bench's"
    else:
        return ()
    return (
        Suspicion(
            "length", f"this is most likely a channel of another length: {why}. Look which was measured."
        ),
    )


def _delay_ratio(result: FieldResult, there: Mapping[Key, Trace]) -> float | None:
    """Return delay over that of the bench where it is another length; None where it is not."""
    pairs = [
        (value, float(np.median(there[key].value)))
        for name, value in delays_of(result)[Parameter.DELAY].items()
        if (key := bench_key((Parameter.DELAY, None, name), there)) is not None
    ]
    if not pairs:
        return None
    told, bench = np.array(pairs).T
    off = np.abs(told - bench) > 10.0 + 0.08 * bench
    ratio = float(np.median(told / bench))
    # Beyond a factor of a hundred it is the unit.
    return ratio if off.all() and 0.01 < ratio < 100.0 else None


def _loss_ratio(
    result: FieldResult, there: Mapping[Key, Trace], limits: Sequence[LimitCurve]
) -> float | None:
    """Return the insertion loss over the bench's, of all pairs the ratio nearest to one; None: too little."""
    ratios = []
    for told in result.traces:
        key = bench_key(key_of(told), there)
        if told.parameter is not Parameter.INSERTION_LOSS or key is None:
            continue
        values = told_values(told, limits)
        keep = np.isfinite(values.value) & inside(values.frequency_hz, there[key].frequency_hz)
        if not keep.any():
            continue
        at = values.frequency_hz[keep]
        bench = at_frequencies(at, there[key].frequency_hz, there[key].value)
        mine, theirs = float(values.value[keep].max()), float(bench.max())
        if not np.isfinite(theirs) or mine <= 0.0 or max(mine, theirs) < 3.0:
            continue
        if abs(mine - theirs) < 3.0:
            ratios.append(1.0 if theirs <= 0.0 else mine / theirs)
        elif _in_proportion(values.value[keep], bench):
            ratios.append(mine / theirs)
        else:
            ratios.append(1.0)
    return min(ratios, key=lambda ratio: abs(np.log(ratio))) if ratios else None


def _in_proportion(told: NDArray[np.float64], bench: NDArray[np.float64]) -> bool:
    """Tell whether losses are so many times the bench's all along the band, as those of another length are.

    An offset or a tilt of a tester is not: what it adds at a small loss is another part of it.
    """
    large = np.minimum(told, bench) >= 3.0
    if int(large.sum()) < 4:
        return True
    ratio = np.log(told[large] / bench[large])
    half = ratio.size // 2
    apart = abs(float(np.median(ratio[:half]) - np.median(ratio[half:])))
    return apart < _PROPORTION * (1.0 + 3.0 * abs(float(np.log(told.max() / bench.max()))))


def limit_suspicions(
    result: FieldResult, traces: Sequence[Trace], limits: Sequence[LimitCurve], allowed: AllowedErrors
) -> tuple[Suspicion, ...]:
    """Tell whether the tester counts its margins against another limit than ours.

    Where it tells its limit beside each value, values are compared all the same and nothing is hindered.
    Worst margins alone against another limit cannot be compared.
    """
    told: dict[Parameter, float] = {}
    hinders: set[Parameter] = set()
    for trace in result.traces:
        if trace.limit is None:
            continue
        apart = _apart(trace.parameter, trace.frequency_hz, trace.limit, limits)
        if apart.size and np.mean(apart > LIMIT_DB) > 0.1:
            told[trace.parameter] = max(told.get(trace.parameter, 0.0), float(apart.max()))
    for point in result.points:
        if point.limit is None or point.frequency_hz is None:
            continue
        apart = _apart(point.parameter, np.array([point.frequency_hz]), np.array([point.limit]), limits)
        if apart.size and apart[0] > LIMIT_DB:
            told[point.parameter] = max(told.get(point.parameter, 0.0), float(apart[0]))
            if point.margin is not None and point.value is None:
                hinders.add(point.parameter)
    found = []
    if told:
        which = listed(
            f"{parameter.term} (up to {apart:.1f} {parameter.unit})" for parameter, apart in told.items()
        )
        words = (
            f"the tester's limit is another one than the requirement's: {which}. Look which requirement it "
            f"was set to; margins of the two cannot be compared, values can."
        )
        found.append(Suspicion("limit", words, hinders=bool(hinders)))
    return (*found, *_common_shift(result, traces, limits, allowed))


def _apart(
    parameter: Parameter, at: NDArray[np.float64], limit: NDArray[np.float64], limits: Sequence[LimitCurve]
) -> NDArray[np.float64]:
    curve = curve_of(parameter, limits)
    if curve is None:
        return np.array([])
    apart = np.abs(limit - limit_at(at, curve.frequency_hz, curve.value))
    return apart[np.isfinite(apart)]


def _common_shift(
    result: FieldResult, traces: Sequence[Trace], limits: Sequence[LimitCurve], allowed: AllowedErrors
) -> tuple[Suspicion, ...]:
    """Say of margins without a limit that are off alike in all traces that another limit could be the reason.

    It could as well be a fault of the tester, so that nothing is hindered.
    """
    there = by_key(traces)
    shifts: dict[Parameter, list[float]] = {}
    for told in result.traces:
        key = bench_key(key_of(told), there)
        if key is None or told.quantity != "margin" or told.limit is not None or told.parameter.unit != "dB":
            continue
        values = told_values(told, limits)
        keep = np.isfinite(values.value) & inside(values.frequency_hz, there[key].frequency_hz)
        bench = at_frequencies(values.frequency_hz[keep], there[key].frequency_hz, there[key].value)
        if keep.any() and np.isfinite(bench).all():
            shifts.setdefault(told.parameter, []).append(float(np.median(values.value[keep] - bench)))
    off = [
        parameter
        for parameter, shift in shifts.items()
        if len(shift) >= _FEWEST_TRACES
        and abs(np.median(shift)) > allowed.db
        and np.ptp(shift) < 0.5 * abs(np.median(shift))
    ]
    if not off:
        return ()
    words = (
        f"all margins of {listed(parameter.term for parameter in off)} are off alike, and the tester does "
        f"not tell its limit: it may have counted against another requirement."
    )
    return (Suspicion("limit", words, hinders=False),)
