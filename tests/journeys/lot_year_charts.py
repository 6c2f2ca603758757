"""Do control charts see a process drift, and how often do they alarm for nothing? Rows of `lot_year`.

What is expected comes from outside: the normal distribution, and for run lengths of the weighted average the
integral equation of Crowder (Technometrics 29 (1987) 401), solved here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchsweep.records import ControlChart, SamplingPlan
from benchsweep.statistics.process import between_chart, ewma_chart, individuals_chart, mean_charts
from benchsweep.statistics.sampling import attributes_plan
from tests.journeys.lot_year_model import quick
from tests.journeys.lot_year_rows import Row, mean_row, rate_row

__all__ = [
    "Drifted",
    "drift_rows",
    "drifted",
    "ewma_run_length",
    "false_alarm_rows",
    "noticed",
    "shift_rows",
    "trend_run_length",
]

Floats = NDArray[np.float64]

_WITHIN_DB, _BETWEEN_DB = 1.5, 0.9
"""Standard deviation of reels in a lot, and of lots."""
_BEYOND = 2.0 * float(special.ndtr(-3.0))
"""One point in 370.4."""
_LIMITS = "beyond-limits"
_LONG = 150
"""Lots by which every drift is told."""


def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Return the mean run length of a weighted average begun at the centre, limits as after many points.

    L(u) = 1 + integral of L(y) phi((y - (1 - weight) u) / weight - shift) dy / weight between the limits, by
    Gauss and Legendre; values have deviation 1 and mean `shift`.
    """
    limit = width * math.sqrt(weight / (2.0 - weight))
    node, part = np.polynomial.legendre.leggauss(101)
    y, part = limit * node, limit * part

    def kernel(start: Floats) -> Floats:
        steps = (y[None, :] - (1.0 - weight) * start[:, None]) / weight - shift
        return part * np.exp(-0.5 * steps**2) / math.sqrt(2.0 * math.pi) / weight

    at_nodes = np.linalg.solve(np.eye(y.size) - kernel(y), np.ones(y.size))
    return 1.0 + float((kernel(np.zeros(1)) @ at_nodes)[0])


def trend_run_length(slope: float, weight: float, width: float = 3.0) -> float:
    """Return the mean run length where the mean rises by `slope` from value to value, first value included.

    The distribution of the average between the limits is carried on from value to value, on the nodes of
    Gauss and Legendre; its sums are the shares of runs that last longer. Weight 1: single values.
    """
    limit = width * math.sqrt(weight / (2.0 - weight))
    node, part = np.polynomial.legendre.leggauss(101)
    y, part = limit * node, limit * part
    scale = math.sqrt(2.0 * math.pi) * weight
    moved = (y[:, None] - (1.0 - weight) * y[None, :]) / weight
    density, left, length = np.exp(-0.5 * (y / weight - slope) ** 2) / scale, 1.0, 0.0
    for number in count(2):
        length += left
        left = float(part @ density)
        if left < 1e-12:
            return length
        density = np.exp(-0.5 * (moved - number * slope) ** 2) / scale @ (part * density)
    raise AssertionError


def noticed(chart: ControlChart, change: int = 0, *, decisive: bool = True) -> int | None:
    """Return how many points after a change a chart signals, 1 for the first; None: it does not.

    Counted to `ChartSignal.noticed`, the point with which a person could have seen it. `decisive`: only
    a point beyond the limits; otherwise any rule.
    """
    for signal in chart.signals:  # in the order in which they are noticed
        if signal.noticed >= change and (signal.decisive or not decisive):
            return signal.noticed - change + 1
    return None


def _beyond(chart: ControlChart) -> int:
    return sum(len(signal.points) for signal in chart.signals if signal.rule == _LIMITS)


def _labels(size: int) -> tuple[str, ...]:
    return tuple(map(str, range(size)))


def _lots_of(draw: np.random.Generator, lots: int, reels: int) -> Floats:
    """Return margins ``(lots, reels)`` in dB about zero, lots differing in their own right."""
    return draw.normal(0.0, _BETWEEN_DB, (lots, 1)) + draw.normal(0.0, _WITHIN_DB, (lots, reels))


