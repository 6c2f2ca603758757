"""The words for what is attached to the analyzer ports: ``1=A:12.1,2=open,3=thru 4,4=thru 3``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "BALANCED_PORTS",
    "PLAIN",
    "Attached",
    "ImpossibleConnection",
    "Offer",
    "cable_of",
    "check_legs",
    "format_connections",
    "is_balanced_port",
    "legs_of",
    "parse_connections",
    "parse_target",
    "split_entries",
]

Kind = Literal["leg", "mode", "one-port", "two-port", "exchange", "check", "nothing", "joined"]

_ONE_PORTS = ("open", "short", "load", "reflect")
_PAIRS = ("12", "36", "45", "78")
BALANCED_PORTS = tuple(f"{end}:{pair}" for end in "AB" for pair in _PAIRS)
_ENTRY = re.compile(r"\s*([^=\s]+)\s*=\s*(.*?)\s*")
_PORT = re.compile(r"\d{1,4}")
# Disturbing cables of a bundle have a number before the end; the specimen, or the disturbed cable, has none.
_CABLE = r"(?:[1-9]\d{0,2}\.)?"
_BALANCED = re.compile(rf"{_CABLE}({'|'.join(BALANCED_PORTS)})")
_LEG = re.compile(rf"({_CABLE}[AB]:(\d\d))\.(\d)")
_MODE = re.compile(rf"({_CABLE}[AB]:\d\d)/([dc])")
_TO_PORT = re.compile(r"([a-z]+(?:-\d+)?)\s+(\d{1,4})")
_CHECK = re.compile(r"check\s+(\S+)\s+(\S+)")


class ImpossibleConnection(ValueError):
    """The connection cannot be made; the text says why."""


@dataclass(frozen=True, slots=True)
class Offer:
    """What a bench has to attach.

    Parameters
    ----------
    two_ports
        Names of the standards with two ends.
    artefacts
        Name of each check standard -> its legs (``A1`` … ``B8``).
    """

    two_ports: tuple[str, ...] = ("thru",)
    artefacts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


PLAIN = Offer()


@dataclass(frozen=True, slots=True, order=True)
class Attached:
    """What is attached to one port.

    Parameters
    ----------
    kind
        A leg or a mode of the specimen, a standard with one or two ends, a check standard, or nothing.
    text
        As it is spelled, without ``port=``.
    conductor
        For a leg, also one of a check standard: ``A1`` … ``B8``; of a disturbing cable ``3.A1`` … ``3.B8``.
    port
        For a standard with two ends: the port at the other one.
    name
        Of the standard or check standard.
    balanced, mode
        For a mode, also one of a check standard: the balanced port (``A:12``), and ``d`` or ``c``.
    node, targets
        For a port that relays join with others or with several targets: number of the node that they make,
        and what hangs on it, spelled as a target each.
    """

    kind: Kind
    text: str = ""
    conductor: str = ""
    port: int = 0
    name: str = ""
    balanced: str = ""
    mode: str = ""
    node: int = 0
    targets: tuple[str, ...] = ()

    @property
    def conductors(self) -> tuple[str, ...]:
        """The conductors of the specimen that it leads to."""
        if self.kind == "leg":
            return (self.conductor,)
        if self.kind == "mode":
            return legs_of(self.balanced)
        return tuple(leg.conductor for text in self.targets if (leg := parse_target(text)).kind == "leg")


def legs_of(balanced: str) -> tuple[str, str]:
    """Return the positive and the negative conductor (``A1``, ``A2``) of a balanced port (``A:12``).

    Those of ``3.A:12``, of a disturbing cable, are ``3.A1`` and ``3.A2``.
    """
    end, pair = balanced.split(":")
    return end + pair[0], end + pair[1]


def is_balanced_port(text: str) -> bool:
    """Return whether `text` names a balanced port, of the specimen or of a disturbing cable (``3.A:12``)."""
    return _BALANCED.fullmatch(text) is not None


def cable_of(conductor: str) -> int:
    """Return the number of the cable of a conductor; 0: of the specimen, or the disturbed cable."""
    number, dot, _ = conductor.rpartition(".")
    return int(number) if dot else 0


def split_entries(text: str) -> list[tuple[str, str]]:
    """Return what stands before and behind the ``=`` of each entry of a list with commas.

    Raises
    ------
    ImpossibleConnection
        An entry without ``=``.
    """
    found = []
    for entry in text.split(",") if text.strip() else ():
        split = _ENTRY.fullmatch(entry)
        if split is None:
            raise ImpossibleConnection(f"{entry.strip()[:40]}: expected port=target")
        found.append((split[1], split[2]))
    return found


def parse_connections(text: str, ports: int, offer: Offer = PLAIN) -> dict[int, Attached]:
    """Return what `text` attaches to which port. Whether the wiring of a bench allows it is not looked at.

    Raises
    ------
    ImpossibleConnection
        Bad words, a port or leg used twice, or a standard with two ends that does not come back.
    """
    found: dict[int, Attached] = {}
    for where, target in split_entries(text):
        if _PORT.fullmatch(where) is None:
            raise ImpossibleConnection(f"{where[:40]}={target[:40]}: expected port=target")
        port = int(where)
        if not 1 <= port <= ports:
            raise ImpossibleConnection(f"port {port}: there are 1 to {ports}")
        if port in found:
            raise ImpossibleConnection(f"port {port} named twice")
        found[port] = parse_target(target, offer)
    check_legs(found)
    _check_ends(found)
    return dict(sorted(found.items()))


def parse_target(text: str, offer: Offer = PLAIN) -> Attached:
    """Return what ``A:12.1``, ``A:12/d``, ``open``, ``line-1 3`` or ``check pad A:12.1`` means.

    Raises
    ------
    ImpossibleConnection
        It means nothing, or the bench has no such standard.
    """
    if text in _ONE_PORTS:
        return Attached("one-port", text, name=text)
    two = _TO_PORT.fullmatch(text)
    if two is not None and two[1] in (*offer.two_ports, "exchange"):
        kind: Kind = "exchange" if two[1] == "exchange" else "two-port"
        return Attached(kind, f"{two[1]} {int(two[2])}", port=int(two[2]), name=two[1])
    check = _CHECK.fullmatch(text)
    if check is not None:
        return _check_standard(check[1], check[2], offer)
    found = _part(text)
    if found is None:
        raise ImpossibleConnection(f"{text[:40]}: no such target")
    return found


def _part(text: str) -> Attached | None:
    """Return a leg or a mode."""
    leg = _LEG.fullmatch(text)
    if leg is not None and is_balanced_port(leg[1]) and leg[3] in leg[2]:
        return Attached("leg", text, conductor=leg[1].partition(":")[0] + leg[3])
    mode = _MODE.fullmatch(text)
    if mode is not None and is_balanced_port(mode[1]):
        return Attached("mode", text, balanced=mode[1], mode=mode[2])
    return None


def _check_standard(name: str, part: str, offer: Offer) -> Attached:
    if name not in offer.artefacts:
        raise ImpossibleConnection(f"check {name[:40]}: no such check standard")
    found = _part(part)
    wanted = found and (legs_of(found.balanced) if found.kind == "mode" else (found.conductor,))
    if found is None or not set(wanted or ()) <= set(offer.artefacts[name]):
        raise ImpossibleConnection(f"check {name[:40]} {part[:40]}: it has no such leg")
    return Attached(
        "check",
        f"check {name} {found.text}",
        conductor=found.conductor,
        name=name,
        balanced=found.balanced,
        mode=found.mode,
    )


def check_legs(found: Mapping[int, Attached]) -> None:
    """Raise ImpossibleConnection where one leg or mode is at two ports."""
    used: dict[tuple[str, str], int] = {}
    for port, attached in found.items():
        if attached.kind in ("leg", "mode", "check"):
            key = attached.name, attached.text
            if used.setdefault(key, port) != port:
                raise ImpossibleConnection(f"{attached.text} at ports {used[key]} and {port}")


def _check_ends(found: Mapping[int, Attached]) -> None:
    for port, attached in found.items():
        if attached.kind in ("two-port", "exchange"):
            other = found.get(attached.port)
            if (
                attached.port == port
                or other is None
                or (other.kind, other.name, other.port) != (attached.kind, attached.name, port)
            ):
                raise ImpossibleConnection(f"port {port}: {attached.text} does not come back")


def format_connections(found: Mapping[int, Attached]) -> str:
    """Return `found` in the form that `parse_connections` reads, ports rising."""
    return ",".join(f"{port}={attached.text}" for port, attached in sorted(found.items()))
