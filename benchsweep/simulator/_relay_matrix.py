"""A relay matrix as a SCPI instrument of its own: which analyzer port is joined to which leg or standard.

Rows are the analyzer ports 1 to N. Columns 1 to 8 are the contacts 1 to 8 at end A, 9 to 16 those at end B,
17 an open, 18 a short, 19 a load, 20 and 21 rails: two rows that are closed on one rail are joined by a thru.
A closure is written ``row!column`` in a channel list: ``ROUTe:CLOSe (@1!2,3!4)``; ``(@1!1:2!4)`` is the
rectangle of rows 1 to 2 and columns 1 to 4.

What is simulated is ideal where a real matrix is not: all paths are electrically equal and add nothing, so
that a calibration holds for every one of them. What is real: relays take their time, several closures on one
row or column join what hangs there, and contacts fail.
"""

from __future__ import annotations

import asyncio
import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from benchsweep.simulator.bench import Attached, Bench, parse_connections
from benchsweep.simulator.scpi import (
    COMMON_COMMANDS,
    DROP_LINK,
    FAULT_COMMANDS,
    Call,
    Command,
    FaultKind,
    Form,
    Kind,
    Parameter,
    ScpiDevice,
    ScpiFault,
    version,
)

__all__ = ["COLUMNS", "Relay", "RelayMatrix"]

Relay = tuple[int, int]
"""Row and column."""

_CONTACTS = 8
_PAIR_OF = {"1": "12", "2": "12", "3": "36", "6": "36", "4": "45", "5": "45", "7": "78", "8": "78"}
_LEGS = tuple(f"{end}:{_PAIR_OF[str(n)]}.{n}" for end in "AB" for n in range(1, _CONTACTS + 1))
_TARGETS = (*_LEGS, "open", "short", "load")
_RAILS = (len(_TARGETS) + 1, len(_TARGETS) + 2)
COLUMNS = len(_TARGETS) + len(_RAILS)

_ELEMENT = re.compile(r"\s*(\d{1,4})\s*!\s*(\d{1,4})\s*(?::\s*(\d{1,4})\s*!\s*(\d{1,4})\s*)?")


_FAULTS: Mapping[str, FaultKind] = {
    "relay-stuck-open": FaultKind(
        "a relay that is told to close",
        "Its coil or contact has failed: it stays open from then on. The read-back says so.",
    ),
    "relay-stuck-closed": FaultKind(
        "a closed relay that is told to open",
        "Its contact has welded: it stays closed from then on. The read-back says so.",
    ),
    "drop-link": DROP_LINK,
}


class _ChannelList(Kind["RelayMatrix"]):
    """``(@1!2,3!4:5!6)``."""

    def decode(self, parameter: Parameter, device: RelayMatrix) -> tuple[Relay, ...]:
        """Return the relays in the order in which they are named."""
        self.refuse(parameter, Form.EXPRESSION)
        inner = parameter.text[1:-1].strip()
        if not inner.startswith("@"):
            raise ScpiFault(-171, "a channel list begins with (@")
        return tuple(relay for text in inner[1:].split(",") for relay in _element(text, device.rows))

    def encode(self, value: Any) -> str:
        """Return the list that `decode` reads."""
        return f"(@{','.join(f'{row}!{column}' for row, column in value)})"


def _element(text: str, rows: int) -> Iterator[Relay]:
    found = _ELEMENT.fullmatch(text)
    if found is None:
        raise ScpiFault(-171, f"{text.strip()[:40]}: expected row!column")
    first = int(found[1]), int(found[2])
    last = (int(found[3]), int(found[4])) if found[3] else first
    for row, column in (first, last):
        if not (1 <= row <= rows and 1 <= column <= COLUMNS):
            raise ScpiFault(-222, f"{row}!{column}, there are 1!1 to {rows}!{COLUMNS}")
    if last[0] < first[0] or last[1] < first[1]:
        raise ScpiFault(-224, f"{text.strip()[:40]}: the range falls")
    for row in range(first[0], last[0] + 1):
        for column in range(first[1], last[1] + 1):
            yield row, column


