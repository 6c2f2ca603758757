"""Refuse whatever cannot be right in what was read, and find the order of a matrix."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer, InvalidData, StaleData
from benchsweep.instrument.links import Link
from benchsweep.instrument.matrix._ways import Rows, other_byte_order

__all__ = [
    "Memory", "Order", "check_axis", "check_driven", "check_switch_term", "check_valid", "find_order",
    "in_order",
]  # fmt: skip

Order = Literal["row-major", "column-major"]

# SCPI-1999 vol. 1, 7.2.1: not a number is 9.91e37, infinity 9.9e37; no S-parameter comes near.
_INVALID_ABOVE = 1e37
# Raw readings of a passive part: the paths of the test set differ by far less than 40 dB.
_ABSURD_ABOVE = 100.0
_AXIS_TOLERANCE_HZ = 1.0
# The single trace and the matrix are the same numbers of the same sweep; some instruments round one of them.
_SAME = 1e-6


def in_order(parts: NDArray[np.float64], n: int, order: Order) -> NDArray[np.complex128]:
    """Return ``(points, n, n)``, row = receiver, column = source, from ``(n * n, points, 2)``."""
    points = parts.shape[1]
    axes = (2, 0, 1, 3) if order == "row-major" else (2, 1, 0, 3)
    s = np.empty((points, n, n), np.complex128)
    # The only copy: what was read is a view of the block as it came.
    s.view(np.float64).reshape(points, n, n, 2)[...] = parts.reshape(n, n, points, 2).transpose(axes)
    return s


def find_order(link: Link, rows: Rows, n: int, trace: NDArray[np.complex128]) -> Order | None:
    """Tell the order of the matrix from one trace that was read singly: last port from first port.

    Parameters
    ----------
    rows
        As read.
    trace
        ``(points,)``.

    Returns
    -------
    The order, or None when both fit (the parameter and its mirror image are the same).

    Raises
    ------
    BadAnswer
        Neither order holds that trace at its place.
    """
    at_row = _same(rows.parameter((n - 1) * n), trace)
    at_column = _same(rows.parameter(n - 1), trace)
    if not at_row and not at_column:
        raise BadAnswer(
            f"{link.address}: the trace from the first to the last of {n} ports, read by itself, stands "
            "nowhere in the matrix",
            hint="Other measurements are defined than the matrix reads, or its order is not known here.",
        )
    if at_row and at_column:
        return None
    return "row-major" if at_row else "column-major"


def check_axis(
    link: Link, axis: NDArray[np.float64], frequency_hz: NDArray[np.float64], spacing: str
) -> None:
    """Refuse a frequency axis as read that is not the one that was set.

    Raises
    ------
    BadAnswer
    """
    if axis.size == frequency_hz.size:
        if _close(axis, frequency_hz):
            return
        if _close(axis.byteswap(), frequency_hz):
            raise other_byte_order(link)
    ends = f"from {axis[0]:.9g} Hz to {axis[-1]:.9g} Hz" if axis.size else "nowhere"
    raise BadAnswer(
        f"{link.address}: the frequency axis of the data runs {ends} ({axis.size} points), set are "
        f"{frequency_hz[0]:.9g} Hz to {frequency_hz[-1]:.9g} Hz ({frequency_hz.size} points), {spacing}",
        hint="Was the sweep changed at the front panel? Set the analyzer up again.",
    )


def check_valid(link: Link, parts: NDArray[np.float64], frequency_hz: NDArray[np.float64]) -> None:
    """Refuse points that are no numbers, and readings that no passive part gives.

    Real and imaginary parts, ``(n * n, points, 2)``, are looked at alike.

    Raises
    ------
    InvalidData
    """
    # Minimum and maximum hand not-a-number on, and are much quicker than looking at every value.
    low, high = parts.min(), parts.max()
    if low >= -_ABSURD_ABOVE and high <= _ABSURD_ABOVE:
        return
    # Not-a-number compares false, so it is caught with the too large ones.
    good = (np.abs(parts) <= _INVALID_ABOVE).all(axis=(0, 2))
    what = "invalid (not a number or overload)"
    if good.all():
        good = (np.abs(parts) <= _ABSURD_ABOVE).all(axis=(0, 2))
        what = f"beyond {_ABSURD_ABOVE:g}, which no passive part gives"
    first = frequency_hz[np.argmin(good)]
    raise InvalidData(
        f"{link.address}: {np.count_nonzero(~good)} of {good.size} points are {what}, the first at "
        f"{first:.9g} Hz",
        hint="Lower the source power, check what is connected, and measure again.",
    )


def check_driven(link: Link, ports: tuple[int, ...], s: NDArray[np.complex128]) -> None:
    """Refuse a driven port of which every reading is exactly zero.

    Raises
    ------
    StaleData
    """
    # The first point tells in nearly every case.
    alive = s[0].any(axis=0)
    dead = [port for k, port in enumerate(ports) if not alive[k] and not s[:, :, k].any()]
    if dead:
        raise StaleData(
            f"{link.address}: port {', '.join(map(str, dead))}: exactly zero everywhere while driven, so the "
            "sweep did not drive it",
            hint="The analyzer sweeps only ports of which a measurement is defined and shown.",
        )


def check_switch_term(
    link: Link, port: int, source: int, values: NDArray[np.complex128], frequency_hz: NDArray[np.float64]
) -> None:
    """Refuse a switch term, ``(points,)``, that no termination behind `port` can have.

    Raises
    ------
    InvalidData
        The receivers of `port` read nothing but noise while `source` was driven.
    StaleData
        Exactly zero everywhere: it was not measured.
    """
    # Not-a-number compares false, so it is caught with the too large ones.
    good = (np.abs(values.real) <= _ABSURD_ABOVE) & (np.abs(values.imag) <= _ABSURD_ABOVE)
    if not good.all():
        raise InvalidData(
            f"{link.address}: switch term of port {port} while port {source} is driven: no value that a "
            f"termination can have at {np.count_nonzero(~good)} of {good.size} points, the first at "
            f"{frequency_hz[np.argmin(good)]:.9g} Hz",
            hint=f"It can be told only where port {port} receives something: join the ports, as a thru does.",
        )
    if not values.any():
        raise StaleData(
            f"{link.address}: switch term of port {port} while port {source} is driven: exactly zero "
            "everywhere, so the sweep did not measure it",
            hint="Measure again.",
        )


class Memory:
    """What earlier sweeps read, port by port, to know it again: noise never repeats to the last bit.

    Parameters
    ----------
    sweep_each
        True where each parameter comes from a sweep of its own: then each is looked at by itself, and one
        that repeats any other, of this matrix or an earlier one, or is exactly zero is as doubtful.
    """

    def __init__(self, *, sweep_each: bool = False) -> None:
        self._sweep_each = sweep_each
        self._last: dict[int, tuple[tuple[int, ...], NDArray[np.complex128]]] = {}

    def forget(self) -> None:
        """Forget everything: the analyzer has been preset and holds no earlier data."""
        self._last.clear()

    def keep(self, ports: tuple[int, ...], s: NDArray[np.complex128]) -> None:
        """Remember a sweep, ``(points, n, n)``."""
        for port in ports:
            self._last[port] = (ports, s)

    def repeated(self, ports: tuple[int, ...], s: NDArray[np.complex128]) -> tuple[int, ...]:
        """Return the driven ports whose readings are those of an earlier sweep, to the last bit."""
        found = []
        for column, port in enumerate(ports):
            same = self._compared(ports, s, column, port)
            if any(same) if self._sweep_each else bool(same) and all(same):
                found.append(port)
            elif self._sweep_each and any(self._echoes(s, row, column) for row in range(len(ports))):
                found.append(port)
        return tuple(found)

    def _echoes(self, s: NDArray[np.complex128], row: int, column: int) -> bool:
        """Tell whether a parameter is zero, or repeats another one of its matrix or of an earlier one."""
        one = s[:, row, column]
        others = [s[:, i, k] for i, k in np.ndindex(s.shape[1:]) if (i, k) != (row, column)]
        for _, before in self._last.values():
            if before.shape[0] == s.shape[0]:
                others += [before[:, i, k] for i, k in np.ndindex(before.shape[1:])]
        return not one.any() or any(_identical(one, other) for other in others)

    def _compared(
        self, ports: tuple[int, ...], s: NDArray[np.complex128], column: int, port: int
    ) -> list[bool]:
        """Tell for each receiver of now and then whether its readings are the same."""
        ports_before, before = self._last.get(port, ((), s))
        if port not in ports_before or before.shape[0] != s.shape[0]:
            return []
        column_before = ports_before.index(port)
        return [
            _identical(s[:, row, column], before[:, ports_before.index(receiver), column_before])
            for row, receiver in enumerate(ports)
            if receiver in ports_before
        ]


def _identical(one: NDArray[np.complex128], other: NDArray[np.complex128]) -> bool:
    # The first point tells in nearly every case.
    return bool(one[0] == other[0]) and np.array_equal(one, other)


def _same(row: NDArray[np.complex128], trace: NDArray[np.complex128]) -> bool:
    return bool(np.max(np.abs(row - trace)) <= _SAME * np.max(np.abs(trace)))


def _close(axis: NDArray[np.float64], frequency_hz: NDArray[np.float64]) -> bool:
    with np.errstate(invalid="ignore", over="ignore"):
        return bool(np.all(np.abs(axis - frequency_hz) <= _AXIS_TOLERANCE_HZ))
