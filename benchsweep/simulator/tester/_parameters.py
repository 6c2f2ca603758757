"""What a field tester makes of the waves at the pairs: losses in dB, delays in ns. Its own mathematics.

Differential waves of a pair are half the difference of its two conductors' on both sides, so that a matrix of
50 ohm conductors becomes one of 100 ohm pairs (Bockelman and Eisenstadt, 1995).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations, permutations
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["ENDS", "PAIRS", "Key", "PairWaves", "group_delay_s", "pair_waves", "parameters_of"]

PAIRS = ("12", "36", "45", "78")
ENDS = ("A", "B")
_OTHER = {"A": "B", "B": "A"}
_LEAST = 1e-12

Key: TypeAlias = tuple[str, str, str]
"""Parameter, end (empty: none), pairs such as ``12`` or ``12-36``: the receiving one first."""
PairWaves: TypeAlias = Mapping[tuple[str, str, str, str], NDArray[np.complex128]]
"""(end out, pair out, end in, pair in) -> ``(n_freq,)``: wave out over wave in."""


def pair_waves(matrix: NDArray[np.complex128]) -> dict[tuple[str, str, str, str], NDArray[np.complex128]]:
    """Return the differential waves of eight conductors, ``(n_freq, 16, 16)``: A1 to A8, B1 to B8."""
    sums = np.zeros((8, 16))
    place = {}
    for number, (end, pair) in enumerate((end, pair) for end in ENDS for pair in PAIRS):
        for sign, contact in zip((1.0, -1.0), pair, strict=True):
            sums[number, 8 * ENDS.index(end) + int(contact) - 1] = sign / np.sqrt(2.0)
        place[end, pair] = number
    waves = sums @ matrix @ sums.T
    return {
        (*out, *into): np.ascontiguousarray(waves[:, place[out], place[into]])
        for out in place
        for into in place
    }


def group_delay_s(waves: PairWaves, step_hz: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
    """Return the group delay of each pair in seconds, ``(n_freq,)``.

    Parameters
    ----------
    waves
        At ``n_freq`` frequencies, then at each of them and its step.
    step_hz
        ``(n_freq,)``, upwards or downwards.
    """
    found = {}
    count = step_hz.size
    for pair in PAIRS:
        wave = waves["B", pair, "A", pair]
        found[pair] = -np.angle(wave[count:] * wave[:count].conj()) / (2.0 * np.pi * step_hz)
    return found


def parameters_of(
    frequency_hz: NDArray[np.float64], waves: PairWaves, group_s: Mapping[str, NDArray[np.float64]]
) -> dict[Key, NDArray[np.float64]]:
    """Return insertion and return loss, NEXT, ACR-F, their power sums in dB, delay and skew in ns.

    Parameters
    ----------
    group_s
        Pair -> group delay, by which the turns of the phase are counted.
    """
    found: dict[Key, NDArray[np.float64]] = {}
    delay = {}
    for pair in PAIRS:
        for end in ENDS:
            found["insertion_loss", end, pair] = _loss(waves[end, pair, _OTHER[end], pair])
            found["return_loss", end, pair] = _loss(waves[end, pair, end, pair])
        turns = _turns(frequency_hz, np.angle(waves["B", pair, "A", pair]), group_s[pair])
        delay[pair] = turns / frequency_hz * 1e9
        found["delay", "", pair] = delay[pair]
    for one, other in combinations(PAIRS, 2):
        found["skew", "", f"{one}-{other}"] = np.abs(delay[one] - delay[other])
    for end in ENDS:
        for one, other in combinations(PAIRS, 2):
            found["next", end, f"{one}-{other}"] = _loss(waves[end, one, end, other])
        for one, other in permutations(PAIRS, 2):
            far = _loss(waves[end, one, _OTHER[end], other])
            found["acr_f", end, f"{one}-{other}"] = far - found["insertion_loss", end, one]
        for pair in PAIRS:
            others = [other for other in PAIRS if other != pair]
            near = [found["next", end, "-".join(sorted((pair, each), key=PAIRS.index))] for each in others]
            found["ps_next", end, pair] = _power_sum(near)
            found["ps_acr_f", end, pair] = _power_sum([found["acr_f", end, f"{pair}-{e}"] for e in others])
    return found


def _turns(
    frequency_hz: NDArray[np.float64], angle: NDArray[np.float64], group_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return by how many turns the phase is late: what is measured of them, whole ones by the group delay.

    At the lowest frequency phase and group delay are taken as alike. From there on the whole turns of each
    step are those of the group delay over it, so that what a step misses does not add up.
    """
    part = -angle / (2.0 * np.pi)
    expected = 0.5 * (group_s[1:] + group_s[:-1]) * np.diff(frequency_hz)
    steps = np.diff(part)
    steps += np.round(expected - steps)
    first = part[0] + np.round(group_s[0] * frequency_hz[0] - part[0])
    return np.concatenate([[first], first + np.cumsum(steps)])


def _loss(wave: NDArray[np.complex128]) -> NDArray[np.float64]:
    found: NDArray[np.float64] = -20.0 * np.log10(np.maximum(np.abs(wave), _LEAST))
    return found


def _power_sum(losses: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    found: NDArray[np.float64] = -10.0 * np.log10(np.sum([10.0 ** (-each / 10.0) for each in losses], axis=0))
    return found
