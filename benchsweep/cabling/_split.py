"""Split pairs: every conductor is connected right, but the twisted pairs are not the electrical ones."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses, Row
from benchsweep.cabling._next import near_end_power
from benchsweep.cabling._words import listed, pair_words
from benchsweep.records import CONTACTS_OF_PAIR, BalancedPort, WiringFinding

__all__ = ["find_split_pairs", "next_near_100_mhz"]

_ABOUT_100_MHZ = (50e6, 150e6)
_LOW = (5e6, 20e6)
_NEXT_LIMIT_DB = 30.0
_RETURN_LOSS_LIMIT_DB = 23.0
# From the upper band to the lower one coupling in one place falls by 16.5 dB, coupling all along by less.
_LARGEST_FALL_DB = 14.0


def _mean_loss(frequency_hz: Row, powers: list[Row], band_hz: tuple[float, float]) -> float | None:
    chosen = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    if not powers or not chosen.any():
        return None
    mean = float(np.mean([power[chosen].mean() for power in powers]))
    return -10.0 * float(np.log10(mean)) if mean > 0.0 else float("inf")


def next_near_100_mhz(losses: ModeLosses, p: str, q: str) -> float | None:
    """Return the NEXT between two pairs in dB, averaged in power over both ends and 50 to 150 MHz."""
    return _mean_loss(
        losses.frequency_hz, [near_end_power(losses, end, p, q) for end in ENDS], _ABOUT_100_MHZ
    )


def find_split_pairs(losses: ModeLosses) -> list[WiringFinding]:
    """Name the split pairs of a specimen whose conductor map is right and free of shorts.

    Two pairs are called split when their NEXT, averaged in power from 50 to 150 MHz, is below 30 dB, has
    not fallen away below 20 MHz as coupling in one place would, and the return loss of both is poor.
    """
    f = losses.frequency_hz
    findings = []
    for p, q in combinations(losses.pairs_at_both_ends(), 2):
        crosstalk = [near_end_power(losses, end, p, q) for end in ENDS]
        high = next_near_100_mhz(losses, p, q)
        low = _mean_loss(f, crosstalk, _LOW)
        if high is None or low is None or high >= _NEXT_LIMIT_DB or low - high > _LARGEST_FALL_DB:
            continue
        if all(_poor_return_loss(losses, pair) for pair in (p, q)):
            named = listed(pair_words(pair) for pair in (p, q))
            contacts = tuple(sorted((*CONTACTS_OF_PAIR[p], *CONTACTS_OF_PAIR[q])))
            words = (
                f"split pairs {named}: every conductor leads to its own contact, but a conductor of each "
                f"pair is twisted with one of the other (NEXT about {high:.0f} dB near 100 MHz); "
                "put the twisted conductors on one pair at both ends"
            )
            findings.append(WiringFinding("split", contacts, (p, q), None, words))
    return findings


def _poor_return_loss(losses: ModeLosses, pair: str) -> bool:
    ports = [BalancedPort(end, pair) for end in ENDS]
    mean = _mean_loss(losses.frequency_hz, [losses.power(port, port) for port in ports], _ABOUT_100_MHZ)
    return mean is not None and mean < _RETURN_LOSS_LIMIT_DB
