"""Faults of wiring: what the wiring check found, and where it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ENDS, ModeLosses, far_end
from benchsweep.cabling._split import next_near_100_mhz
from benchsweep.cabling.faults._along import Along
from benchsweep.cabling.faults._map_evidence import map_evidence
from benchsweep.cabling.faults._words import at_an_end, contacts_words, pairs_words, place_words
from benchsweep.records import BalancedPort, End, Fault, ModePort, SMatrix, WiringFinding, WiringReport

__all__ = ["NO_PLACE", "wiring_faults"]

NO_PLACE = "the place cannot be told from this sweep"
"""Evidence of an open or short that no reflection places."""

Row = NDArray[np.float64]

# Waves towards zero frequency, from theory: a pair with one leg open lets half through, a touch of two
# conductors of two pairs three quarters and a quarter into the other pair, an exchanged conductor half and
# half.
_ONE_LEG, _TOUCH, _ROOM = 0.5, 0.25, 0.09
_DEAD = 0.1
# Where nothing at all comes through there is nothing to compare with.
_LEAST_POWER = 0.1
# Reflections: 1 of an open pair, 0.5 of an open leg, -1 of a shorted pair, -0.25 of two pairs that touch.
_LEAST_REFLECTION = 0.12
# Crosstalk of a split pair is that of two lines of other impedance: it begins at one plug, is alike all
# along, and ends at the other.
_SPLIT_LEVEL = 0.03


@dataclass(frozen=True, slots=True)
class _Seen:
    """A strong reflection: where, how much, and seen from which end."""

    at_m: float
    value: float
    end: End


def wiring_faults(
    losses: ModeLosses,
    wiring: WiringReport,
    along: Along | None,
    length_m: float | None,
    legs: SMatrix | None = None,
) -> list[Fault]:
    """Return a fault for each wiring finding, with its place where the reflections tell it.

    Parameters
    ----------
    losses
        The mixed-mode matrix.
    wiring
        What the wiring check found.
    along
        The look along the cable; None when the sweep does not allow one: then the place is told as far as the
        wiring check tells it.
    length_m
        Length, when known.
    legs
        The matrix at the legs, for the levels of the single conductors; None behind baluns.
    """
    found: list[Fault] = []
    open_pairs: dict[str, list[WiringFinding]] = {}
    for finding in wiring.findings:
        if finding.kind == "open" and finding.contacts and len(finding.pairs) == 1:
            open_pairs.setdefault(finding.pairs[0], []).append(finding)
        elif finding.kind == "short":
            found.append(_short(finding, along))
        elif finding.kind == "split":
            found.append(_split(losses, finding, along))
        elif finding.kind == "unclear":
            found.append(_unclear(losses, finding, along))
        else:
            evidence = map_evidence(losses, legs, wiring, finding, length_m)
            found.append(_plain(finding, along, evidence))
    found += [_open(losses, pair, findings, along) for pair, findings in open_pairs.items()]
    return _told_once(found)


def _told_once(faults: Iterable[Fault]) -> list[Fault]:
    """Return the faults without what says less of the same pairs than another."""
    kept = list(faults)
    named = {pair for fault in kept if fault.kind != "unclear" for pair in fault.pairs}
    return [
        fault
        for fault in kept
        if fault.kind != "unclear" or not fault.pairs or not named.issuperset(fault.pairs)
    ]


def _at_zero(losses: ModeLosses, out: str, into: str) -> float:
    """Return |S| from a pair of end A to one of end B at the lowest frequency, towards zero frequency.

    Divided by what the best pair lets through, so that the loss of a long cable does not count.
    """
    whole = max(losses.power(BalancedPort("B", pair), BalancedPort("A", pair))[0]
                for pair in losses.pairs_at_both_ends())  # fmt: skip
    power = losses.power(BalancedPort("B", out), BalancedPort("A", into))[0]
    return float(np.sqrt(power / max(whole, _LEAST_POWER)))


def _seen(along: Along | None, pairs: tuple[str, ...]) -> _Seen | None:
    """Return the strongest reflection of `pairs` (all together) from either end."""
    if along is None:
        return None
    best: _Seen | None = None
    for end in ENDS:
        profiles = [along.reflection(end, pair, pair) for pair in pairs if pair in along.pair_loss]
        known = [profile for profile in profiles if profile is not None]
        if not known:
            continue
        mean = np.mean(known, axis=0)
        inside = (along.half_m > -0.1) & (along.half_m < along.length_m + 0.1)
        k = int(np.argmax(np.where(inside, np.abs(mean), -1.0)))
        if best is None or abs(float(mean[k])) > abs(best.value):
            near = float(along.half_m[k])
            best = _Seen(near if end == "A" else along.length_m - near, float(mean[k]), end)
    return best if best is not None and abs(best.value) >= _LEAST_REFLECTION else None


def _placed(
    seen: _Seen | None, end: End | None, along: Along | None
) -> tuple[End | None, float | None, float | None]:
    if seen is None or along is None:
        return end, None, None
    at = min(max(seen.at_m, 0.0), along.length_m)
    found = at_an_end(at, along.length_m)
    at = at if found is None else 0.0 if found == "A" else along.length_m
    return found, at, at


def _evidence(seen: _Seen | None, expected: str) -> tuple[str, ...]:
    if seen is None:
        return (NO_PLACE,)
    return (
        f"reflection of {seen.value:+.2f} {seen.at_m:.2f} m from end A, seen from end {seen.end}; {expected}",
    )


def _open(losses: ModeLosses, pair: str, findings: list[WiringFinding], along: Along | None) -> Fault:
    contacts = tuple(sorted({contact for finding in findings for contact in finding.contacts}))
    seen = _seen(along, (pair,))
    end, from_m, to_m = _placed(seen, findings[0].end, along)
    place = place_words(end, from_m, to_m)
    # Behind baluns an open and a shorted pair both leave nothing; only the reflection tells which.
    shorted = (seen.value < 0.0) if seen is not None else _looks_shorted(losses, pair)
    if len(contacts) == 2 and shorted:
        words = f"short between the conductors of {pairs_words((pair,))} {place}"
        return Fault(
            "short", end, (pair,), contacts, from_m, to_m, words, _evidence(seen, "a shorted pair makes -1")
        )
    one = len(contacts) == 1
    words = f"open: the conductor of {contacts_words(contacts)} is interrupted {place}"
    if not one:
        words = f"open: both conductors of {pairs_words((pair,))} are interrupted {place}"
    expected = "one open leg makes +0.5" if one else "an open pair makes +1"
    return Fault("open", end, (pair,), contacts, from_m, to_m, words, _evidence(seen, expected))


def _looks_shorted(losses: ModeLosses, pair: str) -> bool:
    """Tell from the lowest frequency whether a dead pair reflects like a short, seen from its nearer end.

    From there it is less than half the length away and its wave has turned by less than a quarter there and
    back, if the frequency is low enough for the length.
    """
    real = []
    for end in ENDS:
        port = ModePort(BalancedPort(end, pair), "d")
        real.append(float(losses.mixed.at(out=port, into=port)[0].real))
    return max(real, key=abs) < 0.0


def _short(finding: WiringFinding, along: Along | None) -> Fault:
    seen = _seen(along, finding.pairs)
    end, from_m, to_m = _placed(seen, finding.end, along)
    expected = (
        "a shorted pair makes -1" if len(finding.pairs) == 1 else "two pairs that touch make -0.25 each"
    )
    words = f"short between {contacts_words(finding.contacts)} {place_words(end, from_m, to_m)}"
    evidence = _evidence(seen, expected)
    return Fault("short", end, finding.pairs, finding.contacts, from_m, to_m, words, evidence)


def _split(losses: ModeLosses, finding: WiringFinding, along: Along | None) -> Fault:
    p, q = finding.pairs[:2]
    crossing = max(_at_zero(losses, p, q), _at_zero(losses, q, p))
    if abs(crossing - _TOUCH) < _ROOM:
        # Behind baluns two conductors that touch look like a split pair, but for the lowest frequencies.
        seen = _seen(along, (p, q))
        end, from_m, to_m = _placed(seen, None, along)
        words = (
            f"short between a conductor of {pairs_words((p,))} and one of {pairs_words((q,))} "
            f"{place_words(end, from_m, to_m)}"
        )
        figure = (
            f"{crossing:.2f} of the wave goes into the other pair at the lowest frequency; a touch makes 0.25"
        )
        return Fault(
            "short",
            end,
            (p, q),
            finding.contacts,
            from_m,
            to_m,
            words,
            (figure, *_evidence(seen, "a touch makes -0.25")),
        )
    evidence = [
        f"{crossing:.3f} of the wave goes into the other pair at the lowest frequency: no touch (0.25)"
    ]
    loss = next_near_100_mhz(losses, p, q)
    if loss is not None:
        evidence.insert(0, f"NEXT of {p}-{q} is {loss:.0f} dB near 100 MHz, good above 30 dB")
    level = _level_all_along(along, p, q)
    if level is not None:
        evidence.append(
            f"NEXT of {p}-{q} begins at the plugs and is alike all along, {100.0 * level:.0f} %; good below "
            f"{100.0 * _SPLIT_LEVEL:.0f} %"
        )
    words = finding.words
    return Fault("split", None, finding.pairs, finding.contacts, None, None, words, tuple(evidence))


def _level_all_along(along: Along | None, p: str, q: str) -> float | None:
    """Return the smaller of both ends' mean coupling density over the first half of the length."""
    levels = [level for end in ENDS if (level := _near_level(along, end, p, q)) is not None]
    return min(levels) if levels else None


