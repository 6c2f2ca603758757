from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance._gate import TimeGrid, time_grid, why_no_time_domain
from benchsweep.cabling.distance._transform import TimeResponse, time_response
from benchsweep.cabling.distance._velocity import (
    LIGHT_M_PER_S,
    PairVelocity,
    electrical_length,
    pair_velocities,
)
from benchsweep.records import BalancedPort, DistanceTrace, End, ModePort, SMatrix, VelocityStanding

__all__ = ["Setting", "crosstalk_profile", "cut", "reflection_profile", "set_up"]

# A profile is drawn to a little beyond the far end, so that a reflection there is seen whole.
_BEYOND, _BEYOND_M = 1.15, 0.5
# What comes back in the time before zero is an echo from farther away than the alias range.
_LATE, _LATE_OF_LARGEST = 0.01, 0.1
_TOO_LONG = (
    "something comes back later than the length allows, and is shown at a wrong place: check the length"
)


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What all profiles of one matrix share: its ports, the grid in time, the velocities, how far to look."""

    losses: ModeLosses
    grid: TimeGrid
    velocities: Mapping[str, PairVelocity]
    length_m: float
    window: str

    def spectra(self, paths: Sequence[tuple[BalancedPort, BalancedPort]]) -> NDArray[np.complex128]:
        """Return ``(n_path, n_freq)``, differential out of the first over differential into the second."""
        mixed = self.losses.mixed
        index = {label: i for i, label in enumerate(mixed.ports)}
        out = [index[str(ModePort(first, "d"))] for first, _ in paths]
        into = [index[str(ModePort(second, "d"))] for _, second in paths]
        return np.ascontiguousarray(mixed.s[:, out, into].T)

    def respond(self, spectra: NDArray[np.complex128]) -> TimeResponse:
        """Return the responses in time."""
        return time_response(self.losses.frequency_hz, spectra, window=self.window, grid=self.grid)

    def velocity(self, pairs: Sequence[str]) -> tuple[float, VelocityStanding]:
        """Return the velocity of a way out along the first pair and back along the last."""
        found = [self.velocities[pair] for pair in pairs]
        fraction = len(found) / sum(1.0 / each.fraction for each in found)
        worst: VelocityStanding = max(
            (each.standing for each in found), key=["measured", "given", "common-practice"].index
        )
        return fraction, worst


def set_up(
    mixed: SMatrix | ModeLosses,
    length_m: float | None,
    velocity: Mapping[str, float] | float | None,
    window: str,
) -> Setting | str:
    """Return what the profiles share, or in words why there are none."""
    losses = ModeLosses.of(mixed)
    velocities = pair_velocities(losses, length_m, velocity)
    if not velocities:
        return "no pair was measured"
    slowest = min(each.fraction for each in velocities.values())
    if length_m is None:
        length_m = electrical_length(losses, float(np.mean([each.fraction for each in velocities.values()])))
    if (
        reason := why_no_time_domain(losses.frequency_hz, length_m, velocity_fraction=slowest)
    ) or length_m is None:
        return reason
    grid = time_grid(losses.frequency_hz)
    return grid if isinstance(grid, str) else Setting(losses, grid, velocities, length_m, window)


def cut(setting: Setting, time_s: NDArray[np.float64], fraction: float) -> tuple[slice, NDArray[np.float64]]:
    """Return which times a profile shows, and their distances in metres, one way."""
    distance = time_s * (0.5 * fraction * LIGHT_M_PER_S)
    first = int(np.searchsorted(distance, -1e-9))
    last = int(np.searchsorted(distance, max(_BEYOND * setting.length_m, setting.length_m + _BEYOND_M)))
    shown = slice(first, max(last, first + 2))
    return shown, np.abs(distance[shown])


def reflection_profile(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    window: str = "hann",
) -> tuple[DistanceTrace, ...]:
    """Return the reflection over the distance, of every pair at every end.

    Impulse response of S[E:p/d, E:p/d]: signed, positive towards a higher impedance. A reflection that is the
    same at all frequencies shows with its reflection coefficient, less twice the loss of the way to it;
    ``-20 log10 |value|`` is the time-domain return loss in dB.

    Parameters
    ----------
    mixed
        Mixed-mode matrix, ports ``A:12/d`` …
    length_m
        Length of the specimen; without it the delay and the velocity tell it.
    velocity
        Velocity over that of light, for all pairs or pair by pair; None: from the measured delay and
        `length_m`, see `nominal_velocity`.
    window
        ``hann``, ``blackman`` or ``rectangular``.

    Returns
    -------
    Nothing when the sweep is not fit: `why_no_time_domain` says why.

    Raises
    ------
    UsageError
        A velocity that is none, or no such window.
    """
    setting = set_up(mixed, length_m, velocity, window)
    if isinstance(setting, str):
        return ()
    ports = [BalancedPort(end, pair) for end in ENDS for pair in setting.losses.pairs(end)]
    response = setting.respond(setting.spectra([(port, port) for port in ports]))
    found = []
    late = response.time_s < -2.0 * response.resolution_s
    for port, values in zip(ports, response.impulse, strict=True):
        echo, largest = np.abs(values[late]).max(), np.abs(values).max()
        fraction, standing = setting.velocity((port.pair,))
        shown, distance = cut(setting, response.time_s, fraction)
        found.append(
            DistanceTrace(
                kind="reflection",
                end=port.end,
                pairs=(port.pair,),
                distance_m=distance,
                value=values[shown],
                unit="1",
                resolution_m=0.5 * fraction * LIGHT_M_PER_S * response.resolution_s,
                window=window,
                velocity_fraction=fraction,
                velocity_standing=standing,
                note=_TOO_LONG if echo > max(_LATE, _LATE_OF_LARGEST * largest) else "",
            )
        )
    return tuple(found)


def crosstalk_profile(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    window: str = "hann",
) -> tuple[DistanceTrace, ...]:
    """Return the near-end crosstalk over the distance, of every pair combination at every end.

    Envelope of the impulse response of the mean of S[E:i/d, E:j/d] and S[E:j/d, E:i/d], which are alike in a
    reciprocal specimen; ``-20 log10 value`` is the time-domain crosstalk in dB, less the loss of the way. The
    distance counts the way out along one pair and back along the other. Far-end crosstalk has no profile:
    from wherever it couples, it arrives at the same time.

    Parameters, returns and raises as `reflection_profile`.
    """
    setting = set_up(mixed, length_m, velocity, window)
    if isinstance(setting, str):
        return ()
    ways: list[tuple[End, str, str]] = [
        (end, i, j) for end in ENDS for i, j in combinations(setting.losses.pairs(end), 2)
    ]
    if not ways:
        return ()
    ports = [(BalancedPort(end, i), BalancedPort(end, j)) for end, i, j in ways]
    spectra = setting.spectra(ports) + setting.spectra([(j, i) for i, j in ports])
    response = setting.respond(0.5 * spectra)
    found = []
    for (end, i, j), values in zip(ways, response.envelope, strict=True):
        fraction, standing = setting.velocity((i, j))
        shown, distance = cut(setting, response.time_s, fraction)
        found.append(
            DistanceTrace(
                kind="crosstalk",
                end=end,
                pairs=(i, j),
                distance_m=distance,
                value=values[shown],
                unit="1",
                resolution_m=0.5 * fraction * LIGHT_M_PER_S * response.resolution_s,
                window=window,
                velocity_fraction=fraction,
                velocity_standing=standing,
            )
        )
    return tuple(found)
