"""Whether the numbers themselves are read wrongly: frequency, unit, sign, margins taken for values."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchsweep.comparison._evidence import AllowedErrors, Evidence
from benchsweep.comparison._grid import inside
from benchsweep.comparison._names import Key, bench_key, by_key, sense_of
from benchsweep.comparison._numbers import delays_of, numbers_of
from benchsweep.comparison._points import worst_margin
from benchsweep.comparison._values import key_of
from benchsweep.records import FieldResult, FieldTrace, LimitCurve, Parameter, Suspicion, Trace

__all__ = ["Read", "read_rightly"]

_FACTORS = {1e3: "thousand", 1e-3: "thousandth", 1e6: "million", 1e-6: "millionth"}
_NEPER = 8.685889638
# So many single numbers tell together whether they are read rightly.
_FEWEST_POINTS = 6


@dataclass(frozen=True, slots=True)
class Read:
    """A result as it most likely is meant, and what had to be changed for that."""

    result: FieldResult
    suspicions: tuple[Suspicion, ...]


def read_rightly(
    result: FieldResult, traces: Sequence[Trace], limits: Sequence[LimitCurve], allowed: AllowedErrors
) -> Read:
    """Return the result with frequencies, units, signs and quantities as they fit the bench.

    What fits as it is told, at least under some name, is never changed; the numbers of a tester within its
    allowed errors always do.
    """
    there = by_key(traces)
    result, found = _frequencies(result, there)
    changed: list[FieldTrace] = []
    for parameter in dict.fromkeys(trace.parameter for trace in result.traces):
        own = [trace for trace in result.traces if trace.parameter is parameter]
        if parameter.unit == "ns":
            changed += own
            continue
        better, suspicion = _losses(own, there, limits, allowed)
        changed += better
        found += suspicion
    signs = _signs_of_points(result) or _points_misread(result, there, limits, allowed)
    found += signs + _delays(result, there)
    return Read(replace(result, traces=tuple(changed)), tuple(found))


def _frequencies(result: FieldResult, there: Mapping[Key, Trace]) -> tuple[FieldResult, list[Suspicion]]:
    """Find frequencies that lie in the bench's band only when they are multiplied."""
    shares: dict[float, list[float]] = {factor: [] for factor in (1.0, *_FACTORS)}
    for told in result.traces:
        key = bench_key(key_of(told), there)
        if key is not None:
            for factor, share in shares.items():
                share.append(float(inside(told.frequency_hz * factor, there[key].frequency_hz).mean()))
    for point in result.points:
        key = bench_key((point.parameter, point.end, point.pairs), there)
        if key is not None and point.frequency_hz:
            for factor, share in shares.items():
                at = np.array([point.frequency_hz * factor])
                share.append(float(inside(at, there[key].frequency_hz).mean()))
    if not shares[1.0] or np.mean(shares[1.0]) > 0.5:
        return result, []
    best = max(_FACTORS, key=lambda factor: float(np.mean(shares[factor])))
    if np.mean(shares[best]) < 0.9:
        return result, []
    words = (
        f"the frequencies lie in the bench's band when they are multiplied by a {_FACTORS[best]}: their unit "
        f"is another one than was taken. Correct the unit in the mapping and read the file again."
    )
    traces = tuple(replace(told, frequency_hz=told.frequency_hz * best) for told in result.traces)
    points = tuple(
        replace(point, frequency_hz=point.frequency_hz * best) if point.frequency_hz else point
        for point in result.points
    )
    return replace(result, traces=traces, points=points), [Suspicion("frequency", words)]


def _negative(told: FieldTrace, _limits: Sequence[LimitCurve]) -> FieldTrace:
    return replace(told, value=-told.value)


def _other_quantity(told: FieldTrace, _limits: Sequence[LimitCurve]) -> FieldTrace:
    return replace(told, quantity="margin" if told.quantity == "value" else "value")


def _negative_other(told: FieldTrace, limits: Sequence[LimitCurve]) -> FieldTrace:
    return _negative(_other_quantity(told, limits), limits)


def _from_neper(told: FieldTrace, _limits: Sequence[LimitCurve]) -> FieldTrace:
    return replace(told, value=told.value * _NEPER)


_READINGS: tuple[tuple[str, str, Callable[[FieldTrace, Sequence[LimitCurve]], FieldTrace]], ...] = (
    ("sign", "with the opposite sign", _negative),
    ("quantity", "as {other}s, not as {quantity}s", _other_quantity),
    ("sign", "as {other}s, not as {quantity}s, and with the opposite sign", _negative_other),
    ("unit", "in neper, not in decibel", _from_neper),
)


