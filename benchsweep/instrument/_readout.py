"""Read the matrix after a sweep, and refuse whatever cannot be right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer
from benchsweep.instrument._behaviours import MATRIX
from benchsweep.instrument._family import Family
from benchsweep.instrument._link import Link

__all__ = ["Order", "find_order", "in_order", "read_parameters"]

Order = Literal["row-major", "column-major"]

# SCPI-1999 vol. 1, 7.2.1: not a number is 9.91e37, infinity 9.9e37; no S-parameter comes near.
_INVALID_ABOVE = 1e37
_AXIS_TOLERANCE_HZ = 1.0
# The single trace and the matrix are the same numbers of the same sweep; some instruments round one of them.
_SAME = 1e-6


def read_parameters(
    link: Link, family: Family, ports: Sequence[int], frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    """Read all parameters of `ports`, in the order of the instrument.

    Returns
    -------
    ``(n * n, points)`` complex128.

    Raises
    ------
    BadAnswer
        Wrong count, another frequency axis, invalid points, or a port that was not driven.
    """
    axis, parameters = MATRIX[family.behaviours.matrix](link, family, ports, frequency_hz.size)
    _check_axis(link, axis, frequency_hz)
    _check_valid(link, parameters, frequency_hz)
    return parameters


def in_order(parameters: NDArray[np.complex128], n: int, order: Order) -> NDArray[np.complex128]:
    """Return ``(points, n, n)``, row = receiver, column = source."""
    square = parameters.reshape(n, n, -1)
    axes = (2, 0, 1) if order == "row-major" else (2, 1, 0)
    return np.ascontiguousarray(square.transpose(axes))


def find_order(
    link: Link, parameters: NDArray[np.complex128], n: int, single: NDArray[np.float64]
) -> Order | None:
    """Tell the order of the matrix from one trace that was read singly: last port from first port.

    Parameters
    ----------
    parameters
        ``(n * n, points)`` as read.
    single
        ``(2 * points,)``: real and imaginary parts of the trace.

    Returns
    -------
    The order, or None when both fit (the parameter and its mirror image are the same).

    Raises
    ------
    BadAnswer
        Neither order holds that trace at its place.
    """
    if single.size != 2 * parameters.shape[1]:
        raise BadAnswer(
            f"{link.address}: single trace of {single.size} values, expected {2 * parameters.shape[1]}",
            hint="Is the trace read in another format than real and imaginary?",
        )
    trace = single[0::2] + 1j * single[1::2]
    at_row = _same(parameters[(n - 1) * n], trace)
    at_column = _same(parameters[n - 1], trace)
    if not at_row and not at_column:
        raise BadAnswer(
            f"{link.address}: the trace from the first to the last of {n} ports, read by itself, stands "
            "nowhere in the matrix",
            hint="Other measurements are defined than the matrix reads, or its order is not known here.",
        )
    if at_row and at_column:
        return None
    return "row-major" if at_row else "column-major"


def _same(row: NDArray[np.complex128], trace: NDArray[np.complex128]) -> bool:
    return bool(np.max(np.abs(row - trace)) <= _SAME * np.max(np.abs(trace)))


def _check_axis(link: Link, axis: NDArray[np.float64], frequency_hz: NDArray[np.float64]) -> None:
    if _close(axis, frequency_hz):
        return
    if _close(axis.byteswap(), frequency_hz):
        raise BadAnswer(
            f"{link.address}: the data come in the other byte order than the instrument confirmed",
            hint="Correct the byte order words in the family file.",
        )
    raise BadAnswer(
        f"{link.address}: the frequency axis of the data runs from {axis[0]:.9g} Hz to {axis[-1]:.9g} Hz, "
        f"set are {frequency_hz[0]:.9g} Hz to {frequency_hz[-1]:.9g} Hz, linear",
        hint="Was the sweep changed at the front panel? Set the analyzer up again.",
    )


def _close(axis: NDArray[np.float64], frequency_hz: NDArray[np.float64]) -> bool:
    with np.errstate(invalid="ignore", over="ignore"):
        return bool(np.all(np.abs(axis - frequency_hz) <= _AXIS_TOLERANCE_HZ))


def _check_valid(link: Link, parameters: NDArray[np.complex128], frequency_hz: NDArray[np.float64]) -> None:
    parts = parameters.view(np.float64).reshape(parameters.shape[0], frequency_hz.size, 2)
    # Minimum and maximum hand not-a-number on, and are much quicker than looking at every value.
    if parts.min() >= -_INVALID_ABOVE and parts.max() <= _INVALID_ABOVE:
        return
    # Not-a-number compares false, so it is caught with the too large ones.
    good = (np.abs(parts) <= _INVALID_ABOVE).all(axis=(0, 2))
    first = frequency_hz[np.argmin(good)]
    raise BadAnswer(
        f"{link.address}: {np.count_nonzero(~good)} of {good.size} points are invalid (not a number or "
        f"overload), the first at {first:.9g} Hz",
        hint="Lower the source power, check what is connected, and measure again.",
    )
