"""Where a failing return loss or NEXT comes from: energy over the distance in a band about a frequency."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance._velocity import (
    LIGHT_M_PER_S,
    PairVelocity,
    electrical_length,
    pair_velocities,
)
from benchsweep.records import FOUR_PAIRS, BalancedPort, End, ModePort, Origin, Parameter, SMatrix

__all__ = ["LOCATED", "trace_origins"]

LOCATED = (Parameter.RETURN_LOSS, Parameter.NEXT, Parameter.PS_NEXT)
"""What comes back to where it was sent, so that its time tells its place."""

Row = NDArray[np.float64]

# Full width at half height of the envelope of a Hann window over a band, times the band; in energy it is
# 1.44 (F. J. Harris, Proc. IEEE 66, 1978, table 1: 3 dB bandwidth of 1.44 bins; from memory).
_WIDTH = 1.44
# A band of one octave to both sides; wider where the ends of the specimen would not be told apart.
_OCTAVES = 2.0
_PLACES = 4.0
# An end is the connector and what is joined to it; common practice, no source.
_END_M = 0.25
_EVEN = 0.01
_MOST_STEPS = 600
# Own choice: what is called the source holds this part of the energy …
_MAINLY = 0.6
# … and a stretch is a place when it is no longer than this part of the specimen, or five widths.
_STRETCH, _STRETCH_WIDTHS = 0.25, 2.5


@dataclass(frozen=True, slots=True)
class _Band:
    first: int
    last: int

    def of(self, row: NDArray[np.generic]) -> NDArray[np.generic]:
        return row[self.first : self.last + 1]


def trace_origins(
    mixed: SMatrix | ModeLosses,
    asked: Sequence[tuple[Parameter, End, tuple[str, ...], float]],
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
) -> tuple[Origin, ...]:
    """Tell where along the specimen return loss, NEXT and PS NEXT come from, each near one frequency.

    The band about the frequency (an octave to both sides, more for short specimens) is turned into the
    envelope over the time there and back. NEXT is divided by the frequency before, for coupling in one place
    rises with it, so that the top of the band does not speak for all of it. Losses on the way stay in: the
    question is what arrives, not what is there.

    Parameters
    ----------
    mixed
        Mixed-mode matrix.
    asked
        Parameter, end of the receiver, pairs, frequency in Hz. Others than `LOCATED` are left out: what
        arrives at the far end has travelled the same way wherever it crossed over.
    length_m, velocity
        As for `reflection_profile`.

    Raises
    ------
    UsageError
        A velocity that is none.
    """
    losses = ModeLosses.of(mixed)
    wanted = [item for item in asked if item[0] in LOCATED and item[1] in ENDS]
    if not wanted:
        return ()
    velocities = pair_velocities(losses, length_m, velocity)
    if length_m is None and velocities:
        mean = float(np.mean([each.fraction for each in velocities.values()]))
        length_m = electrical_length(losses, mean)
    return tuple(_origin(losses, *item, length_m=length_m, velocities=velocities) for item in wanted)


def _origin(
    losses: ModeLosses,
    parameter: Parameter,
    end: End,
    pairs: tuple[str, ...],
    frequency_hz: float,
    *,
    length_m: float | None,
    velocities: Mapping[str, PairVelocity],
) -> Origin:
    def untold(reason: str) -> Origin:
        return Origin(
            parameter, end, pairs, frequency_hz, (math.nan, math.nan), None, None, None, None, reason
        )

    ways = _ways(losses, parameter, end, pairs)
    concerned = {pair for way in ways for pair in way}
    if length_m is None or not concerned <= set(velocities):
        return untold("its place cannot be told: no length is known")
    if not ways:
        return untold("its place cannot be told: it was not measured")
    slowest = min(velocities[pair].fraction for pair in concerned) * LIGHT_M_PER_S
    f = losses.frequency_hz
    band = _band(f, frequency_hz, _WIDTH * 0.5 * slowest * _PLACES / length_m)
    if isinstance(band, str):
        return untold(f"its place cannot be told: {band}")
    used = np.asarray(band.of(f), dtype=np.float64)
    width_m = _WIDTH * 0.5 * slowest / (used[-1] - used[0])
    step_hz = float(np.median(np.diff(used)))
    if width_m > 0.4 * length_m:
        return untold(f"its place cannot be told: the sweep is too narrow for {length_m:g} m")
    if 0.5 * slowest / step_hz < 1.5 * length_m:
        return untold(
            f"its place cannot be told: steps of {step_hz / 1e6:g} MHz are too coarse for {length_m:g} m"
        )
    distance = _distances(length_m, width_m)
    energy = np.zeros(distance.size)
    for way in ways:
        energy += _energy(losses, end, way, used, band, distance, velocities)
    whole = float(energy.sum())
    if not whole > 0.0:
        return untold("its place cannot be told: there is no signal")
    at_end, from_m, to_m, share = _place(distance, energy / whole, length_m, width_m, end)
    return Origin(
        parameter, end, pairs, frequency_hz, (float(used[0]), float(used[-1])), at_end, from_m, to_m, share,
        _words(at_end, from_m, to_m, share),
    )  # fmt: skip


def _ways(
    losses: ModeLosses, parameter: Parameter, end: End, pairs: tuple[str, ...]
) -> list[tuple[str, str]]:
    """Return (out, into) of every wave that the trace is made of, as far as it was measured."""
    if parameter is Parameter.PS_NEXT:
        ways = [(pairs[0], other) for other in FOUR_PAIRS if other != pairs[0]]
    else:
        ways = [(pairs[0], pairs[-1])]
    there = set(losses.pairs(end))
    return [way for way in ways if there.issuperset(way)]


def _band(f: Row, about_hz: float, least_hz: float) -> _Band | str:
    """Return the evenly spaced points about a frequency: an octave to both sides, at least so wide."""
    low, high = about_hz / _OCTAVES, about_hz * _OCTAVES
    high = min(max(high, low + least_hz), float(f[-1]))
    low = max(min(low, high - least_hz), float(f[0]))
    first, last = int(np.searchsorted(f, low)), int(np.searchsorted(f, high, side="right")) - 1
    if last - first < 8:
        return "there are too few frequencies about it"
    steps = np.diff(f[first : last + 1])
    if steps.max() - steps.min() > _EVEN * float(np.median(steps)):
        return "the frequencies are not evenly spaced"
    return _Band(first, last)


def _distances(length_m: float, width_m: float) -> Row:
    step = max(0.25 * width_m, (length_m + 2.0 * width_m) / _MOST_STEPS)
    return np.arange(-width_m, length_m + width_m + 0.5 * step, step)


def _energy(
    losses: ModeLosses,
    end: End,
    way: tuple[str, str],
    used: Row,
    band: _Band,
    distance_m: Row,
    velocities: Mapping[str, PairVelocity],
) -> Row:
    out, into = (ModePort(BalancedPort(end, pair), "d") for pair in way)
    s = np.asarray(band.of(losses.mixed.at(out=out, into=into)))
    if way[0] != way[1]:
        s = s / used
    window = np.hanning(used.size + 2)[1:-1]
    slowness = sum(1.0 / (velocities[pair].fraction * LIGHT_M_PER_S) for pair in way)
    # The distances are evenly spaced: the phases of a place are those of the one before times a constant.
    turn = np.exp(2j * math.pi * slowness * (distance_m[1] - distance_m[0]) * (used - used[0]))
    wave = s * window * np.exp(2j * math.pi * slowness * distance_m[0] * (used - used[0]))
    envelope = np.empty(distance_m.size, dtype=np.complex128)
    for place in range(distance_m.size):
        envelope[place] = wave.sum()
        wave = wave * turn
    return np.asarray(envelope.real**2 + envelope.imag**2)


def _place(
    distance_m: Row, share: Row, length_m: float, width_m: float, end: End
) -> tuple[End | None, float | None, float | None, float]:
    """Return the end, or the stretch in metres from end A, that most comes from; and its share."""
    reach = min(max(_END_M, width_m), 0.45 * length_m)
    near = float(share[distance_m <= reach].sum())
    far = float(share[distance_m >= length_m - reach].sum())
    other: End = "B" if end == "A" else "A"
    for at, part in ((end, near), (other, far)):
        if part >= _MAINLY:
            edge = (0.0, reach) if at == "A" else (length_m - reach, length_m)
            return at, *edge, part
    total = np.concatenate(([0.0], np.cumsum(share)))
    # The shortest stretch that holds the wanted part.
    ends = np.searchsorted(total, total[:-1] + _MAINLY)
    fits = ends <= share.size
    if not fits.any():
        return None, None, None, 1.0
    spans = np.where(fits, ends - np.arange(share.size), share.size + 1)
    start = int(np.argmin(spans))
    stop = min(start + int(spans[start]), share.size) - 1
    low, high = float(distance_m[start]), float(distance_m[stop])
    if high - low > max(_STRETCH * length_m, _STRETCH_WIDTHS * width_m):
        return None, None, None, 1.0
    low, high = max(low, 0.0), min(high, length_m)
    if end == "B":
        low, high = length_m - high, length_m - low
    return None, low, high, float(total[stop + 1] - total[start])


def _words(at_end: End | None, from_m: float | None, to_m: float | None, share: float) -> str:
    if from_m is None or to_m is None:
        return "comes from all along the specimen"
    percent = f"{min(100.0 * share, 99.0):.0f} % of it"
    if at_end is not None:
        return f"{percent} comes from the {to_m - from_m:.1f} m at end {at_end}"
    return f"{percent} comes from between {from_m:.1f} and {to_m:.1f} m from end A"
