"""Which traces a four-pair specimen has of a parameter, and why one may be missing."""

from __future__ import annotations

from itertools import combinations, permutations

from benchsweep.limits._adjust import Key
from benchsweep.records import FOUR_PAIRS, End, Parameter

__all__ = ["expected_keys", "why_missing"]

_ENDS: tuple[End, ...] = ("A", "B")
_ORDERED = frozenset({Parameter.FEXT, Parameter.ACR_N, Parameter.ACR_F})
_WITHOUT_END = frozenset({Parameter.DELAY, Parameter.SKEW})
_CONVERSION = frozenset({Parameter.TCL, Parameter.ELTCTL})
_COMBINED = frozenset({Parameter.NEXT, Parameter.SKEW})
_AVERAGES = frozenset({Parameter.PS_ANEXT_AVERAGE, Parameter.PS_AACR_F_AVERAGE})
_ALIEN = frozenset({Parameter.PS_ANEXT, Parameter.PS_AACR_F}) | _AVERAGES


def expected_keys(parameter: Parameter) -> tuple[Key, ...]:
    """Return the end and pairs of every trace that a four-pair specimen has of `parameter`."""
    groups: tuple[tuple[str, ...], ...] = tuple((pair,) for pair in FOUR_PAIRS)
    if parameter in _ORDERED:
        groups = tuple(permutations(FOUR_PAIRS, 2))
    elif parameter in _COMBINED:
        groups = tuple(combinations(FOUR_PAIRS, 2))
    elif parameter in _AVERAGES:
        groups = (FOUR_PAIRS,)
    ends: tuple[End | None, ...] = (None,) if parameter in _WITHOUT_END else _ENDS
    return tuple((parameter, end, pairs) for end in ends for pairs in groups)


def why_missing(parameter: Parameter) -> str:
    """Return why there is no trace of a parameter, in words."""
    if parameter in _WITHOUT_END:
        return "not measured, or the frequency step is too coarse to tell the delay: give the length"
    if parameter in _CONVERSION:
        return "not measured: that takes the common mode, through direct contacts or baluns with taps"
    if parameter in _ALIEN:
        return "not measured: that takes a bundle, every disturbing cable with all its pairs at that end"
    return "not measured"
