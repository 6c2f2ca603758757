"""The ways to read the matrix after a sweep; a family file names those it has, the best first."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer
from benchsweep.instrument.families import Family
from benchsweep.instrument.links import Link
from benchsweep.instrument.matrix._measurements import Measurements

__all__ = ["WAYS", "MatrixWay", "Pairs", "Reader", "Rows"]

Pairs = tuple[tuple[int, int], ...]

# Text rounds: seven digits are common, and enough to tell one byte order from the other.
_TEXT_TOLERANCE = 1e-4


@dataclass(frozen=True, slots=True)
class Rows:
    """What was read.

    Parameters
    ----------
    parts
        ``(n * n, points, 2)``: real and imaginary part of every parameter, in the order of the instrument;
        usually a view of the block as it came.
    axis
        Frequency axis that came with it, ``(points,)``.
    """

    parts: NDArray[np.float64]
    axis: NDArray[np.float64] | None = None

    @classmethod
    def of_traces(cls, traces: Sequence[NDArray[np.complex128]]) -> Rows:
        """Return the rows of complex traces, ``(points,)`` each."""
        return cls(np.array(traces).view(np.float64).reshape(len(traces), -1, 2))

    def parameter(self, row: int) -> NDArray[np.complex128]:
        """Return one parameter, ``(points,)``."""
        return np.ascontiguousarray(self.parts[row]).view(np.complex128)[:, 0]


class Reader:
    """Reads blocks of numbers in the byte order that the family file states, or that was found out.

    Parameters
    ----------
    link, family
        What to ask, and how.
    """

    def __init__(self, link: Link, family: Family) -> None:
        self.link = link
        self.family = family
        stated = family.behaviours.byte_order
        self._little_endian = None if stated == "found" else stated == "little-endian"

    def doubles(self, question: str) -> NDArray[np.float64]:
        """Return the numbers that answer `question`."""
        return self.link.query_doubles(question, little_endian=self._little_endian is not False)

    def trace(self, question: str, points: int) -> NDArray[np.complex128]:
        """Return the complex trace, ``(points,)``, that answers `question`.

        Raises
        ------
        BadAnswer
            Another number of values than real and imaginary part of every point.
        """
        values = self.doubles(question)
        if values.size != 2 * points:
            self.refuse_count(question, values.size, f"{2 * points} (2 for each of {points} points)")
        # Real and imaginary part side by side are complex numbers in memory already.
        return np.ascontiguousarray(values).view(np.complex128)

    def find_byte_order(self, question: str) -> None:
        """Read the same numbers as text and as a block, and learn from them the order of the bytes.

        Raises
        ------
        BadAnswer
            They agree in no order, or in another one than the family file states.
        """
        link, family = self.link, self.family
        doing = "changing the data format to find the byte order"
        link.write_checked(*family.fill("ascii_format"), doing=doing)
        text = link.query(question)
        link.write_checked(*family.fill("data_format"), doing=doing)
        block = link.query_doubles(question)
        try:
            told = np.array([float(word) for word in text.split(",")])
        except ValueError:
            told = np.empty(0)
        little, big = _agree(told, block), _agree(told, block.byteswap())
        if little and big:
            return  # nothing but zeros: the next sweep will show it
        if not (little or big):
            raise BadAnswer(
                f"{link.address}: {question}: the same data as text and as a block of 64-bit numbers agree "
                "in no byte order",
                hint="Is the data format of the family file one of 64-bit numbers?",
            )
        if self._little_endian not in (None, little):
            raise other_byte_order(link)
        self._little_endian = little

    @property
    def byte_order_known(self) -> bool:
        """False while the family file leaves it to be found out and nothing has told it yet."""
        return self._little_endian is not None

    def refuse_count(self, what: str, count: int, expected: str) -> None:
        """Raise BadAnswer for a number of values that is none of what was asked for."""
        now = self.link.query(self.family.ask("points"))
        raise BadAnswer(
            f"{self.link.address}: {what}: {count} values came, expected {expected}; the instrument says "
            f"{now} points",
            hint="Was a setting changed at the front panel, or the sweep type? Measure again.",
        )


def other_byte_order(link: Link) -> BadAnswer:
    """Return the error for data that come in the wrong byte order."""
    return BadAnswer(
        f"{link.address}: the data come in the other byte order than the instrument confirmed",
        hint="Correct the byte order words in the family file.",
    )


def _agree(told: NDArray[np.float64], block: NDArray[np.float64]) -> bool:
    if told.size != block.size:
        return False
    with np.errstate(invalid="ignore", over="ignore"):
        scale = np.abs(told) + 1e-12
        return bool(np.all(np.abs(block - told) <= _TEXT_TOLERANCE * scale))


@dataclass(frozen=True, slots=True)
class MatrixWay:
    """One way to read a matrix.

    Parameters
    ----------
    defines
        The measurements that must be there, as (receiver, source), for some ports.
    read
        Reads them.
    in_one_query
        True where one answer holds the whole matrix, so that its order must be known or found.
    carries_axis
        True where the frequency axis comes with the data.
    sweep_each
        True where each parameter is measured by a sweep of its own.
    """

    defines: Callable[[tuple[int, ...]], Pairs]
    read: Callable[[Reader, Measurements, int], Rows]
    in_one_query: bool = False
    carries_axis: bool = False
    sweep_each: bool = False


def _one_per_source(ports: tuple[int, ...]) -> Pairs:
    return tuple((port, port) for port in ports)


def _one_per_source_and_a_check(ports: tuple[int, ...]) -> Pairs:
    """One more, off the diagonal, to check the order of the matrix with."""
    diagonal = _one_per_source(ports)
    return (*diagonal, (ports[-1], ports[0])) if len(ports) > 1 else diagonal


def _every_parameter(ports: tuple[int, ...]) -> Pairs:
    return tuple(product(ports, ports))


def _snp_rows(reader: Reader, defined: Measurements, points: int) -> Rows:
    """One block: the frequency row, then real and imaginary rows for every parameter."""
    ports = defined.ports
    listed = ",".join(map(str, ports))
    values = reader.doubles(reader.family.ask("matrix", ports=listed, count=len(ports)))
    rows = 1 + 2 * len(ports) ** 2
    if values.size != rows * points:
        expected = f"{rows * points} ({rows} rows of {points} points)"
        reader.refuse_count(f"matrix of ports {listed}", values.size, expected)
    table = values.reshape(rows, points)
    return Rows(table[1:].reshape(-1, 2, points).transpose(0, 2, 1), table[0])


def _parameter_rows(reader: Reader, defined: Measurements, points: int) -> Rows:
    """One block: for every parameter all its points, real and imaginary part side by side."""
    ports = defined.ports
    listed = ",".join(map(str, ports))
    values = reader.doubles(reader.family.ask("matrix", ports=listed, count=len(ports)))
    rows = len(ports) ** 2
    if values.size != 2 * rows * points:
        expected = f"{2 * rows * points} ({rows} parameters of {points} points, 2 values each)"
        reader.refuse_count(f"matrix of ports {listed}", values.size, expected)
    return Rows(values.reshape(rows, points, 2))


def _by_parameter(reader: Reader, defined: Measurements, points: int) -> Rows:
    """One question for every parameter, no measurement needed but one that drives its source."""
    rows = [
        reader.trace(reader.family.ask("parameter", **defined.parameter(*pair).fields), points)
        for pair in _every_parameter(defined.ports)
    ]
    return Rows.of_traces(rows)


def _by_trace(reader: Reader, defined: Measurements, points: int) -> Rows:
    """One question for every measurement, selected and read in one message."""
    rows = [
        reader.trace(reader.family.ask("trace", **defined.parameter(*pair).fields), points)
        for pair in _every_parameter(defined.ports)
    ]
    return Rows.of_traces(rows)


WAYS: Mapping[str, MatrixWay] = MappingProxyType(
    {
        "snp-rows": MatrixWay(_one_per_source_and_a_check, _snp_rows, in_one_query=True, carries_axis=True),
        "parameter-rows": MatrixWay(_one_per_source_and_a_check, _parameter_rows, in_one_query=True),
        "by-parameter": MatrixWay(_one_per_source, _by_parameter),
        "by-trace": MatrixWay(_every_parameter, _by_trace),
        "by-sweep": MatrixWay(_every_parameter, _by_trace, sweep_each=True),
    }
)
"""Name in the family file -> how it is done."""