def false_alarm_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """A steady process: whatever signals is a false alarm."""
    group, source = "no drift", "2 Phi(-3), one in 370.4"
    points = 100 * lots
    chart, _ = individuals_chart(draw.normal(8.0, _WITHIN_DB, points), _labels(points))
    yield rate_row(group, "individuals beyond the limits", _beyond(chart), points, _BEYOND, source)
    many = 20 * lots
    groups = list(_lots_of(draw, many, 5))
    chart = between_chart(groups, _labels(many))
    yield rate_row(
        group, "means of lots that differ, limits from lot to lot", _beyond(chart), many, _BEYOND, source
    )
    chart, _ = mean_charts(groups, _labels(many))
    inside = _WITHIN_DB / math.sqrt(5.0)
    alarmed = 2.0 * float(special.ndtr(-3.0 * inside / math.hypot(inside, _BETWEEN_DB)))
    what = "the same means, limits from inside the lots"
    yield rate_row(group, what, _beyond(chart), many, alarmed, "2 Phi(-3 s / hypot(s, between))")
    size, runs = 6000, max(20, lots // 4)
    alone, shares, lengths = [], [], []
    for _ in range(runs):
        values = draw.standard_normal(size)
        shewhart = ewma_chart(values, _labels(size), weight=1.0, centre=0.0, deviation=1.0)
        alone.append(noticed(shewhart) or size)
        shares.append(_beyond(ewma_chart(values, _labels(size), centre=0.0, deviation=1.0)) / size)
        steady = ewma_chart(values, _labels(size), centre=0.0, deviation=1.0, steady=True)
        lengths.append(noticed(steady) or size)
    total = runs * size
    yield mean_row(
        group, "single points: run length, limits known", alone, 1.0 / _BEYOND, "1 / 2 Phi(-3)", sum(alone)
    )
    yield mean_row(
        group, "weighted average: share beyond in the long run", shares, _BEYOND, source, total, percent=True
    )
    expected = ewma_run_length(0.2, 3.0)
    yield mean_row(
        group, "weighted average: run length, limits known", lengths, expected, "Crowder", sum(lengths)
    )


def shift_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """A lasting step of the process: points until it is noticed."""
    group, size, before = "step", 500, 2000
    runs = max(20, lots // 8)
    for shift in (1.0, 2.0):
        delays, expected = [], []
        for _ in range(runs):
            values = draw.standard_normal(before + size)
            values[before:] += shift
            chart, _ = individuals_chart(values, _labels(values.size), baseline=before)
            delays.append(noticed(chart, before) or size)
            above = special.ndtr(shift - chart.upper[0]) + special.ndtr(chart.lower[0] - shift)
            expected.append(1.0 / float(above))
        what = f"of {shift:g} deviations, individuals: points until noticed"
        source = "1 / P(beyond), these limits"
        yield mean_row(group, what, delays, float(np.mean(expected)), source, sum(delays))
    for shift in (0.5, 1.0, 2.0):
        delays = []
        for _ in range(2 * runs):
            values = draw.standard_normal(size) + shift
            chart = ewma_chart(values, _labels(size), centre=0.0, deviation=1.0, steady=True)
            delays.append(noticed(chart) or size)
        what = f"of {shift:g} deviations, weighted average: points until noticed"
        yield mean_row(group, what, delays, ewma_run_length(0.2, 3.0, shift), "Crowder", sum(delays))


@dataclass(frozen=True)
class Drifted:
    """Lots after the drift began until something told, one entry a supplier; a cap where nothing did."""

    between: tuple[int, ...]
    average: tuple[int, ...]
    any_rule: tuple[int, ...]
    refused: tuple[int, ...]
    lots: int


def drifted(
    draw: np.random.Generator, suppliers: int, *, slope_db: float, baseline: int = 25, after: int = 60
) -> Drifted:
    """Return when charts of lot means, and sampling, tell that margins fall by so many dB from lot to lot.

    The process begins with one reel in a thousand beyond the limit; the charts know it by `baseline` lots.
    Charts are those of lots, of the reels that the plan draws.
    """
    plan = attributes_plan(500, aql_percent=1.5)
    start = -float(special.ndtri(0.001)) * math.hypot(_WITHIN_DB, _BETWEEN_DB)
    lots = baseline + after
    fall = slope_db * np.maximum(0, np.arange(lots) - baseline + 1)
    found = [
        _supplier(plan, start - fall[:, None] + _lots_of(draw, lots, plan.sample_size), baseline)
        for _ in range(suppliers)
    ]
    between, average, any_rule, refused = zip(*found, strict=True)
    return Drifted(between, average, any_rule, refused, suppliers * lots)


def _supplier(plan: SamplingPlan, margins: Floats, baseline: int) -> tuple[int, int, int, int]:
    labels = _labels(len(margins))
    never = len(margins) - baseline + 1
    lots = between_chart(list(margins), labels, baseline=baseline)
    average = ewma_chart(margins.mean(axis=1), labels, baseline=baseline)
    refused = next(
        (place for place, lot in enumerate(margins[baseline:], 1) if not quick(plan, lot).accepted), never
    )
    told = (noticed(lots, baseline), noticed(average, baseline), noticed(lots, baseline, decisive=False))
    return told[0] or never, told[1] or never, told[2] or never, refused


def drift_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """What a year looks like: 25 lots to know the process by, then margins fall from lot to lot."""
    suppliers, group = max(20, lots // 4), "drift"
    plan = attributes_plan(500, aql_percent=1.5)
    fall_db, deviation_db = 0.1, math.hypot(_BETWEEN_DB, _WITHIN_DB / math.sqrt(plan.sample_size))
    for what, weight in (("means of lots", 1.0), ("weighted average", 0.2)):
        delays = []
        for _ in range(2 * suppliers):
            means = draw.normal(0.0, deviation_db, _LONG) - fall_db * np.arange(1, _LONG + 1)
            chart = ewma_chart(
                means, _labels(_LONG), weight=weight, centre=0.0, deviation=deviation_db, steady=True
            )
            delays.append(noticed(chart) or _LONG)
        expected = trend_run_length(fall_db / deviation_db, weight)
        text = f"{fall_db:g} dB a lot, limits known: lots until told, {what}"
        source = "survival, value by value"
        yield mean_row(group, text, delays, expected, source, sum(delays))
    steady = drifted(draw, suppliers, slope_db=0.0)
    for what, found in (("means of lots", steady.between), ("weighted average", steady.average)):
        alarms = sum(each <= 60 for each in found)
        text = f"none: {what} alarm within 60 lots, limits of 25"
        yield rate_row(group, text, alarms, suppliers, None, "")
    falling = drifted(draw, suppliers, slope_db=fall_db)
    name = f"{fall_db:g} dB a lot, limits of 25"
    for what, each in (
        ("means of lots", falling.between),
        ("weighted average", falling.average),
        ("means of lots, any run rule", falling.any_rule),
        ("first lot not accepted", falling.refused),
    ):
        yield mean_row(group, f"{name}: lots until told, {what}", each, None, "", falling.lots)
    first = sum(a < b for a, b in zip(falling.average, falling.refused, strict=True))
    yield rate_row(
        group, f"{name}: weighted average before the first lot not accepted", first, suppliers, None, ""
    )
