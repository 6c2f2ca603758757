"""Check values of a bench record: few numbers that tell whether a channel is still the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from benchsweep import comparison, limits
from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.records import Parameter, Trace

__all__ = ["check_values", "unit_of"]

_EACH = frozenset({Parameter.RETURN_LOSS, Parameter.NEXT})
_WORST_OF_END = frozenset({Parameter.ACR_F})
_LOW_HZ, _MIDDLE_HZ = 10e6, 100e6
# Where delay and skew are told by most requirements.
_DELAY_HZ = 10e6


def check_values(record: BenchRecord) -> Mapping[str, float]:
    """Return check values by name, in dB or ns.

    Few enough that limits shared among all of them stay narrow, and such that a worn plug, a pulled pair or
    a bent cable shows in one: the worst margin of each trace of return loss and NEXT (``next A 36-45 worst
    margin``), of ACR-F the worst of each end, insertion loss of each pair from end A at 10 MHz, 100 MHz and
    the highest frequency with a limit (``insertion_loss A 12 at 250 MHz``), delay of each pair and largest
    skew at 10 MHz. Insertion loss is brought to the temperature of the requirement where that is known.
    """
    traces = record.traces_as_graded()
    found: dict[str, float] = {}
    worst: dict[str, float] = {}
    for trace in traces:
        if trace.parameter in _EACH or trace.parameter in _WORST_OF_END:
            key = (trace.parameter, trace.end, trace.pairs)
            margin = comparison.worst_margin(trace, record.curves, record.exempt.get(key))
            if margin is None:
                continue
            if trace.parameter in _EACH:
                found[f"{_name(trace)} worst margin"] = margin.margin
            else:
                name = f"{trace.parameter} {trace.end} worst margin"
                worst[name] = min(margin.margin, worst.get(name, np.inf))
    found |= worst
    found |= dict(_losses(traces, record.requirement))
    found |= dict(_times(traces))
    return {name: float(value) for name, value in found.items() if np.isfinite(value)}


def unit_of(name: str) -> str:
    """Return the unit of a check value, by its name."""
    return Parameter(name.split(" ", 1)[0]).unit


def _losses(traces: tuple[Trace, ...], requirement: limits.Requirement) -> Iterator[tuple[str, float]]:
    highest = max(band.to_mhz for line in requirement.lines for band in line.bands) * 1e6
    for trace in traces:
        if trace.parameter is not Parameter.INSERTION_LOSS or trace.end not in ("A", None):
            continue
        for at in dict.fromkeys((_LOW_HZ, _MIDDLE_HZ, highest)):
            value = _at(trace, at)
            if at <= highest and value is not None:
                yield f"{_name(trace)} at {at / 1e6:g} MHz", value


def _times(traces: tuple[Trace, ...]) -> Iterator[tuple[str, float]]:
    skews: list[float] = []
    for trace in traces:
        if trace.parameter in (Parameter.DELAY, Parameter.SKEW):
            value = _at(trace, _DELAY_HZ)
            if value is None:
                continue
            if trace.parameter is Parameter.DELAY:
                yield f"{_name(trace)} at {_DELAY_HZ / 1e6:g} MHz", value
            else:
                skews.append(abs(value))
    if skews:
        yield f"{Parameter.SKEW} largest at {_DELAY_HZ / 1e6:g} MHz", max(skews)


def _at(trace: Trace, frequency_hz: float) -> float | None:
    """Return the value at a frequency, straight over its logarithm; None outside of the grid."""
    grid = trace.frequency_hz
    if not grid[0] <= frequency_hz <= grid[-1] * (1.0 + 1e-9):
        return None
    value = float(np.interp(np.log(frequency_hz), np.log(grid), trace.value))
    return value if np.isfinite(value) else None


def _name(trace: Trace) -> str:
    return " ".join(word for word in (trace.parameter.value, trace.end or "", "-".join(trace.pairs)) if word)
