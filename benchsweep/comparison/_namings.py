"""What a tester's names of pairs and ends may really mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

from benchsweep.comparison._names import Key
from benchsweep.records import FOUR_PAIRS, End, Parameter

__all__ = ["Naming", "all_namings"]

_ORDERED = frozenset({Parameter.FEXT, Parameter.ACR_F, Parameter.ACR_N})
_OTHER_END: dict[End, End] = {"A": "B", "B": "A"}


@dataclass(frozen=True, slots=True)
class Naming:
    """What the tester's names really mean.

    Parameters
    ----------
    at_a, at_b
        For 12, 36, 45, 78 as the tester calls it the real pair, at each end as the tester calls it.
    ends
        Its A is really B.
    turned
        Of a combination at the far end it names the disturbing pair first.
    """

    at_a: tuple[str, ...] = FOUR_PAIRS
    at_b: tuple[str, ...] = FOUR_PAIRS
    ends: bool = False
    turned: bool = False

    def of(self, key: Key) -> Key | None:
        """Return the real name; None: it has none, because the two ends differ and it belongs to both."""
        return _real_name(self, key)

    @property
    def weight(self) -> int:
        """How much it assumes: of namings that fit alike the simplest is meant."""
        moved = sum(a != b for side in (self.at_a, self.at_b) for a, b in zip(side, FOUR_PAIRS, strict=True))
        return moved + 3 * self.ends + 3 * self.turned + 4 * (self.at_a != self.at_b)

    @property
    def pairs(self) -> tuple[str, ...]:
        """The pairs that it gives other names."""
        return tuple(
            pair
            for pair, a, b in zip(FOUR_PAIRS, self.at_a, self.at_b, strict=True)
            if pair not in (a, b) or a != b
        )

    @property
    def words(self) -> str:
        """Return what it means in words."""
        parts = []
        if self.at_a == self.at_b and self.at_a != FOUR_PAIRS:
            parts.append(_renamed(self.at_a))
        elif self.at_a != self.at_b:
            for end, real in (("A", self.at_a), ("B", self.at_b)):
                if real != FOUR_PAIRS:
                    parts.append(f"{_renamed(real)} at end {end} only")
        if self.ends:
            parts.append("ends A and B exchanged")
        if self.turned:
            parts.append("disturbed and disturbing pair exchanged in the parameters of the far end")
        return " and ".join(parts) or "the names as they are"


@lru_cache(maxsize=65536)
def _real_name(naming: Naming, key: Key) -> Key | None:
    parameter, end, pairs = key
    if end is None and naming.at_a != naming.at_b:
        return None
    real = naming.at_b if end == "B" else naming.at_a
    named = tuple(real[FOUR_PAIRS.index(pair)] for pair in pairs)
    if naming.turned and parameter in _ORDERED:
        named = named[::-1]
    return parameter, _OTHER_END[end] if naming.ends and end is not None else end, named


def _renamed(real: Sequence[str]) -> str:
    moved = {told: meant for told, meant in zip(FOUR_PAIRS, real, strict=True) if told != meant}
    if len(moved) == 2:
        return f"pairs {' and '.join(moved)} exchanged"
    return "pairs exchanged (" + ", ".join(f"its {told} is {meant}" for told, meant in moved.items()) + ")"


def all_namings() -> tuple[Naming, ...]:
    """Return every naming that is tried, the simplest first; the first is the names as they are."""
    found = [
        Naming(order, order, ends, turned)
        for order in permutations(FOUR_PAIRS)
        for ends in (False, True)
        for turned in (False, True)
    ]
    for order in permutations(FOUR_PAIRS):
        if order != FOUR_PAIRS:
            found += [Naming(at_a=order), Naming(at_b=order)]
    return tuple(sorted(found, key=lambda naming: naming.weight))
