"""Which pair leads to which and with what polarity, from differential data alone."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._phase import follow_phase
from benchsweep.cabling._words import describe_map, listed, pair_words, pairs_of, unclear
from benchsweep.records import CONTACTS_OF_PAIR, BalancedPort, ModePort, WiringFinding

__all__ = ["PairMap", "estimate_length", "map_pairs"]

_TYPICAL_S_PER_M = 5.1e-9
_CONNECTED, _OPEN, _CLEARANCE = 0.5, 0.1, 2.0
# Above the frequency where magnitudes alone decide, the strongest path must stand out by 12 dB.
_LEAST_SIGNAL, _WIDE_CLEARANCE = 0.02, 4.0


@dataclass(slots=True)
class PairMap:
    """Contact of A -> contact of B for the pairs that were told, and findings."""

    leads_to: dict[int, int] = field(default_factory=dict)
    findings: list[WiringFinding] = field(default_factory=list)


def _port(end: str, pair: str) -> ModePort:
    return ModePort(BalancedPort("A" if end == "A" else "B", pair), "d")


def estimate_length(losses: ModeLosses) -> float | None:
    """Return the length from the delay of the strongest paths at 5.1 ns/m; None when it cannot be told."""
    found = []
    for pair in losses.pairs("A"):
        paths = {q: losses.power(BalancedPort("B", q), BalancedPort("A", pair))[0] for q in losses.pairs("B")}
        if not paths:
            return None
        strongest = max(paths, key=lambda q: paths[q])
        s = losses.mixed.at(out=_port("B", strongest), into=_port("A", pair))
        path = follow_phase(losses.frequency_hz, s, None)
        if not isinstance(path, str):
            found.append(float(np.median(path.delay_s)))
    return max(float(np.median(found)) / _TYPICAL_S_PER_M, 0.0) if found else None


def map_pairs(losses: ModeLosses, length_m: float | None, *, low: bool) -> PairMap:
    """Map pairs by the largest differential |S| at the lowest frequency, polarity by the phase intercept.

    `low` says that this frequency is low enough for the length to read magnitudes as such: an exchanged
    conductor halves the wave between two pairs and a missing one leaves nothing.
    """
    result = PairMap()
    senders, receivers = losses.pairs("A"), losses.pairs("B")
    if not receivers:
        return result
    size = {
        (q, p): float(np.sqrt(losses.power(BalancedPort("B", q), BalancedPort("A", p))[0]))
        for p in senders
        for q in receivers
    }
    halved: set[str] = set()
    for p in senders:
        by_size = sorted(receivers, key=lambda q: -size[q, p])
        best = by_size[0]
        value = size[best, p]
        rival = size[by_size[1], p] if len(by_size) > 1 else 0.0
        floor, clearance = (_CONNECTED, _CLEARANCE) if low else (_LEAST_SIGNAL, _WIDE_CLEARANCE)
        if value >= floor and value >= clearance * rival:
            _take(result, losses, p, best, length_m)
        elif low and value < _OPEN:
            result.findings.append(_dead(losses, p, whole=len(receivers) == len(CONTACTS_OF_PAIR)))
        elif low and value >= 0.3 and rival >= 0.3:
            halved |= {p, best, by_size[1]}
        else:
            result.findings.append(
                unclear(f"no clear path from pair {pair_words(p)} of end A to end B", CONTACTS_OF_PAIR[p])
            )
    result.findings[:0] = describe_map(result.leads_to)
    if halved:
        contacts = sorted(contact for pair in halved for contact in CONTACTS_OF_PAIR[pair])
        named = listed(pair_words(pair) for pair in pairs_of(contacts))
        words = f"miswired: single conductors of pairs {named} are exchanged at one end"
        result.findings.append(WiringFinding("miswired", tuple(contacts), pairs_of(contacts), None, words))
    return result


def _take(result: PairMap, losses: ModeLosses, p: str, q: str, length_m: float | None) -> None:
    path = follow_phase(losses.frequency_hz, losses.mixed.at(out=_port("B", q), into=_port("A", p)), length_m)
    plus, minus = CONTACTS_OF_PAIR[p]
    far_plus, far_minus = CONTACTS_OF_PAIR[q]
    if isinstance(path, str):
        words = f"the polarity of pair {pair_words(p)} cannot be told: {path}"
        result.findings.append(unclear(words, (plus, minus)))
        if p == q:
            return
    if not isinstance(path, str) and path.reversed:
        far_plus, far_minus = far_minus, far_plus
    result.leads_to |= {plus: far_plus, minus: far_minus}


def _dead(losses: ModeLosses, p: str, *, whole: bool) -> WiringFinding:
    contacts = CONTACTS_OF_PAIR[p]
    if not whole:
        return unclear(f"pair {pair_words(p)} of end A reaches none of the measured pairs of end B", contacts)
    words = (
        f"open: pair {pair_words(p)} of end A does not reach end B; "
        "one or both conductors are broken, not contacted, or shorted to each other"
    )
    return WiringFinding("open", contacts, (p,), None, words)