def _losses(
    own: list[FieldTrace], there: Mapping[Key, Trace], limits: Sequence[LimitCurve], allowed: AllowedErrors
) -> tuple[list[FieldTrace], list[Suspicion]]:
    """Return the traces of one parameter as they fit, and why they had to be changed."""
    misfit = _misfit(own, there, limits, allowed)
    if misfit is None or misfit <= 1.0:
        return own, []
    found = []
    for at, (_, _, change) in enumerate(_READINGS):
        read = [change(told, limits) for told in own]
        if (other := _misfit(read, there, limits, allowed)) is not None:
            found.append((other, at, read))
    if not found:
        return own, []
    other, at, read = min(found, key=lambda one: one[:2])
    if other > max(1.0, misfit / 3.0):
        return own, []
    kind, how, _ = _READINGS[at]
    parameter, quantity = own[0].parameter, own[0].quantity
    how = how.format(other="value" if quantity == "margin" else "margin", quantity=quantity)
    words = (
        f"the numbers of {parameter.term} fit the bench {how}. Correct the mapping and read the file again."
    )
    if kind == "quantity":
        return read, [Suspicion("quantity", words)]
    return read, [Suspicion("sign" if kind == "sign" else "unit", words)]


def _misfit(
    own: Sequence[FieldTrace],
    there: Mapping[Key, Trace],
    limits: Sequence[LimitCurve],
    allowed: AllowedErrors,
) -> float | None:
    """Return how badly traces fit under whatever name fits best, at most 1 for those of a good tester."""
    evidence = Evidence(numbers_of(FieldResult(tuple(own)), there, limits), there, allowed)
    return evidence.misfit(range(len(evidence.numbers))) if evidence.numbers else None


def _signs_of_points(result: FieldResult) -> list[Suspicion]:
    """Find single numbers that contradict each other: value, limit and margin of the same point."""
    wrong: dict[Parameter, int] = {}
    for point in result.points:
        if point.value is None or point.limit is None or point.margin is None:
            continue
        sense = sense_of(point.parameter, None)
        margin = point.value - point.limit if sense == "min" else point.limit - point.value
        # Testers round each of the three to a tenth.
        if abs(margin - point.margin) > 0.2 and abs(margin + point.margin) <= 0.2:
            wrong[point.parameter] = wrong.get(point.parameter, 0) + 1
    return [
        Suspicion(
            "sign",
            f"{count} margins of {parameter.term} have the opposite sign of what follows from the values and "
            f"limits beside them. Correct the sign in the mapping and read the file again.",
        )
        for parameter, count in wrong.items()
    ]


def _points_misread(
    result: FieldResult, there: Mapping[Key, Trace], limits: Sequence[LimitCurve], allowed: AllowedErrors
) -> list[Suspicion]:
    """Find worst margins with the opposite sign, and numbers taken for values that are margins or else.

    All losses together: the numbers fit the bench's worst margins, or its values there, when they are read
    otherwise, and are far off as they were read.
    """
    margins: list[tuple[float, float, float]] = []
    values: list[tuple[float, float, float]] = []
    for point in result.points:
        key = bench_key((point.parameter, point.end, point.pairs), there)
        worst = None if key is None or point.parameter.unit != "dB" else worst_margin(there[key], limits)
        if worst is not None and point.margin is not None:
            margins.append((point.margin, worst.margin, worst.value))
        elif worst is not None and point.value is not None:
            values.append((point.value, worst.margin, worst.value))
    found = []
    for numbers, kind, words, as_read, otherwise in (
        (margins, "sign", "worst margins fit the bench with the opposite sign", (1, 1.0), (1, -1.0)),
        (margins, "quantity", "numbers fit the bench as values, not as margins", (1, 1.0), (2, 1.0)),
        (values, "quantity", "numbers fit the bench as margins, not as values", (2, 1.0), (1, 1.0)),
        (values, "sign", "numbers fit the bench with the opposite sign", (2, 1.0), (2, -1.0)),
    ):
        if len(numbers) < _FEWEST_POINTS:
            continue
        off, other = (_apart(numbers, *reading) for reading in (as_read, otherwise))
        if off > 2.0 * allowed.db and other <= allowed.db and off > 3.0 * other:
            told = f"the {words}. Correct the mapping and read the file again."
            found.append(Suspicion("sign" if kind == "sign" else "quantity", told))
    return found


def _apart(numbers: Sequence[tuple[float, float, float]], held_against: int, sign: float) -> float:
    """Return the median distance of numbers from the bench's margins (1) or values (2)."""
    return float(np.median([abs(sign * each[0] - each[held_against]) for each in numbers]))


def _delays(result: FieldResult, there: Mapping[Key, Trace]) -> list[Suspicion]:
    """Find delays in another unit than ns."""
    told = delays_of(result)[Parameter.DELAY]
    ratios = [
        value / float(np.median(there[key].value))
        for pairs, value in told.items()
        if (key := bench_key((Parameter.DELAY, None, pairs), there)) is not None and value
    ]
    if not ratios:
        return []
    ratio = float(np.median(ratios))
    if ratio < 0.0:
        return [Suspicion("sign", "the delays are negative. Correct the sign in the mapping.")]
    for factor, name in _FACTORS.items():
        if 0.5 < ratio * factor < 2.0:
            words = (
                f"the delays are those of the bench when they are multiplied by a {name}: their unit is "
                f"another one than was taken. Correct the unit in the mapping and read the file again."
            )
            return [Suspicion("unit", words)]
    return []
