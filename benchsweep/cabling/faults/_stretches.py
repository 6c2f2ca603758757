"""Stretches of changed impedance: crushed or wet where all pairs share them, a kink where one pair is."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling.faults._along import Along
from benchsweep.cabling.faults._words import at_an_end, pairs_words, place_words
from benchsweep.records import FOUR_PAIRS, End, Fault

__all__ = ["find_kinks", "find_stretches"]

Row = NDArray[np.float64]

# The mean of all pairs wanders by about 1 % along a good cable, as their structures are not alike.
_EDGE, _SHARED = 0.035, 0.4
_FEWEST_PAIRS = 2
# What begins nearer to a plug begins at it.
_EDGE_FROM_M = 0.15
# Behind this distance from an end a plug's dip, about 5 % at a resolution of 0.2 m, may have ended; by the
# second it has.
_PLUG_BEHIND_M, _PLUG_REACH_M = 0.1, 0.55
# Squeezed is a point; water creeps along. A connection on the way, of good plugs and jacks, is a dip of up to
# 5 % too, over the resolution.
_LONGEST_CRUSH_M, _CRUSH = 0.4, 0.057
# With a coarser resolution than the second figure what is no longer than so many times it may be either.
_WIDTHS, _TELLING_M = 1.15, 0.45
# From such a dip on it is taken for a connection, where balance is that of a plug.
_CONNECTION = 0.02
# The common mode is some percent faster, so what it brings back seems nearer than it is.
_COMMON_FASTER = 0.05
# One pair alone wanders by about 2 %, and its unbalance over the resolution of 0.2 m by a third of this.
_ONE_PAIR, _UNBALANCE, _OVER_MEDIAN = 0.055, 0.0115, 4.5
# At the plug both are larger.
_AT_PLUG_UNBALANCE = 0.026
_AT_PLUG_M = 0.3
# Loss in the insulation that grows with frequency: dry polyethylene has a loss tangent below 0.002, cords of
# PVC and the mismatch of plugs add to what is fitted; wet insulation has 0.004 and more.
_DRY_TAN, _WET_TAN, _STRETCH_TAN, _LEAST_EXCESS_DB = 0.001, 0.0036, 0.0035, 1.0


@dataclass(frozen=True, slots=True)
class _Stretch:
    from_m: float
    to_m: float
    change: float
    pairs: tuple[str, ...]


def _profiles(along: Along, leave_out: Collection[str]) -> dict[str, Row]:
    found = {}
    for pair in FOUR_PAIRS:
        if pair in along.pair_loss and pair not in leave_out:
            profile = along.impedance(pair)
            if profile is not None:
                found[pair] = profile
    return found


def _without_plugs(along: Along, profile: Row) -> Row:
    """Return a profile with the dips of both plugs taken away, as far as they are alike.

    Seen from its own end each plug has the same dip; what one end has more than the other stays.
    """
    x, length = along.distance_m, along.length_m
    reach = min(_PLUG_REACH_M, 0.45 * length)
    own = np.arange(0.0, reach, 0.5 * (x[1] - x[0]))
    at_a, at_b = np.interp(own, x, profile), np.interp(length - own, x, profile)
    # Against the reference impedance in front of each plug.
    at_a, at_b = at_a - profile[0], at_b - profile[-1]
    less = np.maximum(at_a, at_b)
    # A plug ends where the profile has come back from its dip; what lies behind is cable.
    behind = int(np.argmax(np.where(own > _PLUG_BEHIND_M, less, -np.inf)))
    less = np.minimum(less - less[behind], 0.0)
    less[behind:] = 0.0
    taken = np.interp(x, own, less, left=less[0], right=0.0) + np.interp(
        length - x, own, less, left=less[0], right=0.0
    )
    return np.asarray(profile - taken)


def _edges(along: Along, profile: Row, sign: float) -> list[tuple[float, float]]:
    """Return places and heights where a profile falls (`sign` -1) or rises (+1) by more than a good one."""
    x = along.distance_m
    edge = sign * along.edge(profile, along.resolution_m)
    inside = (x > _EDGE_FROM_M) & (x < along.length_m - _EDGE_FROM_M)
    found: list[tuple[float, float]] = []
    above = np.flatnonzero(inside & (edge > _EDGE))
    if above.size:
        for run in np.split(above, np.flatnonzero(np.diff(above) > 1) + 1):
            k = int(run[np.argmax(edge[run])])
            found.append((float(x[k]), float(edge[k])))
    return found


def _level(along: Along, profile: Row, from_m: float, to_m: float) -> float:
    x = along.distance_m
    within = (x >= from_m) & (x <= to_m)
    return float(np.median(profile[within])) if within.any() else float(np.interp(from_m, x, profile))


def _half_width(along: Along, profile: Row, fall_m: float, rise_m: float) -> tuple[float, float, float]:
    """Return where a dip is half as deep as at its deepest, and its change against what is beside it."""
    x, r = along.distance_m, along.resolution_m
    beside = 0.5 * (
        _level(along, profile, fall_m - 2.0 * r, fall_m - r)
        + _level(along, profile, rise_m + r, rise_m + 2.0 * r)
    )
    inner = profile - beside
    within = np.flatnonzero((x >= fall_m - r) & (x <= rise_m + r))
    deepest = float(inner[within].min())
    middle = (
        _level(along, inner, fall_m + 0.7 * r, rise_m - 0.7 * r) if rise_m - fall_m > 2.0 * r else deepest
    )
    below = within[inner[within] <= 0.5 * middle]
    return float(x[below[0]]), float(x[below[-1]]), middle


def find_stretches(
    along: Along, *, leave_out: Collection[str] = (), busy: Collection[End] = ()
) -> list[Fault]:
    """Return crushed and wet stretches: the impedance of all pairs is lower over the same part of the length.

    Parameters
    ----------
    along
        The matrix.
    leave_out
        Pairs that have another fault.
    busy
        Ends at which something is wrong with the plug, which changes its impedance too.
    """
    profiles = _profiles(along, leave_out)
    if len(profiles) < _FEWEST_PAIRS:
        return []
    mean = _without_plugs(along, np.mean(list(profiles.values()), axis=0))
    found = []
    for fall_m, rise_m in _dips(along, mean):
        stretch = _measure(along, mean, profiles, fall_m, rise_m)
        end = at_an_end(0.5 * (stretch.from_m + stretch.to_m), along.length_m)
        shared = len(stretch.pairs) * 4 >= 3 * len(profiles) and stretch.change < -_EDGE
        # From one end to the other it is the cable's own impedance.
        long_m = stretch.to_m - stretch.from_m
        shared = shared and long_m < along.length_m - 2.0 * _EDGE_FROM_M
        shared = shared and (long_m >= _LONGEST_CRUSH_M or stretch.change < -_CRUSH)
        if shared and (end is None or end not in busy):
            found.append(_named(along, stretch))
    if not found:
        # A stretch takes loss by its reflections, which must not count as that of water.
        damp = _damp(along, leave_out)
        found += [damp] if damp is not None else []
    return found


def _dips(along: Along, mean: Row) -> list[tuple[float, float]]:
    """Return falling edges with the rising edges that follow; the ends stand in for missing ones."""
    falls, rises = _edges(along, mean, -1.0), _edges(along, mean, 1.0)
    marks = sorted([(at, -1) for at, _ in falls] + [(at, 1) for at, _ in rises])
    dips, begun = [], None
    for number, (at, sign) in enumerate(marks):
        if sign < 0:
            begun = at if begun is None else begun
        elif begun is not None:
            dips.append((begun, at))
            begun = None
        elif number == 0:
            dips.append((0.0, at))
    if begun is not None:
        dips.append((begun, along.length_m))
    return dips


def _measure(along: Along, mean: Row, profiles: Mapping[str, Row], fall_m: float, rise_m: float) -> _Stretch:
    from_m, to_m, change = _half_width(along, mean, fall_m, rise_m)
    r = along.resolution_m
    sharing = []
    for pair, profile in profiles.items():
        inside = _level(along, profile, from_m, to_m)
        beside = [
            _level(along, profile, from_m - 2.0 * r, from_m - r) if from_m > 2.0 * r else None,
            _level(along, profile, to_m + r, to_m + 2.0 * r) if to_m < along.length_m - 2.0 * r else None,
        ]
        known = [value for value in beside if value is not None]
        if not known or inside - float(np.mean(known)) < _SHARED * change:
            sharing.append(pair)
    return _Stretch(max(from_m, 0.0), min(to_m, along.length_m), change, tuple(sharing))


def _insulation_db(along: Along, tangent: float, length_m: float) -> float:
    """Return loss in the insulation at the top of the band: 8.686 pi f t tan(delta) (Pozar, section 2.7)."""
    delay = float(np.mean([loss.delay_s for loss in along.pair_loss.values()])) / along.length_m
    return 8.686 * math.pi * float(along.frequency_hz[-1]) * delay * length_m * tangent


def _measured_insulation_db(along: Along, leave_out: Collection[str] = ()) -> float | None:
    own = [loss for pair, loss in along.pair_loss.items() if loss.own and pair not in leave_out]
    if not own:
        return None
    return 8.686 * float(np.median([loss.linear_np for loss in own])) * float(along.frequency_hz[-1]) / 1e6


def _named(along: Along, stretch: _Stretch) -> Fault:
    long_m = stretch.to_m - stretch.from_m
    longest = max(_LONGEST_CRUSH_M, _WIDTHS * along.resolution_m)
    end = at_an_end(0.5 * (stretch.from_m + stretch.to_m), along.length_m) if long_m < longest else None
    place = place_words(end, stretch.from_m, stretch.to_m)
    evidence = [
        f"impedance of {pairs_words(stretch.pairs)} changes by {100.0 * stretch.change:.0f} % over the same "
        f"{long_m:.2f} m; in a good cable the mean of the pairs stays within {100.0 * _EDGE:.1f} %"
    ]
    if long_m < longest and along.resolution_m > _TELLING_M:
        stop_mhz = along.frequency_hz[-1] / 1e6
        words = (
            f"impedance of all pairs lower {place}: crushed or wet, which a sweep to {stop_mhz:.0f} MHz does "
            "not tell apart"
        )
        return Fault(
            "impedance", end, stretch.pairs, (), stretch.from_m, stretch.to_m, words, tuple(evidence)
        )
    if long_m < longest:
        words = f"crushed: all pairs are squeezed {place}"
        return Fault("crush", end, stretch.pairs, (), stretch.from_m, stretch.to_m, words, tuple(evidence))
    measured = _measured_insulation_db(along)
    dry = _insulation_db(along, _DRY_TAN, along.length_m - long_m)
    per_tangent = _insulation_db(along, 1.0, long_m)
    tangent = None if measured is None else (measured - dry) / per_tangent
    if tangent is not None and tangent > _STRETCH_TAN:
        evidence.append(
            f"loss that grows with frequency makes a loss tangent of {tangent:.3f} there; dry below "
            f"{_STRETCH_TAN:g}"
        )
        words = f"water in the cable {place}: impedance lower and loss higher in all pairs"
        return Fault("water", None, stretch.pairs, (), stretch.from_m, stretch.to_m, words, tuple(evidence))
    words = f"impedance of all pairs changed {place}: another cable, or one under pressure"
    return Fault("impedance", None, stretch.pairs, (), stretch.from_m, stretch.to_m, words, tuple(evidence))


def _damp(along: Along, leave_out: Collection[str]) -> Fault | None:
    """Return water all along, which leaves no edges: loss that grows with frequency, and nothing else."""
    measured = _measured_insulation_db(along, leave_out)
    if measured is None:
        return None
    tangent = measured / _insulation_db(along, 1.0, along.length_m)
    excess = measured - _insulation_db(along, _WET_TAN, along.length_m)
    if excess < _LEAST_EXCESS_DB:
        return None
    evidence = (
        f"loss that grows with frequency makes a loss tangent of {tangent:.4f} over the whole length; dry "
        f"below {_WET_TAN:g}",
    )
    words = "water in the cable all along: loss higher in proportion to frequency, without a place"
    pairs = tuple(pair for pair in FOUR_PAIRS if pair in along.pair_loss and pair not in leave_out)
    return Fault("water", None, pairs, (), 0.0, along.length_m, words, evidence)


def find_kinks(along: Along, taken: Collection[Fault], *, leave_out: Collection[str] = ()) -> list[Fault]:
    """Return places where one pair alone changes: with its balance a kink, without it an impedance."""
    found = []
    profiles = _profiles(along, leave_out)
    plugs = _near_connections(along, profiles)
    for pair, profile in profiles.items():
        unbalance = along.unbalance(pair)
        fault = None if unbalance is None else _kink(along, pair, profile, unbalance, plugs)
        fault = fault or _alone(along, pair, profile, known=unbalance is not None)
        if fault is not None and not _covered(along, fault, taken):
            found.append(fault)
    return found


def _near_connections(along: Along, profiles: Mapping[str, Row]) -> NDArray[np.bool_]:
    """Return which places are near a plug, or near a dip that all pairs share: a connection on the way."""
    x = along.distance_m
    near = (x <= _AT_PLUG_M) | (x >= along.length_m - _AT_PLUG_M)
    if len(profiles) > _FEWEST_PAIRS:
        mean = np.mean(list(profiles.values()), axis=0)
        for at in x[along.contrast(mean, 2.0 * along.resolution_m) < -_CONNECTION]:
            away = min(float(at), along.length_m - float(at))
            if away > _AT_PLUG_M:
                near |= np.abs(x - at) <= _AT_PLUG_M + _COMMON_FASTER * away
    return near


def _covered(along: Along, fault: Fault, taken: Collection[Fault]) -> bool:
    """Tell whether something known already is at that place."""
    room = 3.0 * along.resolution_m
    return any(
        other.from_m is not None
        and other.to_m is not None
        and fault.from_m is not None
        and fault.to_m is not None
        and fault.to_m > other.from_m - room
        and fault.from_m < other.to_m + room
        for other in taken
    )


def _kink(along: Along, pair: str, impedance: Row, unbalance: Row, plugs: NDArray[np.bool_]) -> Fault | None:
    x, length = along.distance_m, along.length_m
    against = along.contrast(unbalance, 2.0 * along.resolution_m)
    # What a neighbour throws into the contrast is not there in the profile itself.
    size = np.minimum(np.abs(against), np.abs(unbalance))
    inner = ~plugs
    usual = float(np.median(size[inner])) if inner.any() else 0.0
    limit = np.where(inner, max(_UNBALANCE, _OVER_MEDIAN * usual), _AT_PLUG_UNBALANCE)
    ratio = np.where((x > 0.03) & (x < length - 0.03), size / limit, 0.0)
    k = int(np.argmax(ratio))
    if ratio[k] < 1.0:
        return None
    at = float(x[k])
    near = np.abs(x - at) < along.resolution_m
    dip = float(along.contrast(impedance, 2.0 * along.resolution_m)[near].min())
    return _single(
        along,
        "kink",
        pair,
        at,
        "kink: the balance of {pairs} suffers {place}",
        [
            f"coupling of pair {pair} into its common mode is {100.0 * size[k]:.1f} % over the resolution of "
            f"{along.resolution_m:.2f} m, good below {100.0 * float(limit[k]):.1f} %",
            f"its impedance changes there by {100.0 * dip:.1f} % and that of the other pairs does not",
        ],
    )


def _alone(along: Along, pair: str, impedance: Row, *, known: bool) -> Fault | None:
    x = along.distance_m
    against = along.contrast(impedance, 2.0 * along.resolution_m)
    inner = (x > 3.0 * along.resolution_m) & (x < along.length_m - 3.0 * along.resolution_m)
    if not inner.any():
        return None
    k = int(np.argmax(np.where(inner, np.abs(against), -1.0)))
    if abs(float(against[k])) < _ONE_PAIR:
        return None
    balance = "its balance does not suffer" if known else "whether its balance suffers was not measured"
    return _single(
        along,
        "impedance",
        pair,
        float(x[k]),
        "impedance of {pairs} alone changed {place}",
        [
            f"impedance of pair {pair} changes by {100.0 * float(against[k]):.1f} %, good below "
            f"{100.0 * _ONE_PAIR:.1f} %; {balance}"
        ],
    )


def _single(along: Along, kind: str, pair: str, at: float, words: str, evidence: list[str]) -> Fault:
    end = at_an_end(at, along.length_m)
    return Fault(
        kind="kink" if kind == "kink" else "impedance",
        end=end,
        pairs=(pair,),
        contacts=(),
        from_m=at,
        to_m=at,
        words=words.format(pairs=pairs_words((pair,)), place=place_words(end, at, at)),
        evidence=tuple(evidence),
    )
