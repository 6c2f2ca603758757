"""Split pairs: every conductor is connected right, but the twisted pairs are not the electrical ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
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


def _mean_losses(
    frequency_hz: Row, powers: Sequence[Row], band_hz: tuple[float, float]
) -> list[float] | None:
    """Return the mean of each of some powers over a band; None where the sweep has no point in it."""
    first, last = np.searchsorted(frequency_hz, band_hz, side="left")
    last += int(last < frequency_hz.size and frequency_hz[last] == band_hz[1])
    if not powers or first == last:
        return None
    means: list[float] = np.array([power[first:last] for power in powers]).mean(axis=1).tolist()
    return means


def _as_loss(means: Sequence[float] | None) -> float | None:
    """Return the loss of a mean power in dB; None without one."""
    if not means:
        return None
    mean = sum(means) / len(means)
    return -10.0 * math.log10(mean) if mean > 0.0 else math.inf


def next_near_100_mhz(losses: ModeLosses, p: str, q: str) -> float | None:
    """Return the NEXT between two pairs in dB, averaged in power over both ends and 50 to 150 MHz."""
    powers = [near_end_power(losses, end, p, q) for end in ENDS]
    return _as_loss(_mean_losses(losses.frequency_hz, powers, _ABOUT_100_MHZ))


def find_split_pairs(losses: ModeLosses) -> list[WiringFinding]:
    """Name the split pairs of a specimen whose conductor map is right and free of shorts.

    Two pairs are called split when their NEXT, averaged in power from 50 to 150 MHz, is below 30 dB, has
    not fallen away below 20 MHz as coupling in one place would, and the return loss of both is poor.
    """
    combinations_there = list(combinations(losses.pairs_at_both_ends(), 2))
    powers = [near_end_power(losses, end, p, q) for p, q in combinations_there for end in ENDS]
    about, below = (_mean_losses(losses.frequency_hz, powers, band) for band in (_ABOUT_100_MHZ, _LOW))
    findings: list[WiringFinding] = []
    if about is None or below is None:
        return findings
    for number, (p, q) in enumerate(combinations_there):
        both_ends = slice(2 * number, 2 * number + 2)
        high, low = _as_loss(about[both_ends]), _as_loss(below[both_ends])
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
    powers = [losses.power(port, port) for port in (BalancedPort(end, pair) for end in ENDS)]
    mean = _as_loss(_mean_losses(losses.frequency_hz, powers, _ABOUT_100_MHZ))
    return mean is not None and mean < _RETURN_LOSS_LIMIT_DB
