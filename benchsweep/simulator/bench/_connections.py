"""The words for what is attached to the analyzer ports: ``1=A:12.1,2=open,3=thru 4,4=thru 3``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = ["Attached", "ImpossibleConnection", "format_connections", "parse_connections", "parse_target"]

_STANDARDS: Mapping[str, Literal["open", "short", "load"]] = {
    "open": "open",
    "short": "short",
    "load": "load",
}
_PAIRS = ("12", "36", "45", "78")
_ENTRY = re.compile(r"\s*(\d{1,4})\s*=\s*(.*?)\s*")
_LEG = re.compile(r"([AB]):(\d\d)\.(\d)")
_THRU = re.compile(r"thru\s+(\d{1,4})")


class ImpossibleConnection(ValueError):
    """The connection cannot be made; the text says why."""


@dataclass(frozen=True, slots=True, order=True)
class Attached:
    """What is attached to one port.

    Parameters
    ----------
    kind
        A leg of the specimen, a standard, or nothing.
    text
        As it is spelled, without ``port=``.
    conductor
        For a leg: ``A1`` … ``B8``.
    port
        For a thru: the port at its other end.
    node, targets
        For a port that relays join with others or with several targets: number of the node that they make,
        and what hangs on it, spelled as a target each.
    """

    kind: Literal["leg", "open", "short", "load", "thru", "nothing", "joined"]
    text: str = ""
    conductor: str = ""
    port: int = 0
    node: int = 0
    targets: tuple[str, ...] = ()

    @property
    def conductors(self) -> tuple[str, ...]:
        """The conductors of the specimen that it leads to."""
        if self.kind == "leg":
            return (self.conductor,)
        return tuple(leg.conductor for text in self.targets if (leg := parse_target(text)).kind == "leg")


def parse_connections(text: str, ports: int) -> dict[int, Attached]:
    """Return what `text` attaches to which port.

    Raises
    ------
    ImpossibleConnection
        Bad words, a port or leg used twice, or a thru that does not come back.
    """
    found: dict[int, Attached] = {}
    for entry in text.split(",") if text.strip() else ():
        split = _ENTRY.fullmatch(entry)
        if split is None:
            raise ImpossibleConnection(f"{entry.strip()[:40]}: expected port=target")
        port = int(split[1])
        if not 1 <= port <= ports:
            raise ImpossibleConnection(f"port {port}: there are 1 to {ports}")
        if port in found:
            raise ImpossibleConnection(f"port {port} named twice")
        found[port] = parse_target(split[2])
    _check(found)
    return dict(sorted(found.items()))


def parse_target(text: str) -> Attached:
    """Return what ``A:12.1``, ``open`` or ``thru 3`` means.

    Raises
    ------
    ImpossibleConnection
        It means nothing.
    """
    if text in _STANDARDS:
        return Attached(_STANDARDS[text], text)
    thru = _THRU.fullmatch(text)
    if thru is not None:
        return Attached("thru", f"thru {int(thru[1])}", port=int(thru[1]))
    leg = _LEG.fullmatch(text)
    if leg is None or leg[2] not in _PAIRS or leg[3] not in leg[2]:
        raise ImpossibleConnection(f"{text[:40]}: no such target")
    return Attached("leg", text, conductor=leg[1] + leg[3])


def _check(found: Mapping[int, Attached]) -> None:
    legs: dict[str, int] = {}
    for port, attached in found.items():
        if attached.kind == "leg" and legs.setdefault(attached.conductor, port) != port:
            raise ImpossibleConnection(f"{attached.text} at ports {legs[attached.conductor]} and {port}")
        if attached.kind == "thru":
            other = found.get(attached.port)
            if attached.port == port or other is None or other.kind != "thru" or other.port != port:
                raise ImpossibleConnection(f"port {port}: {attached.text} does not come back")


def format_connections(found: Mapping[int, Attached]) -> str:
    """Return `found` in the form that `parse_connections` reads, ports rising."""
    return ",".join(f"{port}={attached.text}" for port, attached in sorted(found.items()))
