"""Crosstalk at the ends: pairs untwisted behind a plug, and plugs that the jack does not take back."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from benchsweep.cabling._losses import ENDS
from benchsweep.cabling.faults._along import Along
from benchsweep.cabling.faults._words import pairs_words
from benchsweep.records import FOUR_PAIRS, End, Fault

__all__ = ["find_plug_faults", "lumped_crosstalk"]

# The combinations whose blades are neighbours, in a row of eight with pair 3-6 astride pair 4-5. The sign is
# that of their coupling against that of 3-6 to 4-5, with the first contact of each pair as positive leg:
# geometry. A short coupling T makes NEXT of 2 pi f T.
_SIGN = {("36", "45"): 1.0, ("12", "36"): -1.0, ("36", "78"): -1.0}
# NEXT at 100 MHz, in dB, of what couples at one end. Untwisted pairs couple like the plug itself does (about
# 37 dB for 3-6 to 4-5, 6 dB less for the others: test plugs of TIA-568, from memory); half of that is more
# than a plug out of its window leaves over.
_UNTWISTED_DB = {("36", "45"): 40.5, ("12", "36"): 46.5, ("36", "78"): 46.5}
_UNTWISTED_OTHER_DB = 46.5
# What a jack leaves over of a plug inside its window, a mated connection: 54 dB (category 6 connecting
# hardware, TIA-568); some cable is in the resolution, so a little more is asked, and all three combinations
# must show it with the signs of a plug.
_PLUG_DB, _PLUG_OTHER_DB, _PLUG_SUM_S = 53.5, 62.0, 7.5e-12
# One combination alone, and what its neighbours may show of it.
_ALONE_DB, _ALONE_PART = 49.0, 0.35
_AT_PLUG_M = (-0.04, 0.09)
# To what a connection may leave over (54 dB, category 6 connecting hardware) comes what couples in the cable
# over the length that cannot be told apart: about four standard deviations, in medians.
_CONNECTION_DB, _OVER_CABLE, _CABLE_M = 54.0, 6.0, (0.4, 3.0)


def _seconds(db: float) -> float:
    """Return T of a NEXT of so many dB at 100 MHz."""
    return float(10.0 ** (-db / 20.0) / (2.0 * math.pi * 100e6))


def _db(seconds: float) -> float:
    return -20.0 * math.log10(max(abs(seconds), 1e-18) * 2.0 * math.pi * 100e6)


def lumped_crosstalk(along: Along, end: End) -> dict[tuple[str, str], tuple[float, float]]:
    """Return combination -> what couples at the plug of `end`, in seconds with its sign, and where in metres.

    S = j w T exp(-2 gamma x): the largest value within some centimetres of the plane.
    """
    found = {}
    x = along.plug_m
    near = (x >= _AT_PLUG_M[0]) & (x <= max(_AT_PLUG_M[1], 0.45 * along.resolution_m))
    for p, q in combinations(FOUR_PAIRS, 2):
        if p in along.pair_loss and q in along.pair_loss:
            profile = along.lump_s(end, p, q, x)
            if profile is not None:
                k = int(np.argmax(np.where(near, np.abs(profile), -1.0)))
                found[p, q] = float(profile[k]), float(x[k])
    return found


def find_plug_faults(along: Along, *, leave_out: frozenset[str] = frozenset()) -> list[Fault]:
    """Return what is wrong with the crosstalk at either end, at most one fault for an end."""
    found = []
    for end in ENDS:
        lumps = {
            pairs: value
            for pairs, value in lumped_crosstalk(along, end).items()
            if not leave_out.intersection(pairs)
        }
        fault = _untwisted(along, end, lumps) or _out_of_window(along, end, lumps)
        if fault is not None:
            found.append(fault)
    return found


Lumps = dict[tuple[str, str], tuple[float, float]]


def _place(along: Along, end: End) -> float:
    return 0.0 if end == "A" else along.length_m


def _figure(pairs: tuple[str, str], value: tuple[float, float], limit_db: float) -> str:
    return (
        f"NEXT {pairs[0]}-{pairs[1]} of what couples {100.0 * max(value[1], 0.0):.0f} cm behind the plane: "
        f"{_db(value[0]):.1f} dB at 100 MHz; good above {limit_db:g} dB"
    )


def _in_cable(along: Along, end: End) -> float:
    """Return the median of what couples between 3-6 and 4-5 in the cable, in seconds."""
    reach = min(_CABLE_M[1], 0.6 * along.length_m)
    profile = along.lump_s(end, "36", "45", np.arange(min(_CABLE_M[0], 0.3 * along.length_m), reach, 0.05))
    return 0.0 if profile is None else float(np.median(np.abs(profile)))


def _untwisted(along: Along, end: End, lumps: Lumps) -> Fault | None:
    limit_db = _UNTWISTED_DB
    high = {
        pairs: value
        for pairs, value in lumps.items()
        if abs(value[0]) > _seconds(limit_db.get(pairs, _UNTWISTED_OTHER_DB))
    }
    # Where 3-6 to 4-5 is above what a connection leaves over and its neighbours are as they should be, it is
    # not the plug either: that would couple all of its neighbouring blades.
    middle = lumps.get(("36", "45"))
    if not high and middle is not None and middle[0] > _seconds(_ALONE_DB):
        least = max(_seconds(_ALONE_DB), _seconds(_CONNECTION_DB) + _OVER_CABLE * _in_cable(along, end))
        others = [abs(lumps[pairs][0]) for pairs in (("12", "36"), ("36", "78")) if pairs in lumps]
        neighbours = min(_seconds(_PLUG_DB), _ALONE_PART * middle[0])
        if others and middle[0] > least and max(others) < neighbours:
            high, limit_db = {("36", "45"): middle}, {("36", "45"): round(_db(least), 1)}
    if not high:
        return None
    concerned = {pair for pairs in high for pair in pairs}
    pairs = tuple(pair for pair in FOUR_PAIRS if pair in concerned)
    evidence = [
        _figure(combination, value, limit_db.get(combination, _UNTWISTED_OTHER_DB))
        for combination, value in high.items()
    ]
    at = _place(along, end)
    words = (
        f"untwisted too far: {pairs_words(pairs)} at the plug of end {end}; keep the twist up to the contacts"
    )
    return Fault("untwist", end, pairs, (), at, at, words, tuple(evidence))


def _out_of_window(along: Along, end: End, lumps: Lumps) -> Fault | None:
    if any(pairs not in lumps for pairs in _SIGN):
        return None
    signed = {pairs: sign * lumps[pairs][0] for pairs, sign in _SIGN.items()}
    middle = signed["36", "45"]
    alike = all(value * middle > 0.0 for value in signed.values())
    strong = abs(middle) > _seconds(_PLUG_DB) and all(
        abs(value) > _seconds(_PLUG_OTHER_DB) for value in signed.values()
    )
    if not (alike and strong and abs(sum(signed.values())) > _PLUG_SUM_S):
        return None
    more = "too much" if middle > 0.0 else "too little"
    at = _place(along, end)
    words = (
        f"plug out of its window: the plug of end {end} couples {more} for its jack, between all of its "
        "neighbouring pairs; replace the plug"
    )
    evidence = [_figure(pairs, lumps[pairs], _PLUG_DB if pairs == ("36", "45") else _PLUG_OTHER_DB)
                for pairs in _SIGN]  # fmt: skip
    evidence.append(
        "3-6 to 4-5 against its neighbours with the signs of eight blades in a row: the plug, not the cable"
    )
    return Fault("plug", end, FOUR_PAIRS, (), at, at, words, tuple(evidence))
