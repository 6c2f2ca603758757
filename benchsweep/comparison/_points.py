"""Single numbers of a tester against the bench: worst margins and values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._grid import at_frequencies, inside, limit_at
from benchsweep.comparison._names import Key, bench_key, by_key, curve_of, sense_of
from benchsweep.comparison._values import from_margin, margin_of
from benchsweep.records import ComparedPoint, FieldPoint, FieldResult, LimitCurve, Trace

__all__ = ["MatchedPoint", "WorstMargin", "compared_points", "point_value", "worst_margin"]


@dataclass(frozen=True, slots=True)
class WorstMargin:
    """Smallest margin of a trace of the bench, in dB (ns), and where: in Hz, with value and limit there."""

    margin: float
    frequency_hz: float
    value: float
    limit: float


@dataclass(frozen=True, slots=True)
class MatchedPoint:
    """One number of a tester and what the bench says to it.

    Parameters
    ----------
    point
        As the tester told it.
    key
        Name of the trace of the bench; None where it has none.
    worst
        Worst margins of both, wherever each has it; None without margin or limit. `frequency_hz` and `limit`
        are those of the bench. Worst margins differ by no more than the traces do anywhere.
    there
        Values of both at the tester's frequency; None where it tells none or the bench has no value.
    words
        What could not be compared and why, and whether the frequencies of the worst margins differ; may be
        empty.
    """

    point: FieldPoint
    key: Key | None
    worst: ComparedPoint | None = None
    there: ComparedPoint | None = None
    words: str = ""


def worst_margin(
    trace: Trace, limits: Sequence[LimitCurve], exempt: NDArray[np.bool_] | None = None
) -> WorstMargin | None:
    """Return the smallest margin of a trace; None where there is no limit.

    Parameters
    ----------
    exempt
        ``(n_freq,)`` points that the requirement does not count.
    """
    curve = curve_of(trace.parameter, limits)
    if curve is None:
        return None
    limit = limit_at(trace.frequency_hz, curve.frequency_hz, curve.value)
    margin = margin_of(trace.value, limit, curve.sense)
    if exempt is not None:
        margin = np.where(exempt, np.nan, margin)
    if not np.isfinite(margin).any():
        return None
    at = int(np.nanargmin(margin))
    return WorstMargin(
        float(margin[at]), float(trace.frequency_hz[at]), float(trace.value[at]), float(limit[at])
    )


def point_value(point: FieldPoint, limits: Sequence[LimitCurve]) -> float | None:
    """Return the value of a number; None where only a margin is told and no limit makes it a value."""
    if point.value is not None:
        return point.value
    curve = curve_of(point.parameter, limits)
    sense = sense_of(point.parameter, curve)
    limit = point.limit
    if limit is None and curve is not None and point.frequency_hz is not None:
        at = np.array([point.frequency_hz])
        limit = float(limit_at(at, curve.frequency_hz, curve.value)[0])
    if limit is None or point.margin is None or not np.isfinite(limit):
        return None
    return float(from_margin(np.array(point.margin), np.array(limit), sense))


def compared_points(
    result: FieldResult,
    traces: Sequence[Trace],
    limits: Sequence[LimitCurve] = (),
    *,
    exempt: Mapping[Key, NDArray[np.bool_]] | None = None,
) -> tuple[MatchedPoint, ...]:
    """Return each single number of a tester with what the bench says to it.

    A margin is held against the smallest margin of the bench's trace of the same name, each at its own
    frequency; a value (or a margin with its limit) against the bench's value at the tester's frequency. A
    delay or skew without a frequency is held against the bench's where its margin is smallest, as it is
    graded; without a limit against the largest one.

    Parameters
    ----------
    result, traces, limits, exempt
        As in `differences`.
    """
    there = by_key(traces)
    return tuple(_matched(point, there, limits, exempt or {}) for point in result.points)


def _matched(
    point: FieldPoint,
    there: Mapping[Key, Trace],
    limits: Sequence[LimitCurve],
    exempt: Mapping[Key, NDArray[np.bool_]],
) -> MatchedPoint:
    key = bench_key((point.parameter, point.end, point.pairs), there)
    if key is None:
        return MatchedPoint(point, None, words="the bench has no such trace")
    trace = there[key]
    words: list[str] = []
    worst = None
    if point.margin is not None:
        bench = worst_margin(trace, limits, exempt.get(key))
        if _is_exempt(point, trace, exempt.get(key)):
            # Margins of different parts of the band do not tell of one another.
            at = f"{(point.frequency_hz or 0.0) / 1e6:.4g} MHz"
            words.append(f"the tester has its worst margin at {at}, where the requirement counts none")
        elif bench is None:
            words.append("the requirement has no limit, so that the bench has no margin")
        else:
            worst = ComparedPoint(
                bench.frequency_hz, bench.margin, point.margin, point.margin - bench.margin, limit=bench.limit
            )
            if point.frequency_hz and abs(point.frequency_hz / bench.frequency_hz - 1.0) > 0.1:
                words.append(
                    f"the tester has its worst margin at {point.frequency_hz / 1e6:.4g} MHz, the bench at "
                    f"{bench.frequency_hz / 1e6:.4g} MHz"
                )
    value = _at_its_frequency(point, trace, limits, exempt.get(key), words)
    return MatchedPoint(point, key, worst, value, "; ".join(words))


def _is_exempt(point: FieldPoint, trace: Trace, exempt: NDArray[np.bool_] | None) -> bool:
    """Tell whether the requirement does not count where the tester has its worst margin."""
    if exempt is None or point.frequency_hz is None:
        return False
    return bool(exempt[int(np.argmin(np.abs(trace.frequency_hz - point.frequency_hz)))])


def _at_its_frequency(
    point: FieldPoint,
    trace: Trace,
    limits: Sequence[LimitCurve],
    exempt: NDArray[np.bool_] | None,
    words: list[str],
) -> ComparedPoint | None:
    told = point_value(point, limits)
    if told is None:
        return None
    if point.frequency_hz is None:
        if trace.parameter.unit != "ns":
            words.append("a value without its frequency says nothing of a loss")
            return None
        bench = worst_margin(trace, limits, exempt)
        if bench is not None:
            words.append("told without a frequency: held against the bench's worst margin")
            return _compared(bench.frequency_hz, bench.value, told, limits, trace)
        at = int(np.nanargmax(trace.value))
        return _compared(float(trace.frequency_hz[at]), float(trace.value[at]), told, limits, trace)
    where = np.array([point.frequency_hz])
    if not inside(where, trace.frequency_hz)[0]:
        words.append(f"{point.frequency_hz / 1e6:.4g} MHz lies outside the bench's band")
        return None
    value = float(at_frequencies(where, trace.frequency_hz, trace.value)[0])
    if not np.isfinite(value):
        words.append("the bench has no signal there")
        return None
    return _compared(point.frequency_hz, value, told, limits, trace)


def _compared(
    frequency_hz: float, bench: float, tester: float, limits: Sequence[LimitCurve], trace: Trace
) -> ComparedPoint:
    curve = curve_of(trace.parameter, limits)
    limit = None
    if curve is not None:
        found = float(limit_at(np.array([frequency_hz]), curve.frequency_hz, curve.value)[0])
        limit = found if np.isfinite(found) else None
    return ComparedPoint(frequency_hz, bench, tester, tester - bench, limit=limit)
