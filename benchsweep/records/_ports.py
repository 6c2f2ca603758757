from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

__all__ = [
    "CONTACTS_OF_PAIR",
    "FOUR_PAIRS",
    "BalancedPort",
    "End",
    "Leg",
    "Mode",
    "ModePort",
    "balanced_ports",
    "balanced_ports_among",
    "parse_leg",
    "parse_mode",
    "parse_port",
]

End = Literal["A", "B"]
Mode = Literal["d", "c"]

CONTACTS_OF_PAIR: Mapping[str, tuple[int, int]] = MappingProxyType(
    {"12": (1, 2), "36": (3, 6), "45": (4, 5), "78": (7, 8)}
)
"""The two contacts of each pair of an eight-position connector, positive leg first."""

FOUR_PAIRS: tuple[str, ...] = tuple(CONTACTS_OF_PAIR)
"""The pairs in the order in which they are listed everywhere."""


@dataclass(frozen=True, slots=True, order=True)
class BalancedPort:
    """Where one pair can be reached: an end of a cable and the contacts of the pair. Label ``A:12``.

    `cable` 0 is the specimen, in a bundle the disturbed cable; 1 and up are the disturbing cables beside it,
    whose number stands before the end: ``3.A:12``.
    """

    end: End
    pair: str
    cable: int = 0

    def __post_init__(self) -> None:
        if self.end not in ("A", "B") or self.pair not in CONTACTS_OF_PAIR or self.cable < 0:
            raise ValueError(f"no balanced port {self}")

    def __str__(self) -> str:
        return f"{self.cable}.{self.end}:{self.pair}" if self.cable else f"{self.end}:{self.pair}"

    @property
    def legs(self) -> tuple[Leg, Leg]:
        """The two legs, positive first."""
        plus, minus = CONTACTS_OF_PAIR[self.pair]
        return Leg(self, plus), Leg(self, minus)


@dataclass(frozen=True, slots=True, order=True)
class Leg:
    """One conductor at one end. Label ``A:36.6``: end A, pair 3-6, contact 6; of cable 3: ``3.A:36.6``."""

    port: BalancedPort
    contact: int

    def __post_init__(self) -> None:
        if self.contact not in CONTACTS_OF_PAIR[self.port.pair]:
            raise ValueError(f"contact {self.contact} is not of pair {self.port.pair}")

    def __str__(self) -> str:
        return f"{self.port}.{self.contact}"


@dataclass(frozen=True, slots=True, order=True)
class ModePort:
    """One mode of a balanced port. Label ``A:12/d`` (differential) or ``A:12/c`` (common); ``3.A:12/d``."""

    port: BalancedPort
    mode: Mode

    def __str__(self) -> str:
        return f"{self.port}/{self.mode}"


def balanced_ports(pairs: tuple[str, ...] = FOUR_PAIRS, cable: int = 0) -> tuple[BalancedPort, ...]:
    """Return the balanced ports of `pairs` of one cable, all of end A, then all of end B.

    Examples
    --------
    >>> [str(p) for p in balanced_ports(("12", "36"))]
    ['A:12', 'A:36', 'B:12', 'B:36']
    >>> [str(p) for p in balanced_ports(("12",), cable=3)]
    ['3.A:12', '3.B:12']
    """
    return tuple(BalancedPort(end, pair, cable) for end in ("A", "B") for pair in pairs)


def balanced_ports_among(labels: Iterable[str]) -> tuple[BalancedPort, ...]:
    """Return the balanced ports that legs or modes among `labels` belong to, each once.

    The specimen first, then cable by cable; of each end A before end B in the order 12, 36, 45, 78. Labels
    that are neither legs nor modes are left out.

    Examples
    --------
    >>> [str(p) for p in balanced_ports_among(["3.B:12.1", "A:78.7", "A:36.3", "A:36.6", "load"])]
    ['A:36', 'A:78', '3.B:12']
    """
    return _among(tuple(labels))


@lru_cache(maxsize=256)
def _among(labels: tuple[str, ...]) -> tuple[BalancedPort, ...]:
    found: set[BalancedPort] = set()
    for label in labels:
        with suppress(ValueError):
            found.add(parse_mode(label).port if "/" in label else parse_leg(label).port)
    return tuple(sorted(found, key=lambda port: (port.cable, port.end, FOUR_PAIRS.index(port.pair))))


def parse_port(label: str) -> BalancedPort:
    """Read the label of a balanced port such as ``A:36``, or ``3.A:36`` of disturbing cable 3.

    Raises
    ------
    ValueError
        Not such a label. There is one way to write each: ``0.A:36`` and ``03.A:36`` are none.

    Examples
    --------
    >>> parse_port("3.A:36").cable
    3
    """
    head, colon, pair = label.partition(":")
    number, dot, end = head.rpartition(".")
    whole = not dot or (number.isascii() and number.isdigit() and not number.startswith("0"))
    if not colon or not whole or end not in ("A", "B") or pair not in CONTACTS_OF_PAIR:
        raise ValueError(f"not the label of a balanced port: {label!r} (expected for example A:36 or 3.A:36)")
    return BalancedPort("A" if end == "A" else "B", pair, int(number) if dot else 0)


def parse_leg(label: str) -> Leg:
    """Read a leg label such as ``A:36.6``, or ``3.A:36.6`` of disturbing cable 3.

    Raises
    ------
    ValueError
        Not a leg label.

    Examples
    --------
    >>> parse_leg("B:45.5").port.pair
    '45'
    >>> parse_leg("2.B:45.5").port.cable
    2
    """
    head, colon, rest = label.partition(":")
    pair, dot, contact = rest.partition(".")
    if not colon or not dot or contact not in list("12345678"):
        raise ValueError(f"not a leg label: {label!r} (expected for example A:36.6 or 3.A:36.6)")
    try:
        return Leg(parse_port(f"{head}:{pair}"), int(contact))
    except ValueError as error:
        raise ValueError(f"not a leg label: {label!r}: {error}") from None


def parse_mode(label: str) -> ModePort:
    """Read a mode label such as ``A:36/d``, or ``3.A:36/d`` of disturbing cable 3.

    Raises
    ------
    ValueError
        Not a mode label.

    Examples
    --------
    >>> parse_mode("B:45/c").mode
    'c'
    """
    port, slash, mode = label.partition("/")
    if not slash or mode not in ("d", "c"):
        raise ValueError(f"not a mode label: {label!r} (expected for example A:36/d or 3.A:36/d)")
    return ModePort(parse_port(port), "d" if mode == "d" else "c")
