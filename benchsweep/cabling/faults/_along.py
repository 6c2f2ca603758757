"""Impedance, unbalance and crosstalk along the cable, with the loss of the way there and back undone.

A small change at the distance x adds to S at the end what the wave lost on its way: exp(-2 gamma x), and
couples in proportion to frequency, as capacitance and inductance do. Both are undone here, so that the same
change looks alike wherever it is, and each half of the cable is looked at from its own end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance import (
    LIGHT_M_PER_S,
    PairLoss,
    TimeGrid,
    pair_losses,
    pair_velocities,
    time_grid,
    why_no_time_domain,
)
from benchsweep.records import BalancedPort, End, Mode, ModePort

__all__ = ["Along", "look_along"]

Row = NDArray[np.float64]
Wave = NDArray[np.complex128]

# Two samples in a sixth of the resolution at 500 MHz; a plug is looked at more finely.
_STEP_M, _PLUG_STEP_M = 0.03, 0.005
_BEFORE_M, _BEYOND_MIDDLE_M = 0.3, 1.5
_PLUG_FROM_M, _PLUG_TO_M = -0.15, 0.25
# What the wave may have lost there and back at the end of the band that is used; noise is raised by as much.
_MOST_GAIN_NP = 30.0 / 8.686
# A Hann window over positive frequencies: width of the impulse at half its height times the band.
_WIDTH = 1.0


@dataclass(frozen=True, eq=False)
class Along:
    """A matrix whose sweep may be turned into time.

    Parameters
    ----------
    losses
        The matrix.
    length_m
        Length of the specimen.
    grid
        How its frequencies make a harmonic grid.
    pair_loss
        Loss and delay of each pair.
    """

    losses: ModeLosses
    length_m: float
    grid: TimeGrid
    pair_loss: Mapping[str, PairLoss]

    @cached_property
    def frequency_hz(self) -> Row:
        """Return the multiples of the step."""
        return np.asarray(self.grid.step_hz * np.arange(1, self.grid.count + 1))

    @cached_property
    def resolution_m(self) -> float:
        """Return how far apart two places must be to be told apart, near the ends."""
        delay = float(np.mean([loss.delay_s for loss in self.pair_loss.values()]))
        return 0.5 * _WIDTH / float(self.frequency_hz[-1]) * self.length_m / delay

    @cached_property
    def half_m(self) -> Row:
        """Return the distances from either end that are looked at from there."""
        return np.arange(-_BEFORE_M, 0.5 * self.length_m + _BEYOND_MIDDLE_M, _STEP_M)

    @cached_property
    def distance_m(self) -> Row:
        """Return the distances from end A over the whole length and a little beyond both ends."""
        return np.arange(-_BEFORE_M, self.length_m + _BEFORE_M, _STEP_M)

    @cached_property
    def plug_m(self) -> Row:
        """Return distances from an end around its plug."""
        return np.arange(_PLUG_FROM_M, _PLUG_TO_M, _PLUG_STEP_M)

    def spectrum(self, end: End, out: tuple[str, Mode], into: tuple[str, Mode]) -> Wave | None:
        """Return ``(count,)`` S at one end between two modes, each (pair, mode); None if not measured."""
        mixed = self.losses.mixed
        ports = [ModePort(BalancedPort(end, pair), mode) for pair, mode in (out, into)]
        if not all(mixed.has(port) for port in ports):
            return None
        return np.asarray(self.grid.on_multiples(mixed.at(out=ports[0], into=ports[1])))

    def _transfer(self, pair: str) -> Wave:
        """Return gamma times length of a pair: neper + j radian."""
        loss, f = self.pair_loss[pair], self.frequency_hz
        # Half of the way there and back over all of the length, freed from the plain delay.
        return np.asarray(np.log(loss.undone(f, 0.5)) + 2j * math.pi * f * loss.delay_s)

    def _seen_from(
        self, first: str, second: str, spectra: Sequence[Wave], distance_m: Row
    ) -> tuple[NDArray[np.float64], Row]:
        """Return ``(n_spectra, n_distance)`` sums over frequency with the way to each distance undone.

        And the band that was used at each distance, in Hz: up to where the way there and back loses too much.
        `distance_m` is evenly spaced, so the factors of a place are those of the one before times a constant.
        """
        f = self.frequency_hz
        gamma = (self._transfer(first) + self._transfer(second)) / self.length_m
        step_m = float(distance_m[1] - distance_m[0])
        turn, grow = np.exp(1j * step_m * gamma.imag), np.exp(step_m * gamma.real)
        phase, gain = np.exp(1j * float(distance_m[0]) * gamma.imag), np.ones(f.size)
        lossy = np.maximum.accumulate(gamma.real)
        columns = np.stack(spectra, axis=1)
        sums = np.empty((len(spectra), distance_m.size))
        bands = np.empty(distance_m.size)
        window, last = np.empty(0), -1
        for k, distance in enumerate(distance_m):
            usable = min(int(np.searchsorted(lossy, _MOST_GAIN_NP / max(float(distance), 1e-9))), f.size - 1)
            bands[k] = f[usable] + self.grid.step_hz
            if usable != last:
                window = 0.5 + 0.5 * np.cos(math.pi * f[: usable + 1] / bands[k])
                last = usable
            used = slice(0, usable + 1)
            sums[:, k] = ((window * gain[used] * phase[used]) @ columns[used]).real
            phase = phase * turn
            if distance >= 0.0:
                gain = gain * grow
        return sums, bands

    def _by_frequency(self, spectra: Sequence[Wave]) -> list[Wave]:
        """Return the spectra over j w/4, weighted for a sum over the steps."""
        weight = 4.0 * self.grid.step_hz / (2j * math.pi * self.frequency_hz)
        return [spectrum * weight for spectrum in spectra]

    def density(self, first: str, second: str, spectra: Sequence[Wave], distance_m: Row) -> list[Row]:
        """Return the coupling per length of way, dimensionless, of `spectra` between two pairs.

        For a reflection it is the relative deviation of the impedance; S = j w t/2 times it, when it is
        spread over the way t in time there and back.
        """
        return list(self._seen_from(first, second, self._by_frequency(spectra), distance_m)[0])

    def lump_s(self, end: End, first: str, second: str, distance_m: Row) -> Row | None:
        """Return ``(n_distance,)`` what couples about each place, in seconds: S = j w T, mean of both ways.

        None when the pairs were not measured at that end.
        """
        one = self.spectrum(end, (first, "d"), (second, "d"))
        other = self.spectrum(end, (second, "d"), (first, "d"))
        if one is None or other is None:
            return None
        sums, band = self._seen_from(first, second, self._by_frequency([0.5 * (one + other)]), distance_m)
        return np.asarray(sums[0] / (2.0 * band))

    def reflection(self, end: End, first: str, second: str) -> Row | None:
        """Return ``(n_half_m,)`` reflection; one alike at all frequencies shows with its own value."""
        spectrum = self.spectrum(end, (first, "d"), (second, "d"))
        if spectrum is None:
            return None
        sums, band = self._seen_from(first, second, [spectrum], self.half_m)
        # A Hann window over positive frequencies holds half of its band.
        return np.asarray(sums[0] / (0.5 * band / self.grid.step_hz))

    @cached_property
    def _own(self) -> dict[tuple[End, str], tuple[Row, Row | None]]:
        """Return impedance deviation and unbalance of each pair from each end, over `half_m`."""
        found: dict[tuple[End, str], tuple[Row, Row | None]] = {}
        for pair in self.pair_loss:
            spectra: list[Wave] = []
            asked: list[tuple[End, bool]] = []
            for end in ENDS:
                reflection = self.spectrum(end, (pair, "d"), (pair, "d"))
                conversion = self.spectrum(end, (pair, "c"), (pair, "d"))
                if reflection is not None:
                    spectra += [reflection] if conversion is None else [reflection, conversion]
                    asked.append((end, conversion is not None))
            rows = iter(self.density(pair, pair, spectra, self.half_m) if spectra else [])
            for end, converted in asked:
                found[end, pair] = next(rows), next(rows) if converted else None
        return found

    def impedance(self, pair: str) -> Row | None:
        """Return ``(n_distance_m,)`` the relative deviation of impedance, but for a constant.

        Each half from its own end, joined in the middle; a pair measured at one end only gives None.
        """
        a, b = self._own.get(("A", pair)), self._own.get(("B", pair))
        if a is None or b is None:
            return None
        return self._joined(a[0], b[0], level=True)

    def unbalance(self, pair: str) -> Row | None:
        """Return ``(n_distance_m,)`` the coupling of a pair into its own common mode; None without taps."""
        a, b = self._own.get(("A", pair)), self._own.get(("B", pair))
        if a is None or b is None or a[1] is None or b[1] is None:
            return None
        return self._joined(a[1], b[1], level=False)

    def _joined(self, from_a: Row, from_b: Row, *, level: bool) -> Row:
        x, middle = self.distance_m, 0.5 * self.length_m
        at_a = np.interp(x, self.half_m, from_a)
        at_b = np.interp(self.length_m - x, self.half_m, from_b)
        about = np.abs(x - middle) < min(0.5 * _BEYOND_MIDDLE_M, 0.25 * self.length_m)
        offset = float(np.median((at_a - at_b)[about])) if level and about.any() else 0.0
        return np.where(x < middle, at_a, at_b + offset)

    def contrast(self, profile: Row, width_m: float) -> Row:
        """Return a profile against the mean of its neighbours at `width_m` on both sides."""
        n = max(1, round(width_m / _STEP_M))
        padded = np.pad(profile, n, mode="edge")
        return np.asarray(profile - 0.5 * (padded[: -2 * n] + padded[2 * n :]))

    def edge(self, profile: Row, width_m: float) -> Row:
        """Return how much a profile rises across each place, from `width_m` before to `width_m` behind."""
        n = max(1, round(width_m / _STEP_M))
        padded = np.pad(profile, n, mode="edge")
        return np.asarray(padded[2 * n :] - padded[: -2 * n])


def look_along(
    losses: ModeLosses, length_m: float | None, velocity: Mapping[str, float] | float | None
) -> Along | str:
    """Return the matrix for a look along the cable, or in words why it does not allow one."""
    velocities = pair_velocities(losses, length_m, velocity)
    if not velocities:
        return "no pair was measured"
    slowest = min(each.fraction for each in velocities.values())
    reason = why_no_time_domain(losses.frequency_hz, length_m, velocity_fraction=slowest)
    if reason or length_m is None:
        return reason
    grid = time_grid(losses.frequency_hz)
    if isinstance(grid, str):
        return grid
    known = dict(pair_losses(losses, length_m, velocities))
    for pair, each in velocities.items():
        # Nothing comes through: what is near is seen all the same, without its loss.
        known.setdefault(pair, PairLoss(length_m / (each.fraction * LIGHT_M_PER_S), 0.0, 0.0, 0.0, own=False))
    return Along(losses, length_m, grid, known)
