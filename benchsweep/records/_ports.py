from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
    "parse_leg",
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
    """Where one pair can be reached: an end of the specimen and the contacts of the pair. Label ``A:12``."""

    end: End
    pair: str

    def __post_init__(self) -> None:
        if self.end not in ("A", "B") or self.pair not in CONTACTS_OF_PAIR:
            raise ValueError(f"no balanced port {self.end}:{self.pair}")

    def __str__(self) -> str:
        return f"{self.end}:{self.pair}"

    @property
    def legs(self) -> tuple[Leg, Leg]:
        """The two legs, positive first."""
        plus, minus = CONTACTS_OF_PAIR[self.pair]
        return Leg(self, plus), Leg(self, minus)


@dataclass(frozen=True, slots=True, order=True)
class Leg:
    """One conductor at one end. Label ``A:36.6``: end A, pair 3-6, contact 6."""

    port: BalancedPort
    contact: int

    def __post_init__(self) -> None:
        if self.contact not in CONTACTS_OF_PAIR[self.port.pair]:
            raise ValueError(f"contact {self.contact} is not of pair {self.port.pair}")

    def __str__(self) -> str:
        return f"{self.port}.{self.contact}"


@dataclass(frozen=True, slots=True, order=True)
class ModePort:
    """One mode of a balanced port. Label ``A:12/d`` (differential) or ``A:12/c`` (common)."""

    port: BalancedPort
    mode: Mode

    def __str__(self) -> str:
        return f"{self.port}/{self.mode}"


def balanced_ports(pairs: tuple[str, ...] = FOUR_PAIRS) -> tuple[BalancedPort, ...]:
    """Return the balanced ports of `pairs`, all of end A, then all of end B.

    Examples
    --------
    >>> [str(p) for p in balanced_ports(("12", "36"))]
    ['A:12', 'A:36', 'B:12', 'B:36']
    """
    return tuple(BalancedPort(end, pair) for end in ("A", "B") for pair in pairs)


def parse_leg(label: str) -> Leg:
    """Read a leg label such as ``A:36.6``.

    Raises
    ------
    ValueError
        Not a leg label.

    Examples
    --------
    >>> parse_leg("B:45.5").port.pair
    '45'
    """
    end, colon, rest = label.partition(":")
    pair, dot, contact = rest.partition(".")
    if not colon or not dot or end not in ("A", "B") or contact not in list("12345678"):
        raise ValueError(f"not a leg label: {label!r} (expected for example A:36.6)")
    return Leg(BalancedPort("A" if end == "A" else "B", pair), int(contact))
