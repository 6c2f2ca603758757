"""The closed set of ways in which families differ beyond spelling; a family file names one of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer
from benchsweep.instrument._family import Family
from benchsweep.instrument._link import Link

__all__ = ["MATRIX", "MEASUREMENTS", "PARAMETER_NAMES", "SWEEP", "MatrixRows"]

MatrixRows = tuple[NDArray[np.float64], NDArray[np.complex128]]
"""Frequency axis ``(points,)`` and the parameters ``(n * n, points)`` in the order of the instrument."""


def _single_or_group(family: Family, averages: int) -> tuple[str, ...]:
    if averages == 1:
        return (*family.fill("trigger"), *family.fill("single_sweep"))
    return (*family.fill("trigger"), *family.fill("averaged_sweep", averages=averages))


def _one_per_source(ports: Sequence[int]) -> tuple[tuple[int, int], ...]:
    return tuple((port, port) for port in ports)


def _underscore_above_nine(receiver: int, source: int) -> str:
    return f"S{receiver}{source}" if max(receiver, source) <= 9 else f"S{receiver}_{source}"


def _equal_digits_above_nine(receiver: int, source: int) -> str:
    digits = len(str(max(receiver, source)))
    return f"S{receiver:0{digits}d}{source:0{digits}d}"


def _snp_rows(link: Link, family: Family, ports: Sequence[int], points: int) -> MatrixRows:
    question = family.ask("matrix", ports=",".join(map(str, ports)), count=len(ports))
    values = link.query_doubles(question)
    rows = 1 + 2 * len(ports) ** 2
    if values.size != rows * points:
        now = link.query(family.ask("points"))
        raise BadAnswer(
            f"{link.address}: matrix of ports {', '.join(map(str, ports))}: {values.size} values came, "
            f"expected {rows * points} ({rows} rows of {points} points); the instrument says {now} points",
            hint="Was a setting changed at the front panel, or the sweep type? Measure again.",
        )
    table = values.reshape(rows, points)
    parameters = np.empty((rows // 2, points), np.complex128)
    parameters.real = table[1::2]
    parameters.imag = table[2::2]
    return table[0], parameters


SWEEP: Mapping[str, Callable[[Family, int], tuple[str, ...]]] = MappingProxyType(
    {"single-or-group": _single_or_group}
)
"""Commands that take one sweep, or as many as are averaged, and then hold."""

MEASUREMENTS: Mapping[str, Callable[[Sequence[int]], tuple[tuple[int, int], ...]]] = MappingProxyType(
    {"one-per-source": _one_per_source}
)
"""Parameters (receiver, source) that must be defined so that a sweep drives every port."""

PARAMETER_NAMES: Mapping[str, Callable[[int, int], str]] = MappingProxyType(
    {
        "underscore-above-nine": _underscore_above_nine,
        "equal-digits-above-nine": _equal_digits_above_nine,
    }
)
"""Name of the parameter from (receiver, source)."""

MATRIX: Mapping[str, Callable[[Link, Family, Sequence[int], int], MatrixRows]] = MappingProxyType(
    {"snp-rows": _snp_rows}
)
"""Read the matrix of some ports."""