def _near_level(along: Along | None, end: End, p: str, q: str) -> float | None:
    if along is None or p not in along.pair_loss or q not in along.pair_loss:
        return None
    spectrum = along.spectrum(end, (p, "d"), (q, "d"))
    if spectrum is None:
        return None
    reach = min(0.5 * along.length_m, 5.0)
    x = along.half_m[(along.half_m < reach)]
    (profile,) = along.density(p, q, [spectrum], x)
    before = x < -0.15
    start = float(profile[before].mean()) if before.any() else 0.0
    behind = x > min(along.resolution_m, 0.4 * reach)
    if not behind.any():  # shorter than what can be told apart
        return None
    return abs(float(profile[behind].mean()) - start)


def _unclear(losses: ModeLosses, finding: WiringFinding, along: Along | None) -> Fault:
    """Return an open leg where a pair lets half of the wave through and none into another pair."""
    if len(finding.pairs) == 1 and losses.pairs_at_both_ends():
        pair = finding.pairs[0]
        others = [q for q in losses.pairs("B") if q != pair]
        known = pair in losses.pairs("A") and pair in losses.pairs("B")
        if (
            known
            and abs(_at_zero(losses, pair, pair) - _ONE_LEG) < _ROOM
            and all(_at_zero(losses, q, pair) < _DEAD for q in others)
        ):
            seen = _seen(along, (pair,))
            end, from_m, to_m = _placed(seen, None, along)
            place = place_words(end, from_m, to_m)
            words = f"open: one conductor of {pairs_words((pair,))} is interrupted {place}"
            arrives = _at_zero(losses, pair, pair)
            figure = f"{arrives:.2f} of the wave arrives at the lowest frequency; one open leg leaves 0.5"
            evidence = (figure, *_evidence(seen, "one open leg makes +0.5"))
            return Fault("open", end, (pair,), (), from_m, to_m, words, evidence)
    return Fault("unclear", finding.end, finding.pairs, finding.contacts, None, None, finding.words)


def _plain(finding: WiringFinding, along: Along | None, figures: tuple[str, ...]) -> Fault:
    kind = finding.kind
    end, evidence = finding.end, list(figures)
    if kind == "miswired" and len(finding.pairs) == 2:
        p, q = finding.pairs
        levels = [(_near_level(along, each, p, q), each) for each in ENDS]
        known = [(level, each) for level, each in levels if level is not None]
        if len(known) == 2 and max(known)[0] > 3.0 * min(known)[0] and max(known)[0] > _SPLIT_LEVEL:
            end = max(known)[1]
            evidence.append(
                f"NEXT of {p}-{q} begins at end {end} ({100.0 * max(known)[0]:.0f} % all along) and not at "
                f"end {far_end(end)} ({100.0 * min(known)[0]:.1f} %): the twist is right there"
            )
    words = (
        finding.words
        if end is None or finding.end is not None
        else f"{finding.words}; exchanged at end {end}"
    )
    return Fault(kind, end, finding.pairs, finding.contacts, None, None, words, tuple(evidence))
