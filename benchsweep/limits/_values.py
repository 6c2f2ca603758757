from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import LimitNotDefined, UsageError
from benchsweep.limits._line import LimitLine
from benchsweep.limits._requirement import Requirement
from benchsweep.records import LimitCurve, Parameter

__all__ = ["LimitValue", "checked_length", "length_for", "limit_curve", "limit_value"]

_SHORTEST_M, _LONGEST_M = 0.001, 10_000.0


@dataclass(frozen=True, slots=True)
class LimitValue:
    """A limit at one frequency.

    Parameters
    ----------
    requirement, parameter, frequency_hz
        Which limit.
    length_m
        The length it was computed for; None when it does not depend on the length.
    value, unit
        The unrounded limit in dB or ns.
    sense
        ``min``: values below it fail; ``max``: values above it fail.
    standing, source
        Standing of the figures at that frequency, and where they come from.
    reference_length_m
        The length of sample that the limit holds for, where one of another length is brought to it.
    only_shorter
        True where only a shorter sample is brought to it, and a longer one is taken as measured.
    """

    requirement: str
    parameter: Parameter
    frequency_hz: float
    length_m: float | None
    value: float
    unit: Literal["dB", "ns"]
    sense: Literal["min", "max"]
    standing: str
    source: str
    reference_length_m: float | None = None
    only_shorter: bool = False


def checked_length(length_m: float | None) -> float | None:
    """Return `length_m` when it can be a length.

    Raises
    ------
    UsageError
        Not positive, not finite, or shorter or longer than any cabling.
    """
    if length_m is not None and not _SHORTEST_M <= length_m <= _LONGEST_M:
        raise UsageError(
            f"a length of {length_m:g} m makes no sense",
            hint=f"Give a positive number of metres, {_SHORTEST_M:g} to {_LONGEST_M:g}.",
        )
    return length_m


def length_for(requirement: Requirement, line: LimitLine, length_m: float | None) -> float | None:
    """Return the length that `line` has to be evaluated with; None when it needs none.

    Raises
    ------
    UsageError
        It needs one and none was given.
    """
    if not line.needs_length:
        return None
    if length_m is None:
        raise UsageError(
            f"{requirement.name}: the limit of {line.parameter} depends on the length of the specimen",
            hint="Give it with --length-m.",
        )
    return length_m


def limit_value(
    requirement: Requirement, parameter: Parameter, frequency_hz: float, *, length_m: float | None = None
) -> LimitValue:
    """Return the limit of `parameter` at one frequency.

    Raises
    ------
    LimitNotDefined
        The requirement does not limit the parameter, or not at that frequency.
    UsageError
        The limit needs a length and none was given, or length or frequency make no sense.
    """
    length_m = checked_length(length_m)
    if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
        raise UsageError(
            f"a frequency of {frequency_hz / 1e6:g} MHz makes no sense", hint="Give a positive number of MHz."
        )
    line = requirement.line_of(parameter)
    if line is None:
        limited = ", ".join(line.parameter for line in requirement.lines)
        raise LimitNotDefined(
            f"{requirement.name} sets no limit for {parameter}", hint=f"It limits: {limited}."
        )
    f_mhz = np.array([frequency_hz / 1e6])
    band = int(line.band_of(f_mhz)[0])
    if band < 0:
        ranges = ", ".join(f"{band.from_mhz:g} to {band.to_mhz:g}" for band in _joined(line))
        raise LimitNotDefined(
            f"{requirement.name} limits {parameter} from {ranges} MHz, not at {frequency_hz / 1e6:g} MHz",
            hint="Choose a frequency in that range, or another requirement.",
        )
    length_m = length_for(requirement, line, length_m)
    brought = requirement.normalise.rule_of(parameter) if requirement.normalise else None
    return LimitValue(
        requirement=requirement.name,
        parameter=parameter,
        frequency_hz=frequency_hz,
        length_m=length_m,
        value=float(line.evaluate(f_mhz, length_m)[0]),
        unit=parameter.unit,
        sense=line.sense,
        standing=line.bands[band].standing or line.standing,
        source=line.source,
        reference_length_m=requirement.normalise.length_m if requirement.normalise and brought else None,
        only_shorter=brought is not None and brought.form == "saturating",
    )


@dataclass(frozen=True, slots=True)
class _Range:
    from_mhz: float
    to_mhz: float


def _joined(line: LimitLine) -> list[_Range]:
    """Return the ranges of a line with bands that touch made one."""
    ranges: list[_Range] = []
    for band in line.bands:
        if ranges and ranges[-1].to_mhz == band.from_mhz:
            ranges[-1] = _Range(ranges[-1].from_mhz, band.to_mhz)
        else:
            ranges.append(_Range(band.from_mhz, band.to_mhz))
    return ranges


def limit_curve(
    requirement: Requirement,
    parameter: Parameter,
    frequency_hz: NDArray[np.float64],
    *,
    length_m: float | None = None,
) -> LimitCurve | None:
    """Return the limit line of `parameter` on a grid, NaN where it sets no limit; None without such a line.

    Raises
    ------
    UsageError
        The limit needs a length and none was given, or the length makes no sense.
    """
    length_m = checked_length(length_m)
    line = requirement.line_of(parameter)
    if line is None:
        return None
    grid = np.asarray(frequency_hz, dtype=np.float64)
    length_m = length_for(requirement, line, length_m)
    value = line.evaluate(grid / 1e6, length_m)
    edges = [edge for edge in (line.cap, line.floor) if edge is not None]
    return LimitCurve(
        parameter=parameter,
        sense=line.sense,
        frequency_hz=grid,
        value=value,
        standing=line.weakest_standing,
        source=line.source,
        held=np.isin(value, edges) if edges else None,
    )
