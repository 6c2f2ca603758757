"""Define, sweep and read a matrix in the best way that a family and its instrument have."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer, InstrumentTimeout, InvalidData, NotSupported
from benchsweep.instrument._asking import is_absent, knows
from benchsweep.instrument._settings import expected_axis
from benchsweep.instrument.families import Family, Query
from benchsweep.instrument.links import Link
from benchsweep.instrument.matrix._measurements import (
    WITHOUT_SWITCH_TERMS,
    Measurements,
    define_measurements,
    define_one,
)
from benchsweep.instrument.matrix._readout import (
    Order,
    check_axis,
    check_driven,
    check_switch_term,
    check_valid,
    find_order,
    in_order,
)
from benchsweep.instrument.matrix._ways import WAYS, MatrixWay, Pairs, Reader, Rows
from benchsweep.records import SweepSettings

__all__ = ["MatrixReader"]


class MatrixReader:
    """Knows what is defined on the analyzer and how its matrix is read.

    Parameters
    ----------
    link, family
        What to ask, and how.

    Attributes
    ----------
    frequency_hz : (points,) array or None
        The axis of the present settings.
    """

    def __init__(self, link: Link, family: Family) -> None:
        self.link = link
        self.family = family
        self.frequency_hz: NDArray[np.float64] | None = None
        self._spacing = "linear"
        self._reader = Reader(link, family)
        self._ways = list(family.behaviours.matrix)
        self._defined: Measurements | None = None
        self._order: Order | None = None
        self._byte_order_told = False
        self._overload_told: bool | None = None

    @property
    def ports(self) -> tuple[int, ...]:
        """The ports for which measurements are defined."""
        return self._defined.ports if self._defined is not None else ()

    @property
    def switch_terms(self) -> Pairs:
        """(port, driven port) of those that are defined too."""
        return tuple(self._defined.ratios) if self._defined is not None else ()

    @property
    def state(self) -> dict[str, str]:
        """Question -> answer while nobody changes the definitions."""
        return dict(self._defined.state) if self._defined is not None else {}

    @property
    def _way(self) -> MatrixWay:
        return WAYS[self._ways[0]]

    def begin(self, used: SweepSettings) -> None:
        """Take the settings as read back; whatever was defined before has gone with the preset."""
        grid = expected_axis(used)
        grid.flags.writeable = False
        self.frequency_hz = grid
        self._spacing = used.spacing
        self._defined = None

    def refuse_switch_terms(self) -> None:
        """Refuse to measure switch terms where the family has no words for them.

        Raises
        ------
        NotSupported
        """
        if not self.family.has("define_ratio"):
            raise NotSupported(
                f"{self.link.address}: switch terms: the command family {self.family.name} has no words for "
                "ratios of receivers",
                hint=WITHOUT_SWITCH_TERMS,
            )

    def define(self, ports: tuple[int, ...], switch_terms: Pairs = ()) -> None:
        """Define the measurements that drive `ports`, and the switch terms of (port, driven port).

        Raises
        ------
        NotSupported, ScpiError, InstrumentError, BadAnswer, LinkLost, InstrumentTimeout
        """
        if switch_terms:
            self.refuse_switch_terms()
        self._defined = None
        self._order = None
        way = self._way
        if way.sweep_each:
            style = self.family.behaviours.parameter_names[0]
            self._defined = Measurements(ports, {}, style, {})
            return
        self._defined = define_measurements(
            self.link,
            self.family,
            ports,
            way.defines(ports),
            whole_matrix=way.in_one_query,
            ratios=switch_terms,
        )

    def read_axis(self) -> None:
        """Read the frequency axis where the family has a question for it, and compare.

        A linear axis that comes with the data anyway is not read twice.

        Raises
        ------
        BadAnswer
        """
        linear = self._spacing == "linear"
        if self._defined is None or not self.family.has("axis") or (linear and self._way.carries_axis):
            return
        first = self._defined.ports[0]
        fields = self._defined.parameter(first, first).fields
        try:
            axis = self._reader.doubles(self.family.ask("axis", **fields))
        except InstrumentTimeout:
            # Where it comes with the data, every sweep compares it with the expected one.
            if self._way.carries_axis and is_absent(self.link.errors()):
                return
            raise
        check_axis(self.link, axis, self._grid, self._spacing)
        if not linear:
            axis = np.array(axis)
            axis.flags.writeable = False
            self.frequency_hz = axis

    def sweep_and_read(self, run: Callable[[int], None]) -> NDArray[np.complex128]:
        """Sweep by calling `run` with the number of ports driven, then read and check the matrix.

        Returns
        -------
        ``(points, n, n)``, row = receiver, column = source, ports rising.

        Raises
        ------
        InvalidData, StaleData, BadAnswer, NotSupported, LinkLost, InstrumentTimeout
        """
        if self._way.sweep_each:
            rows = self._sweep_each(run)
        else:
            run(len(self.ports))
            self._refuse_overload()
            self._settle_byte_order()
            found = self._read_or_other_way()
            if found is None:
                return self.sweep_and_read(run)
            rows = found
        if rows.axis is not None:
            check_axis(self.link, rows.axis, self._grid, self._spacing)
        elif self._spacing != "linear":
            self.read_axis()
        check_valid(self.link, rows.parts, self._grid)
        s = in_order(rows.parts, len(self.ports), self._order_of(rows))
        check_driven(self.link, self.ports, s)
        return s

    def read_switch_terms(self) -> NDArray[np.complex128]:
        """Read the switch terms of the sweep that has just been read.

        Returns
        -------
        ``(points, n, n)``, [point, port, driven port], ports rising; zero where none is defined.

        Raises
        ------
        InvalidData, StaleData, BadAnswer, LinkLost, InstrumentTimeout
        """
        ports, points = self.ports, self._grid.size
        terms = np.zeros((points, len(ports), len(ports)), dtype=np.complex128)
        for (port, source), trace in self._measurements.ratios.items():
            values = self._reader.trace(self.family.ask("trace", **trace.fields), points)
            check_switch_term(self.link, port, source, values, self._grid)
            terms[:, ports.index(port), ports.index(source)] = values
        return terms

    @property
    def _grid(self) -> NDArray[np.float64]:
        if self.frequency_hz is None:
            raise BadAnswer(f"{self.link.address}: no frequency axis is known yet")
        return self.frequency_hz

    @property
    def _measurements(self) -> Measurements:
        if self._defined is None:
            raise BadAnswer(f"{self.link.address}: no measurements are defined yet")
        return self._defined

    def _sweep_each(self, run: Callable[[int], None]) -> Rows:
        """Choose one parameter, sweep, read it; and so on.

        Each source is swept once more before its first reading. What such an analyzer holds for a parameter
        may come from a sweep for another one that was never read, so that it could not be known again; after
        that sweep it comes from the present connection at least.
        """
        found: dict[tuple[int, int], NDArray[np.complex128]] = {}
        for source, receiver in product(self.ports, self.ports):
            trace = self._measurements.parameter(receiver, source)
            define_one(self.link, self.family, trace)
            if receiver == self.ports[0]:
                run(1)
            run(1)
            question = self.family.ask("trace", **trace.fields)
            if not self._byte_order_told:
                self._reader.find_byte_order(question)
                self._byte_order_told = self._reader.byte_order_known
            found[receiver, source] = self._reader.trace(question, self._grid.size)
            self._refuse_overload()
        return Rows.of_traces([found[pair] for pair in product(self.ports, self.ports)])

    def _settle_byte_order(self) -> None:
        """Make sure of the byte order where no axis tells it: read one trace as text and as numbers."""
        way = self._way
        told = way.carries_axis or self.family.has("axis") or not self.family.has("ascii_format")
        if self._byte_order_told or told:
            return
        first = self.ports[0]
        trace = self._measurements.parameter(first, first)
        query: Query = "trace" if self.family.has("trace") else "parameter"
        self._reader.find_byte_order(self.family.ask(query, **trace.fields))
        self._byte_order_told = self._reader.byte_order_known

    def _read_or_other_way(self) -> Rows | None:
        """Read the matrix; None when the instrument has not this way and the next one was made ready."""
        try:
            return self._way.read(self._reader, self._measurements, self._grid.size)
        except InstrumentTimeout:
            # An instrument that does not know the question says nothing but has an entry in its queue.
            if not is_absent(self.link.errors()):
                raise
            if len(self._ways) == 1:
                raise NotSupported(
                    f"{self.link.address}: reading the matrix ({self._ways[0]}): this analyzer has not the "
                    "function",
                    hint="An option may be missing; add another way to read it to the family file.",
                ) from None
        ports, switch_terms = self.ports, self.switch_terms
        self._ways.pop(0)
        self.define(ports, switch_terms)
        return None

    def _refuse_overload(self) -> None:
        if not self.family.has("overload"):
            return
        question = self.family.ask("overload")
        if self._overload_told is None:
            self._overload_told = knows(self.link, question) is not None
        if not self._overload_told:
            return
        answer = self.link.query(question).removeprefix("+")
        if not answer.isdecimal():
            raise BadAnswer(f"{self.link.address}: {question} was answered by {answer[:80]!r}")
        if int(answer) & self.family.overload_bits:
            raise InvalidData(
                f"{self.link.address}: the analyzer reports an overloaded receiver ({question} "
                f"answers {answer})",
                hint="Lower the source power, check what is connected, and measure again.",
            )

    def _order_of(self, rows: Rows) -> Order:
        """Return the order of the parameters; once for each set of ports it is checked with one trace."""
        stated = self.family.behaviours.matrix_order
        n = len(self.ports)
        if not self._way.in_one_query or n == 1:
            return "row-major"
        if self._order is None:
            check = self._measurements.parameter(self.ports[-1], self.ports[0])
            trace = self._reader.trace(self.family.ask("trace", **check.fields), self._grid.size)
            # Where both orders fit (nothing but noise-free zeros does that), the next sweep is checked again.
            self._order = find_order(self.link, rows, n, trace)
            if self._order is not None and stated not in ("detect", self._order):
                found, self._order = self._order, None
                raise BadAnswer(
                    f"{self.link.address}: the matrix of {n} ports comes {found}, not {stated} as in the "
                    "family file",
                    hint='Write matrix_order = "detect" in the family file.',
                )
        return self._order or ("row-major" if stated == "detect" else stated)
