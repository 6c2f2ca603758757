"""Places and findings in the words of a technician."""

from __future__ import annotations

from collections.abc import Iterable

from benchsweep.cabling._words import contact_words, listed, pair_words
from benchsweep.records import FOUR_PAIRS, End

__all__ = ["at_an_end", "contacts_words", "pairs_words", "place_words"]

# Nearer than this a place is that of the plug: connector, strain relief and the resolution of the sweep.
_PLUG_M = 0.25
_PLUG_PART = 0.02
_POINT_M = 0.15


def at_an_end(at_m: float, length_m: float, part: float = _PLUG_PART, least_m: float = _PLUG_M) -> End | None:
    """Return the end in whose plug a place is, within what can be told apart; None between the plugs.

    A place may be off by `part` of the length, and by `least_m`.
    """
    near = min(max(least_m, part * length_m), 0.3 * length_m)
    if at_m <= near:
        return "A"
    return "B" if at_m >= length_m - near else None


def place_words(end: End | None, from_m: float | None, to_m: float | None) -> str:
    """Return ``at the plug of end A``, ``between 1.2 and 1.5 m from end A``, or nothing."""
    if end is not None:
        return f"at the plug of end {end}"
    if from_m is None or to_m is None:
        return "at a place that cannot be told"
    if to_m - from_m < _POINT_M:
        return f"about {0.5 * (from_m + to_m):.1f} m from end A"
    return f"between {from_m:.1f} and {to_m:.1f} m from end A"


def pairs_words(pairs: Iterable[str]) -> str:
    """Return ``pair 1-2``, ``pairs 1-2 and 3-6`` or ``all pairs``."""
    named = [pair for pair in FOUR_PAIRS if pair in set(pairs)]
    if len(named) == len(FOUR_PAIRS):
        return "all pairs"
    return f"pair{'s' if len(named) > 1 else ''} {listed(pair_words(pair) for pair in named)}"


def contacts_words(contacts: Iterable[int]) -> str:
    """Return ``contact 4 (pair 4-5) and contact 7 (pair 7-8)``."""
    return listed(contact_words(contact) for contact in contacts)