class RelayMatrix(ScpiDevice):
    """The relay matrix of a bench.

    Parameters
    ----------
    bench
        Whose ports are its rows.
    decides
        True: the closures decide what is attached to the ports. False: it stands unconnected.
    identity
        Third field of ``*IDN?``.
    """

    def __init__(self, bench: Bench, *, decides: bool, identity: str) -> None:
        super().__init__((COMMON_COMMANDS, FAULT_COMMANDS, _COMMANDS), {}, _FAULTS)
        self.rows = bench.ports
        self.closed: set[Relay] = set()
        self._coils: set[Relay] = set()
        self._stuck_open: set[Relay] = set()
        self._stuck_closed: set[Relay] = set()
        self._bench = bench
        self._decides = decides
        self._identity = identity
        if decides:
            bench.switch({}, 0.0)

    @property
    def idn(self) -> str:
        """The answer to ``*IDN?``."""
        return f"Simulated works,relay matrix {self.rows} by {COLUMNS},{self._identity},{version()}"

    async def reset(self) -> None:
        """Open all relays."""
        self.forget_completion()
        self.move(opened=self.told)

    @property
    def told(self) -> tuple[Relay, ...]:
        """Relays that are closed or have been told to close."""
        return tuple(sorted(self.closed | self._coils))

    def repair(self) -> None:
        """Exchange the relays that have failed."""
        self._stuck_open.clear()
        self._stuck_closed.clear()
        self.move()

    def move(self, closed: Collection[Relay] = (), opened: Collection[Relay] = ()) -> None:
        """Switch coils; the contacts follow when the relay time has passed."""
        for relay in closed:
            if relay not in self._coils and self.faults.take("relay-stuck-open"):
                self._stuck_open.add(relay)
        for relay in opened:
            if relay in self.closed and self.faults.take("relay-stuck-closed"):
                self._stuck_closed.add(relay)
        self._coils = (self._coils | set(closed)) - set(opened)
        if not self.busy:
            self.begin(self._settle())

    async def _settle(self) -> None:
        relay_time_s = self._bench.definition.relays.relay_time_s
        while (wanted := (self._coils - self._stuck_open) | self._stuck_closed) != self.closed:
            await asyncio.sleep(relay_time_s)
            self.closed = wanted
            if self._decides:
                self._bench.switch(attached_by(wanted), relay_time_s)


def attached_by(closed: Iterable[Relay]) -> dict[int, Attached]:
    """Return what closures attach to which port.

    A row with one closure on a column of its own is plainly attached. Rows and columns that hang together in
    any other way are one node each, on which everything is joined.
    """
    plain: list[str] = []
    joined: dict[int, Attached] = {}
    for node, (rows, columns) in enumerate(_nodes(closed)):
        if len(columns) == 1 and len(rows) == 1:
            if columns[0] not in _RAILS:
                plain.append(f"{rows[0]}={_TARGETS[columns[0] - 1]}")
        elif len(rows) == 2 and len(columns) == 1 and columns[0] in _RAILS:
            plain += [f"{rows[0]}=thru {rows[1]}", f"{rows[1]}=thru {rows[0]}"]
        else:
            targets = tuple(_TARGETS[column - 1] for column in columns if column not in _RAILS)
            text = "+".join(targets) or "rail"
            joined |= {row: Attached("joined", text, node=node, targets=targets) for row in rows}
    return parse_connections(",".join(plain), max((row for row, _ in closed), default=1)) | joined


def _nodes(closed: Iterable[Relay]) -> Iterator[tuple[list[int], list[int]]]:
    """Yield the rows and columns that hang together."""
    neighbours: defaultdict[tuple[str, int], set[tuple[str, int]]] = defaultdict(set)
    for row, column in closed:
        neighbours["row", row].add(("column", column))
        neighbours["column", column].add(("row", row))
    left = set(neighbours)
    while left:
        found = {min(left)}
        edge = set(found)
        while edge:
            edge = {other for one in edge for other in neighbours[one]} - found
            found |= edge
        left -= found
        yield (
            sorted(number for kind, number in found if kind == "row"),
            sorted(number for kind, number in found if kind == "column"),
        )


_CHANNELS = _ChannelList()
_Call = Call[RelayMatrix]


def _closures(call: _Call) -> str:
    return ",".join("1" if relay in call.device.closed else "0" for relay in call.arguments[0])


def _openings(call: _Call) -> str:
    return ",".join("0" if relay in call.device.closed else "1" for relay in call.arguments[0])


_COMMANDS: Iterable[Command[Any]] = (
    Command(
        "ROUTe:CLOSe",
        lambda call: call.device.move(closed=call.arguments[0]),
        _closures,
        takes=(_CHANNELS,),
        asks=(_CHANNELS,),
    ),
    Command(
        "ROUTe:OPEN",
        lambda call: call.device.move(opened=call.arguments[0]),
        _openings,
        takes=(_CHANNELS,),
        asks=(_CHANNELS,),
    ),
    Command("ROUTe:OPEN:ALL", lambda call: call.device.move(opened=call.device.told)),
    Command("ROUTe:CLOSe:STATe", query=lambda call: _CHANNELS.encode(sorted(call.device.closed))),
    Command("SYSTem:PRESet", lambda call: call.device.reset()),
)
