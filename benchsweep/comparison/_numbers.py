"""The numbers of a result as evidence: thinned traces, delays against their mean, single numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._evidence import Evidence, Numbers
from benchsweep.comparison._grid import inside
from benchsweep.comparison._names import Key, bench_key
from benchsweep.comparison._points import point_value, worst_margin
from benchsweep.comparison._values import key_of, told_values
from benchsweep.records import FOUR_PAIRS, FieldPoint, FieldResult, LimitCurve, Parameter, Trace

__all__ = ["delays_of", "levelled", "numbers_of"]

# Neighbouring points tell the same; more of them cost time only.
_MOST_POINTS = 150
# Of fewer traces a common offset would be most of what tells their names apart.
_LEVELLED = 0.6
"""Mean distance without the offset, in units of the allowed error, up to which it explains the numbers."""
_FEWEST_TRACES = 4


def numbers_of(
    result: FieldResult,
    there: Mapping[Key, Trace],
    limits: Sequence[LimitCurve],
    exempt: Mapping[Key, NDArray[np.bool_]] | None = None,
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
    worst = _worst_margins(result, there, limits, exempt or {})
    for point in result.points:
        key = bench_key((point.parameter, point.end, point.pairs), there)
        if key is not None and point.parameter.unit != "ns":
            found += _of_point(point, key, there[key], limits, worst[key[0]])
    return found + _of_delays(result, there)


def _worst_margins(
    result: FieldResult,
    there: Mapping[Key, Trace],
    limits: Sequence[LimitCurve],
    exempt: Mapping[Key, NDArray[np.bool_]],
) -> dict[Parameter, dict[Key, float]]:
    """Return the worst margins of the bench for the parameters of which single numbers were told."""
    found: dict[Parameter, dict[Key, float]] = {point.parameter: {} for point in result.points}
    for key, trace in there.items():
        if key[0] in found and (its := worst_margin(trace, limits, exempt.get(key))) is not None:
            found[key[0]][key] = its.margin
    return found


def _of_point(
    point: FieldPoint, key: Key, trace: Trace, limits: Sequence[LimitCurve], worst: Mapping[Key, float]
) -> list[Numbers]:
    """Return a worst margin as such, and the value at its frequency: both bind a good tester."""
    found = []
    if point.margin is not None and key in worst:
        found.append(Numbers(key, _one(point.margin), None, worst))
    value = point_value(point, limits)
    if value is not None and point.frequency_hz is not None:
        where = _one(point.frequency_hz)
        if inside(where, trace.frequency_hz).all():
            found.append(Numbers(key, _one(value), where))
    return found


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


def levelled(evidence: Evidence) -> Evidence:
    """Return the numbers without the offset common to all traces of a parameter, where they do not fit.

    A faulty tester can have exchanged names too, and an offset alone must not look like exchanged ones. The
    mean over all traces is the same under all names; what fits under its own, as of every good tester, stays.
    """
    by_parameter: dict[Parameter, list[int]] = {}
    for at, one in enumerate(evidence.numbers):
        if one.frequency_hz is not None:
            by_parameter.setdefault(one.key[0], []).append(at)
    found = list(evidence.numbers)
    changed = False
    for among in by_parameter.values():
        if len(among) < _FEWEST_TRACES or _own_cost(evidence, among) <= 1.0:
            continue
        shift = float(np.mean([evidence.mean_difference(at) for at in among]))
        moved = [replace(evidence.numbers[at], value=evidence.numbers[at].value - shift) for at in among]
        # What fits under other names is left as it is, unless the offset alone explains it as well.
        if evidence.misfit(among) <= 1.0:
            without = Evidence(moved, evidence.there, evidence.allowed)
            if _own_cost(without, range(len(without.numbers))) > _LEVELLED:
                continue
        changed = True
        for at, one in zip(among, moved, strict=True):
            found[at] = one
    return Evidence(found, evidence.there, evidence.allowed) if changed else evidence


def _own_cost(evidence: Evidence, among: Iterable[int]) -> float:
    """Return the mean distance of numbers from the traces that they are named after."""
    return float(np.mean([evidence.cost(at, evidence.numbers[at].key) for at in among]))


def _one(value: float) -> NDArray[np.float64]:
    return np.array([value])
