"""Read a Touchstone file as a specimen: version 1 and the basic part of version 2, S-parameters of 4, 8, 16
ports.

Source of the format: Touchstone File Format Specification, IBIS Open Forum, versions 1.1 and 2.0.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import DataFileError
from benchsweep.simulator.specimen._network import change_reference

__all__ = ["TouchstoneData", "read_touchstone"]

_REFERENCE_OHM = 50.0
_HIGHEST_HZ = 1e13
_LARGEST = 1e6  # far above any gain; what is larger is not a scattering parameter
_UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_FORMATS = ("RI", "MA", "DB")
_HINT = "Check the file against the Touchstone format, or write it again with the program it came from."
# Keywords of version 2 that change nothing here: the second and third matter to two-ports only.
_IGNORED = ("[VERSION]", "[TWO-PORT DATA ORDER]", "[TWO-PORT ORDER]", "[NETWORK DATA]")


@dataclass(frozen=True)
class TouchstoneData:
    """Contents of a file: ``frequency_hz`` rising, ``s`` of shape ``(n_freq, n, n)`` at 50 ohm."""

    frequency_hz: NDArray[np.float64]
    s: NDArray[np.complex128]


@dataclass
class _Options:
    """What the option line and the keywords say."""

    unit: float = 1e9
    form: str = "MA"
    reference: tuple[float, ...] = (_REFERENCE_OHM,)
    seen: bool = False


class _Reader:
    def __init__(self, path: Path, ports: int) -> None:
        self.path = path
        self.ports = ports
        self.options = _Options()
        # (line, first of its line, value) of every number of the network data
        self.numbers: list[tuple[int, bool, float]] = []
        self.references_wanted = False
        self.in_information = False
        self.ended = False
        self.frequencies: int | None = None

    def fail(self, line: int, what: str) -> NoReturn:
        raise DataFileError(f"{self.path}: line {line}: {what}", hint=_HINT)

    def lines(self) -> Iterator[tuple[int, str]]:
        try:
            text = self.path.read_text(encoding="utf-8", errors="replace")
        except OSError as error:
            raise DataFileError(f"{self.path}: cannot be read: {error}", hint="Check the path.") from error
        for number, line in enumerate(text.splitlines(), start=1):
            content = line.partition("!")[0].strip()
            if content:
                yield number, content

    def read(self) -> TouchstoneData:
        last = 1
        for number, content in self.lines():
            last = number
            if self.ended:
                break
            if content.startswith("["):
                self._keyword(number, content)
            elif self.in_information:
                continue
            elif content.startswith("#"):
                self._option_line(number, content)
            else:
                self._values(number, content)
        return self._finish(last)

    def _keyword(self, number: int, content: str) -> None:
        name, _, rest = content.partition("]")
        key, rest = " ".join(name.upper().split()) + "]", rest.strip()
        self.references_wanted = False
        if key in ("[BEGIN INFORMATION]", "[END INFORMATION]"):
            self.in_information = key.startswith("[BEGIN")
        elif self.in_information or key in _IGNORED:
            return
        elif key == "[REFERENCE]":
            self.options.reference = ()
            self._references(number, rest)
        elif key == "[NUMBER OF FREQUENCIES]":
            self.frequencies = int(self._number(number, rest))
        elif key == "[END]":
            self.ended = True
        else:
            self._fixed_keyword(number, key, rest)

    def _fixed_keyword(self, number: int, key: str, value: str) -> None:
        """Check a keyword that may have one value only."""
        only = {"[NUMBER OF PORTS]": str(self.ports), "[MATRIX FORMAT]": "FULL"}
        if key not in only:
            self.fail(number, f"the keyword {key} is not read here")
        if value.upper() != only[key]:
            self.fail(number, f"{key} {value}: only {only[key]} is read here")

    def _references(self, number: int, content: str) -> None:
        more = tuple(self._positive(number, token) for token in content.split())
        self.options.reference += more
        if len(self.options.reference) > self.ports:
            self.fail(number, f"more than {self.ports} reference impedances")
        self.references_wanted = len(self.options.reference) < self.ports

    def _option_line(self, number: int, content: str) -> None:
        if self.options.seen:
            return  # the specification: only the first option line counts
        self.options.seen = True
        tokens = content[1:].upper().split()
        while tokens:
            token = tokens.pop(0)
            if token in _UNITS:
                self.options.unit = _UNITS[token]
            elif token in _FORMATS:
                self.options.form = token
            elif token == "R":
                values = tuple(self._positive(number, one) for one in tokens)
                if len(values) not in (1, self.ports):
                    self.fail(number, f"{len(values)} reference impedances for {self.ports} ports")
                self.options.reference = values
                return
            elif token != "S":
                self.fail(number, f"{token!r} in the option line: only S-parameters as RI, MA or DB are read")

    def _values(self, number: int, content: str) -> None:
        if self.references_wanted:
            self._references(number, content)
            return
        if not self.options.seen:
            self.fail(number, "numbers before the option line (# …)")
        for place, token in enumerate(content.split()):
            self.numbers.append((number, place == 0, self._number(number, token)))

    def _number(self, number: int, token: str) -> float:
        try:
            value = float(token)
        except ValueError:
            self.fail(number, f"{token!r} is not a number")
        if not math.isfinite(value):
            self.fail(number, f"{token!r} is not a finite number")
        return value

    def _positive(self, number: int, token: str) -> float:
        value = self._number(number, token)
        if value <= 0.0:
            self.fail(number, f"the reference impedance {token} is not above zero")
        return value

    def _finish(self, last: int) -> TouchstoneData:
        if not self.numbers:
            self.fail(last, "the file ends without any data")
        size = 1 + 2 * self.ports**2
        starts = self.numbers[::size]
        for (line, first, _), (before, _, _) in zip(starts[1:], starts, strict=False):
            if not first:
                self.fail(line, f"a point (the one from line {before}) has not {size} numbers")
        count, missing = divmod(len(self.numbers), size)
        if missing:
            line = self.numbers[count * size][0]
            self.fail(self.numbers[-1][0], f"the point from line {line} has {missing} numbers, not {size}")
        if self.frequencies is not None and self.frequencies != count:
            self.fail(last, f"{count} points, but [Number of Frequencies] says {self.frequencies}")
        table = np.array([value for _, _, value in self.numbers]).reshape(count, size)
        lines = [line for line, _, _ in starts]
        frequency = table[:, 0] * self.options.unit
        for at in np.flatnonzero((frequency < 0.0) | (frequency > _HIGHEST_HZ)):
            self.fail(lines[at], f"a frequency of {frequency[at]:g} Hz")
        for at in np.flatnonzero(np.diff(frequency, prepend=-1.0) <= 0.0):
            self.fail(lines[at], "frequencies must rise")
        return TouchstoneData(frequency, self._matrix(table[:, 1:], lines))

    def _matrix(self, values: NDArray[np.float64], lines: list[int]) -> NDArray[np.complex128]:
        one, two = values[:, 0::2], values[:, 1::2]
        decibel = self.options.form == "DB"
        largest = 20.0 * math.log10(_LARGEST) if decibel else _LARGEST
        # The angle of MA and DB may be anything.
        size = np.maximum(np.abs(one), np.abs(two)) if self.options.form == "RI" else one
        for at in np.flatnonzero(np.any(size > largest, axis=1)):
            self.fail(lines[at], f"the point from here holds {np.max(size[at]):g}, which is no S-parameter")
        if self.options.form == "RI":
            flat = one + 1j * two
        else:
            flat = (10.0 ** (one / 20.0) if decibel else one) * np.exp(1j * np.deg2rad(two))
        s = flat.reshape(-1, self.ports, self.ports)
        reference = np.asarray(self.options.reference)
        if len(reference) not in (1, self.ports):
            self.fail(1, f"{len(reference)} reference impedances for {self.ports} ports")
        if np.all(reference == _REFERENCE_OHM):
            return s
        try:
            return change_reference(s, np.broadcast_to(reference, (self.ports,)), _REFERENCE_OHM)
        except np.linalg.LinAlgError:
            self.fail(lines[0], f"the data from here cannot be referred to {_REFERENCE_OHM:g} ohm")


def read_touchstone(path: Path, ports: int) -> TouchstoneData:
    """Read a file of `ports` ports; other reference impedances than 50 ohm are changed to it.

    Raises
    ------
    DataFileError
        The file cannot be read or is malformed; the message names the line.
    """
    return _Reader(path, ports).read()
