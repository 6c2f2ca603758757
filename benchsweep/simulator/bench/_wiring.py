"""What stands between the ends of the test cables and the legs: nothing, baluns, or fixture halves.

Whatever it is, an attachment is first translated into what is attached to each *end*: an end is one contact
that a leg or a standard is put on. With direct contacts the ends are the ports. Balun n has the ends 2n-1
(positive leg) and 2n (negative leg).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from benchsweep.simulator.bench._connections import Attached, ImpossibleConnection, legs_of

__all__ = ["TWO_X_THRU", "Wiring"]

TWO_X_THRU = "two-x-thru"

Way = Literal["contacts", "baluns", "tapped-baluns", "fixture-halves"]
_BALANCED_PORTS = 8


@dataclass(frozen=True, slots=True)
class Wiring:
    """How the ports of a bench lead to the ends.

    Parameters
    ----------
    way
        ``baluns``: port n is the 50 ohm side of balun n. ``tapped-baluns``: port 2n-1 is that of balun n,
        port 2n its common-mode tap. ``fixture-halves``: the ports 2n-1 and 2n are the coaxial side of half n.
    """

    way: Way = "contacts"

    @property
    def has_baluns(self) -> bool:
        """True when ports lead to modes and not to legs."""
        return self.way in ("baluns", "tapped-baluns")

    @property
    def most_ports(self) -> int:
        """The most analyzer ports that this makes sense for: eight balanced ports are all there are."""
        return _BALANCED_PORTS if self.way == "baluns" else 2 * _BALANCED_PORTS

    def ends(self, ports: int) -> int:
        """Return how many ends so many ports lead to."""
        return 2 * ports if self.way == "baluns" else ports

    def balun_of(self, port: int) -> int:
        """Return the number of the balun behind a port, from 1."""
        return (port + 1) // 2 if self.way == "tapped-baluns" else port

    def mode_of(self, port: int) -> str:
        """Return ``d`` or ``c``: which side of its balun a port is."""
        return "c" if self.way == "tapped-baluns" and port % 2 == 0 else "d"

    def at_ends(self, connections: Mapping[int, Attached]) -> dict[int, Attached]:
        """Return what is attached to which end: legs, standards, check standards by leg.

        Raises
        ------
        ImpossibleConnection
            It cannot be attached with this wiring.
        """
        if self.has_baluns:
            return self._behind_baluns(connections)
        for port, attached in connections.items():
            if attached.mode or attached.kind == "exchange":
                raise ImpossibleConnection(f"port {port}: {attached.text} needs a balun, and there is none")
        if self.way == "fixture-halves":
            _check_slots(connections)
        return dict(connections)

    def _behind_baluns(self, connections: Mapping[int, Attached]) -> dict[int, Attached]:
        told: dict[int, tuple[int, tuple[Attached, Attached]]] = {}
        used: dict[tuple[str, str], int] = {}
        for port, attached in sorted(connections.items()):
            pair = self._pair(port, attached)
            balun = self.balun_of(port)
            before = told.setdefault(balun, (port, pair))
            if before[1] != pair:
                raise ImpossibleConnection(
                    f"ports {before[0]} and {port} are of one balun: not the same on both"
                )
            if attached.balanced:
                key = attached.name, attached.balanced
                if used.setdefault(key, balun) != balun:
                    raise ImpossibleConnection(
                        f"{attached.text}: {attached.balanced} is at another balun too"
                    )
        return {
            2 * balun - 1 + leg: attached
            for balun, (_, pair) in told.items()
            for leg, attached in enumerate(pair)
            if attached.kind != "nothing"
        }

    def _pair(self, port: int, attached: Attached) -> tuple[Attached, Attached]:
        """Return what comes on the two legs of the balun behind `port`."""
        mode = self.mode_of(port)
        if attached.kind in ("leg", "joined") or (attached.kind == "check" and attached.conductor):
            raise ImpossibleConnection(
                f"port {port}: {attached.text} is not behind a balun; give a mode (A:12/d)"
            )
        if attached.mode and attached.mode != mode:
            what = "differential port" if mode == "d" else "common-mode tap"
            raise ImpossibleConnection(f"port {port}: {attached.text}, but it is a {what}")
        if attached.kind == "mode":
            plus, minus = legs_of(attached.balanced)
            return Attached("leg", conductor=plus), Attached("leg", conductor=minus)
        if attached.kind == "check":
            plus, minus = legs_of(attached.balanced)
            return (
                Attached("check", name=attached.name, conductor=plus),
                Attached("check", name=attached.name, conductor=minus),
            )
        if attached.kind == "exchange":
            if self.way != "tapped-baluns" or self.balun_of(attached.port) != self.balun_of(port):
                raise ImpossibleConnection(
                    f"port {port}: {attached.text} joins the two sides of one tapped balun"
                )
            return Attached("one-port", name="short"), Attached("one-port", name="open")
        if attached.kind == "two-port":
            other = self.balun_of(attached.port)
            if self.mode_of(attached.port) != mode or other == self.balun_of(port):
                raise ImpossibleConnection(
                    f"port {port}: {attached.text} joins two baluns, d with d and c with c"
                )
            return (
                Attached("two-port", name=attached.name, port=2 * other - 1),
                Attached("two-port", name=attached.name, port=2 * other),
            )
        return Attached(attached.kind, name=attached.name), Attached(attached.kind, name=attached.name)


def _check_slots(connections: Mapping[int, Attached]) -> None:
    """Raise where a specimen is put on a half beside a standard, or a two-x-thru is not put on two halves."""
    for port, attached in connections.items():
        partner = port + 1 if port % 2 else port - 1
        beside = connections.get(partner)
        if attached.kind == "leg" and beside is not None and beside.kind != "leg":
            raise ImpossibleConnection(
                f"ports {port} and {partner} are one half: not {attached.text} beside {beside.text}"
            )
        if attached.name == TWO_X_THRU and attached.kind == "check":
            _check_two_x_thru(port, attached, connections)


def _check_two_x_thru(port: int, attached: Attached, connections: Mapping[int, Attached]) -> None:
    end, contact = attached.conductor[0], attached.conductor[1]
    pair = next(pair for pair in ("12", "36", "45", "78") if contact in pair)
    here = f"{TWO_X_THRU} {end}:{pair}"
    first = port if port % 2 else port - 1
    other_end = "B" if end == "A" else "A"
    conductors = {
        number: one.conductor
        for number, one in connections.items()
        if one.kind == "check" and one.name == TWO_X_THRU
    }
    if (conductors.get(first), conductors.get(first + 1)) != (end + pair[0], end + pair[1]):
        raise ImpossibleConnection(f"port {port}: {here} goes on both ports of one half, positive leg first")
    if not {other_end + pair[0], other_end + pair[1]} <= set(conductors.values()):
        raise ImpossibleConnection(f"port {port}: {here} needs its other half, {other_end}:{pair}")
