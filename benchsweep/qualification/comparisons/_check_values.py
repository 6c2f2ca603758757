"""Check values of a bench record: few numbers that tell whether a channel is still the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep import comparison, limits
from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.records import Parameter, Trace

__all__ = [
    "NOT_TOLD",
    "CheckValues",
    "check_values",
    "difference_name",
    "least_deviation",
    "parameter_of",
    "told_name",
    "unit_of",
    "untold_words",
]

Found = tuple[str, float, Trace, float]
"""Name and value of a check value, with its trace and where on it."""
_EACH = frozenset({Parameter.RETURN_LOSS, Parameter.NEXT})
_WORST_OF_END = frozenset({Parameter.ACR_F})
_LOW_HZ, _MIDDLE_HZ = 10e6, 100e6
# Where delay and skew are told by most requirements.
_DELAY_HZ = 10e6


@dataclass(frozen=True, slots=True)
class CheckValues:
    """Check values of a bench record by name, in dB or ns, and their expanded uncertainties (k = 2).

    `uncertainties` are those of the bench; a value of which none is known stands in `values` only.
    """

    values: Mapping[str, float]
    uncertainties: Mapping[str, float]


def check_values(record: BenchRecord) -> CheckValues:
    """Return the check values of a bench record.

    Few enough that limits shared among all of them stay narrow, and such that a worn plug, a pulled pair or
    a bent cable shows in one: the worst margin of each trace of return loss and NEXT (``next A 36-45 worst
    margin``), of ACR-F the worst of each end, insertion loss of each pair from end A at 10 MHz, 100 MHz and
    the highest frequency with a limit (``insertion_loss A 12 at 250 MHz``), delay of each pair and largest
    skew at 10 MHz. Insertion loss is brought to the temperature of the requirement where that is known.
    """
    traces = record.traces_as_graded()
    found = [
        each
        for each in (
            *_margins(traces, record),
            *_losses(traces, record.requirement),
            *_times(traces),
        )
        if np.isfinite(each[1])
    ]
    halves = _half_widths(record, [(trace, frequency_hz) for _, _, trace, frequency_hz in found])
    names = [name for name, _, _, _ in found]
    return CheckValues(
        {name: float(value) for name, value, _, _ in found},
        {name: half for name, half in zip(names, halves, strict=True) if np.isfinite(half)},
    )


def _half_widths(record: BenchRecord, points: Sequence[tuple[Trace, float]]) -> list[float]:
    """Return the larger side of the uncertainty at the points of the grid next to some; NaN: not known."""
    model = record.evaluation.model
    if model is None:
        return [np.nan] * len(points)
    nearest = [np.argmin(np.abs(trace.frequency_hz - frequency_hz)) for trace, frequency_hz in points]
    asked = [(trace, np.array([at])) for (trace, _), at in zip(points, nearest, strict=True)]
    return [max(float(each.low[0]), float(each.high[0])) for each in model.intervals(asked)]


def _margins(traces: Sequence[Trace], record: BenchRecord) -> Iterator[Found]:
    worst: dict[str, Found] = {}
    for trace in traces:
        if trace.parameter not in _EACH and trace.parameter not in _WORST_OF_END:
            continue
        exempt = record.exempt.get((trace.parameter, trace.end, trace.pairs))
        margin = comparison.worst_margin(trace, record.curves, exempt)
        if margin is None:
            continue
        each = trace.parameter in _EACH
        name = f"{_name(trace) if each else f'{trace.parameter} {trace.end}'} worst margin"
        found = (name, margin.margin, trace, margin.frequency_hz)
        if each:
            yield found
        elif name not in worst or margin.margin < worst[name][1]:
            worst[name] = found
    yield from worst.values()


NOT_TOLD = "; not looked at, since the record does not tell it: "
"""What is said of a record where it tells a parameter not at all."""


def untold_words(record: BenchRecord, values: Mapping[str, float]) -> str:
    """Return which of the parameters that are limited have no check value, in words; empty: all have."""
    told = {parameter_of(name) for name in values}
    wanted = (*_EACH, *_WORST_OF_END, Parameter.INSERTION_LOSS, Parameter.DELAY)
    limited = {curve.parameter for curve in record.curves}
    missing = [each.term for each in Parameter if each in wanted and each in limited and each not in told]
    return f"{NOT_TOLD}{', '.join(missing)}" if missing else ""


def unit_of(name: str) -> str:
    """Return the unit of a check value or a difference, by its name."""
    return parameter_of(name).unit


def parameter_of(name: str) -> Parameter:
    """Return what a check value or a difference is of, by its name."""
    word = name.split(" ", 1)[0]
    return next(each for each in Parameter if each.value == word or name == difference_name(each))


def difference_name(parameter: Parameter) -> str:
    """Return what the mean difference of a tester is called in charts."""
    return f"{parameter.term} difference"


def told_name(name: str) -> str:
    """Return a check value or a difference as people read it: ``ACR-F A worst margin``."""
    word, space, rest = name.partition(" ")
    parameter = parameter_of(name)
    return f"{parameter.term}{space}{rest}" if word == parameter.value else name


def least_deviation(name: str) -> float:
    """Return the scatter of a check value that is taken at the least, in its unit."""
    rules = comparison_rules().stability
    return rules.least_deviation_ns if unit_of(name) == "ns" else rules.least_deviation_db


def _losses(traces: Sequence[Trace], requirement: limits.Requirement) -> Iterator[Found]:
    highest = max(band.to_mhz for line in requirement.lines for band in line.bands) * 1e6
    for trace in traces:
        if trace.parameter is not Parameter.INSERTION_LOSS or trace.end not in ("A", None):
            continue
        for at in dict.fromkeys((_LOW_HZ, _MIDDLE_HZ, highest)):
            value = _at(trace, at)
            if at <= highest and value is not None:
                yield f"{_name(trace)} at {at / 1e6:g} MHz", value, trace, at


def _times(traces: Sequence[Trace]) -> Iterator[Found]:
    skews: list[tuple[float, Trace]] = []
    for trace in traces:
        if trace.parameter in (Parameter.DELAY, Parameter.SKEW):
            value = _at(trace, _DELAY_HZ)
            if value is None:
                continue
            if trace.parameter is Parameter.DELAY:
                yield f"{_name(trace)} at {_DELAY_HZ / 1e6:g} MHz", value, trace, _DELAY_HZ
            else:
                skews.append((abs(value), trace))
    if skews:
        largest, trace = max(skews, key=lambda each: each[0])
        yield f"{Parameter.SKEW} largest at {_DELAY_HZ / 1e6:g} MHz", largest, trace, _DELAY_HZ


def _at(trace: Trace, frequency_hz: float) -> float | None:
    """Return the value at a frequency, straight over its logarithm; None outside of the grid."""
    grid = trace.frequency_hz
    if not grid[0] <= frequency_hz <= grid[-1] * (1.0 + 1e-9):
        return None
    value = float(np.interp(np.log(frequency_hz), np.log(grid), trace.value))
    return value if np.isfinite(value) else None


def _name(trace: Trace) -> str:
    return " ".join(word for word in (trace.parameter.value, trace.end or "", "-".join(trace.pairs)) if word)
