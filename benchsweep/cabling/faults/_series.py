"""Resistance in series with one conductor, from balance and loss at the lowest frequencies.

What cable and connectors couple falls to nothing towards zero frequency; a bad contact does not. A
resistance R in one leg of a pair lets S_dd fall to (1 + t)/2 and makes S_cd = (1 - t)/2 with t = 100/(R +
100), so the equal-level conversion is R/(R + 200) at any low frequency.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ENDS, ModeLosses, far_end
from benchsweep.cabling.faults._words import at_an_end, contacts_words, pairs_words, place_words
from benchsweep.records import CONTACTS_OF_PAIR, BalancedPort, End, Fault, Mode, ModePort

__all__ = ["find_series_resistance"]

Row = NDArray[np.float64]
Wave = NDArray[np.complex128]

# Above these the conversion of a good cord is no longer small; f times length, in Hz m.
_HIGHEST_HZ, _HIGHEST_HZ_M, _FEWEST = 5e6, 20e6, 2
# Unbalance of resistance that a good specimen may have: 0.2 ohm, or 3 % of the loop where that is more
# (TIA-568 permanent links and channels, from memory), and the loop of 0.51 mm copper, 0.19 ohm/m (common
# practice). A quarter is added for what the measurement adds.
_ALLOWED_OHM, _ALLOWED_PART, _LOOP_OHM_PER_M, _ROOM = 0.2, 0.03, 0.19, 1.25
# Loss of one pair against the others, where there is no common mode to look at: the pairs of one cable
# differ in length and impedance by some percent.
_ALLOWED_DB, _ALLOWED_LOSS_PART = 0.035, 0.04
# The place is fitted up to this phase over the length, and over so many points at least.
_FIT_RAD, _FIT_FEWEST, _PLACES = 1.5, 6, 201
_REFERENCE_OHM = 200.0
# So near to an end, in parts of the length or metres, it is a contact of the plug: the place is not known
# better.
_AT_PLUG, _AT_PLUG_M = 0.055, 0.32
# Behind baluns of 50 dB their own unbalance leaves more.
_BALUN_OHM = 0.6
# The reflections at the ends tell the conversion a little too low where much is lost on the way.
_REFLECTED = 1.3
# So many times what is allowed is clear.
_CLEAR = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """One pair at the lowest frequencies: gamma times length, and how many points count as lowest."""

    pair: str
    frequency_hz: Row
    transfer: Wave
    lowest: int


def find_series_resistance(
    losses: ModeLosses,
    length_m: float,
    *,
    leave_out: frozenset[str] = frozenset(),
    behind_baluns: bool = False,
) -> list[Fault]:
    """Return a fault for each pair with more resistance in one conductor than a good one may have.

    With the common mode measured, from equal-level conversion, which tells the conductor and sees tenths of
    an ohm; without, from the loss of a pair against that of the others, which sees some ohm only. The place
    comes from the reflections at both ends: S = r exp(-2 gamma x) at A and r exp(-2 gamma (l - x)) at B.
    """
    f = losses.frequency_hz
    most_hz = min(_HIGHEST_HZ, max(_HIGHEST_HZ_M / length_m, float(f[min(_FEWEST, f.size) - 1])))
    lowest = int(np.searchsorted(f, 1.0001 * most_hz))
    if lowest < _FEWEST:
        return []
    delays = {trace.pairs[0]: 1e-9 * trace.value for trace in propagation_delay(losses, length_m=length_m)}
    pairs = [
        _Pair(pair, f, _transfer(losses, pair, delay), lowest)
        for pair, delay in delays.items()
        if pair not in leave_out
    ]
    excess = _excess_loss_db(pairs)
    found = []
    for each in pairs:
        ratio = _conversion(losses, each)
        fault = (
            _from_loss(losses, each, excess.get(each.pair), length_m)
            if ratio is None
            else _from_balance(
                losses, each, ratio, excess.get(each.pair), length_m, behind_baluns=behind_baluns
            )
        )
        if fault is not None:
            found.append(fault)
    return found


def _transfer(losses: ModeLosses, pair: str, delay_s: Row) -> Wave:
    a, b = BalancedPort("A", pair), BalancedPort("B", pair)
    loss_db = 0.5 * (losses.loss(a, b) + losses.loss(b, a))
    return np.asarray(loss_db / 8.686 + 2j * math.pi * losses.frequency_hz * delay_s)


def _wave(losses: ModeLosses, out: End, mode: Mode, into: End, pair: str) -> Wave | None:
    ports = ModePort(BalancedPort(out, pair), mode), ModePort(BalancedPort(into, pair), "d")
    if not all(losses.mixed.has(port) for port in ports):
        return None
    return losses.mixed.at(out=ports[0], into=ports[1])


def _conversion(losses: ModeLosses, each: _Pair) -> float | None:
    """Return equal-level conversion at the lowest frequencies, both ways together; None without taps."""
    sizes = []
    for end in ENDS:
        converted = _wave(losses, far_end(end), "c", end, each.pair)
        through = _wave(losses, far_end(end), "d", end, each.pair)
        if converted is None or through is None:
            return None
        low = slice(0, each.lowest)
        sizes.append(float(np.median(np.abs(converted[low] / through[low]))))
    # What is reactive grows in proportion to frequency and differs both ways; a resistance does not.
    return min(sizes)


def _excess_loss_db(pairs: list[_Pair]) -> Mapping[str, tuple[float, float]]:
    """Return pair -> loss above the median of the other pairs, and that median, at the lowest frequencies."""
    loss = {each.pair: 8.686 * float(np.median(each.transfer.real[: each.lowest])) for each in pairs}
    found = {}
    for pair, value in loss.items():
        others = [other for name, other in loss.items() if name != pair]
        if len(others) >= 2:
            found[pair] = value - float(np.median(others)), float(np.median(others))
    return found


def _from_balance(
    losses: ModeLosses,
    each: _Pair,
    ratio: float,
    excess: tuple[float, float] | None,
    length_m: float,
    *,
    behind_baluns: bool,
) -> Fault | None:
    allowed = _ROOM * max(_ALLOWED_OHM, _ALLOWED_PART * _LOOP_OHM_PER_M * length_m)
    if behind_baluns:
        allowed = max(allowed, _BALUN_OHM)
    if ratio <= allowed / (allowed + _REFERENCE_OHM):
        return None
    fitted = _place_from_balance(losses, each, length_m)
    if fitted is not None:
        # A resistance reflects as much as it converts on the way through. What a balun mixes up comes through
        # alone: near the ends of a good pair there is nothing that reflects.
        ratio = min(ratio, _REFLECTED * abs(fitted[1]))
    ohm = _REFERENCE_OHM * ratio / (1.0 - ratio) if ratio < 1.0 else math.inf
    if ohm <= allowed:
        return None
    contacts: tuple[int, ...] = ()
    at_m = None
    if fitted is not None:
        plus, minus = CONTACTS_OF_PAIR[each.pair]
        at_m, contacts = fitted[0], (plus,) if fitted[1] > 0.0 else (minus,)
    evidence = [
        f"equal-level conversion of pair {each.pair} is {-20.0 * math.log10(ratio):.1f} dB towards 0 Hz, "
        f"{ohm:.2g} ohm in one conductor; good below {allowed:.2g} ohm"
    ]
    if excess is not None and excess[0] > _CLEAR * _allowed_loss_db(excess[1]):
        # The pair itself is matched better than its common mode: where its loss shows the resistance
        # clearly, size and place come from there.
        part = 10.0 ** (-excess[0] / 20.0)
        ohm = _ohm(part)
        at_m = _place_from_loss(losses, each, 1.0 - part, length_m)
        evidence.append(f"its loss is {excess[0]:.3f} dB above that of the other pairs, {ohm:.2g} ohm")
    return _fault(each.pair, contacts, ohm, at_m, length_m, evidence)


def _allowed_loss_db(usual_db: float) -> float:
    return _ALLOWED_DB + _ALLOWED_LOSS_PART * usual_db


def _ohm(part: float) -> float:
    """Return the resistance in one leg that lets so much of the wave through: (R/2 + 100)/(R + 100)."""
    return _REFERENCE_OHM * (1.0 - part) / (2.0 * part - 1.0) if part > 0.5 else math.inf


def _from_loss(
    losses: ModeLosses, each: _Pair, excess: tuple[float, float] | None, length_m: float
) -> Fault | None:
    if excess is None:
        return None
    more_db, usual_db = excess
    allowed = _allowed_loss_db(usual_db)
    if more_db <= allowed:
        return None
    part = 10.0 ** (-more_db / 20.0)
    ohm = _ohm(part)
    at_m = _place_from_loss(losses, each, 1.0 - part, length_m)
    evidence = [
        f"loss of pair {each.pair} is {more_db:.3f} dB above that of the other pairs at the lowest "
        f"frequencies, about {ohm:.2g} ohm; good below {allowed:.3f} dB",
        "without the common mode the conductor cannot be told, and less resistance is not seen",
    ]
    return _fault(each.pair, (), ohm, at_m, length_m, evidence)


def _ends(losses: ModeLosses, each: _Pair, mode: Mode) -> tuple[Row, Wave, Wave, Wave] | None:
    """Return frequencies, gamma times length, reflection at A and at B, as far up as the place is fitted."""
    at_a, at_b = (_wave(losses, end, mode, end, each.pair) for end in ENDS)
    if at_a is None or at_b is None:
        return None
    count = max(_FIT_FEWEST, int(np.searchsorted(each.transfer.imag, _FIT_RAD)))
    return each.frequency_hz[:count], each.transfer[:count], at_a[:count], at_b[:count]


def _place_from_balance(losses: ModeLosses, each: _Pair, length_m: float) -> tuple[float, float] | None:
    """Return distance from end A and signed conversion of a resistance, from both ends together.

    Least squares over the places: what couples all along is the same at both ends and grows with frequency.
    """
    found = _ends(losses, each, "c")
    if found is None:
        return None
    f, transfer, at_a, at_b = found
    measured = np.concatenate([at_a, at_b])
    weight = np.tile(f[0] / f, 2)
    along = np.tile(1j * f / f[-1], 2)
    best: tuple[float, float, float] | None = None
    for part in np.linspace(0.0, 1.0, _PLACES):
        seen = np.concatenate([np.exp(-2.0 * part * transfer), np.exp(-2.0 * (1.0 - part) * transfer)])
        matrix = np.stack([seen, along], axis=1) * weight[:, None]
        real = np.concatenate([matrix.real, matrix.imag])
        wanted = np.concatenate([(measured * weight).real, (measured * weight).imag])
        solution, *_ = np.linalg.lstsq(real, wanted, rcond=None)
        left = float(np.sum((real @ solution - wanted) ** 2))
        if best is None or left < best[0]:
            best = left, float(part) * length_m, float(solution[0])
    return None if best is None else (best[1], best[2])


def _place_from_loss(losses: ModeLosses, each: _Pair, reflection: float, length_m: float) -> float | None:
    """Return distance from end A of a resistance whose reflection the loss tells.

    The difference between both ends: what a uniform line reflects is the same at both, and what couples all
    along differs only in proportion to the square of frequency.
    """
    found = _ends(losses, each, "d")
    if found is None:
        return None
    f, transfer, at_a, at_b = found
    part = np.linspace(0.0, 1.0, _PLACES)[:, None]
    model = reflection * (np.exp(-2.0 * part * transfer) - np.exp(-2.0 * (1.0 - part) * transfer))
    left = np.sum(np.abs((model - (at_a - at_b)) * (f[0] / f)) ** 2, axis=1)
    return float(part[int(np.argmin(left)), 0]) * length_m


def _fault(
    pair: str, contacts: tuple[int, ...], ohm: float, at_m: float | None, length_m: float, evidence: list[str]
) -> Fault:
    end = None if at_m is None else at_an_end(at_m, length_m, _AT_PLUG, _AT_PLUG_M)
    where = at_m if end is None else 0.0 if end == "A" else length_m
    subject = contacts_words(contacts) if contacts else f"one conductor of {pairs_words((pair,))}"
    return Fault(
        kind="contact",
        end=end,
        pairs=(pair,),
        contacts=contacts,
        from_m=where,
        to_m=where,
        words=f"bad contact: {ohm:.2g} ohm in series with {subject} {place_words(end, where, where)}",
        evidence=tuple(evidence),
    )
