"""The numbers of a result as evidence: thinned traces, delays against their mean, single numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._evidence import Numbers
from benchsweep.comparison._grid import inside
from benchsweep.comparison._names import Key, bench_key
from benchsweep.comparison._points import point_value, worst_margin
from benchsweep.comparison._values import key_of, told_values
from benchsweep.records import FOUR_PAIRS, FieldPoint, FieldResult, LimitCurve, Parameter, Trace

__all__ = ["delays_of", "numbers_of"]

# Neighbouring points tell the same; more of them cost time only.
_MOST_POINTS = 150


def numbers_of(
    result: FieldResult, there: Mapping[Key, Trace], limits: Sequence[LimitCurve]
) -> list[Numbers]:
    """Return all numbers of a result that can be held against the bench, under the names of the bench."""
    found = []
    for told in result.traces:
        key = bench_key(key_of(told), there)
        if key is None or told.parameter.unit == "ns":
            continue
        values = told_values(told, limits)
        keep = np.flatnonzero(
            np.isfinite(values.value) & inside(values.frequency_hz, there[key].frequency_hz)
        )
        keep = (
            keep[np.unique(np.linspace(0, keep.size - 1, min(keep.size, _MOST_POINTS)).astype(int))]
            if keep.size
            else keep
        )
        if keep.size:
            found.append(Numbers(key, values.value[keep], values.frequency_hz[keep]))
    for point in result.points:
        key = bench_key((point.parameter, point.end, point.pairs), there)
        if key is not None and point.parameter.unit != "ns":
            found += _of_point(point, key, there, limits)
    return found + _of_delays(result, there)


def _of_point(
    point: FieldPoint, key: Key, there: Mapping[Key, Trace], limits: Sequence[LimitCurve]
) -> list[Numbers]:
    """Return a worst margin as such, else the value at its frequency."""
    if point.margin is not None:
        worst = {
            name: found.margin
            for name, trace in there.items()
            if name[0] is key[0] and (found := worst_margin(trace, limits)) is not None
        }
        if key in worst:
            return [Numbers(key, np.array([point.margin]), None, worst, is_margin=True)]
    value = point_value(point, limits)
    if value is None or point.frequency_hz is None:
        return []
    where = np.array([point.frequency_hz])
    return [Numbers(key, np.array([value]), where)] if inside(where, there[key].frequency_hz).all() else []


def delays_of(result: FieldResult) -> dict[Parameter, dict[tuple[str, ...], float]]:
    """Return what the tester told of delay and skew: the median over frequency, or the number, in ns."""
    found: dict[Parameter, dict[tuple[str, ...], float]] = {Parameter.DELAY: {}, Parameter.SKEW: {}}
    for told in result.traces:
        if told.parameter in found and told.quantity == "value":
            found[told.parameter][told.pairs] = float(np.median(told.value))
    for point in result.points:
        if point.parameter in found and point.value is not None:
            found[point.parameter].setdefault(point.pairs, point.value)
    return found


def _of_delays(result: FieldResult, there: Mapping[Key, Trace]) -> list[Numbers]:
    told = delays_of(result)
    bench = {
        parameter: {key: float(np.median(trace.value)) for key, trace in there.items() if key[0] is parameter}
        for parameter in told
    }
    found = []
    delays = {key: told[Parameter.DELAY].get(key[2]) for key in bench[Parameter.DELAY]}
    known = [value for value in delays.values() if value is not None]
    # How fast the tester thinks the cable is concerns all pairs alike; it says nothing of their names.
    if len(known) == len(delays) == len(FOUR_PAIRS):
        mean = float(np.mean(known))
        middle = float(np.mean(list(bench[Parameter.DELAY].values())))
        single = {key: value - middle for key, value in bench[Parameter.DELAY].items()}
        found += [
            Numbers(key, _one(value - mean), None, single)
            for key, value in delays.items()
            if value is not None
        ]
    for pairs, value in told[Parameter.SKEW].items():
        key = bench_key((Parameter.SKEW, None, pairs), there)
        if key is not None:
            found.append(Numbers(key, _one(value), None, bench[Parameter.SKEW]))
    return found


def _one(value: float) -> NDArray[np.float64]:
    return np.array([value])
