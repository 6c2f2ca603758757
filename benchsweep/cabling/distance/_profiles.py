from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance._gate import TimeGrid, time_grid, why_no_time_domain
from benchsweep.cabling.distance._loss import PairLoss, mean_loss, pair_losses
from benchsweep.cabling.distance._transform import TimeResponse, resolution_s, time_response
from benchsweep.cabling.distance._undo import FreedResponse, freed_response
from benchsweep.cabling.distance._velocity import (
    LIGHT_M_PER_S,
    PairVelocity,
    electrical_length,
    pair_velocities,
)
from benchsweep.records import (
    BalancedPort,
    DistanceKind,
    DistanceTrace,
    End,
    ModePort,
    SMatrix,
    Trace,
    VelocityStanding,
)

__all__ = ["NO_LOSS", "Setting", "crosstalk_profile", "cut", "far_note", "reflection_profile", "set_up"]

# A profile is drawn to a little beyond the far end, so that a reflection there is seen whole.
_BEYOND, _BEYOND_M = 1.15, 0.5
# What comes back in the time before zero is an echo from farther away than the alias range.
_LATE, _LATE_OF_LARGEST = 0.01, 0.1
_TOO_LONG = (
    "something comes back later than the length allows, and is shown at a wrong place: check the length"
)
NO_LOSS = "not corrected for the loss of the cable, which no pair tells"
_COARSER = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What all profiles of one matrix share: its ports, the grid in time, the velocities, how far to look."""

    losses: ModeLosses
    grid: TimeGrid
    delays: Sequence[Trace]
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

    def pair_losses(self) -> Mapping[str, PairLoss]:
        """Return pair -> loss, as far as the insertion loss tells it."""
        return pair_losses(self.losses, self.length_m, self.velocities, self.delays)

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
    resolution_s(float(losses.frequency_hz[-1]), window)  # refuses an unknown window
    delays = propagation_delay(losses, length_m=length_m)
    velocities = pair_velocities(losses, length_m, velocity, delays=delays)
    if not velocities:
        return "no pair was measured"
    slowest = min(each.fraction for each in velocities.values())
    if length_m is None:
        length_m = electrical_length(delays, float(np.mean([each.fraction for each in velocities.values()])))
    if (
        reason := why_no_time_domain(losses.frequency_hz, length_m, velocity_fraction=slowest)
    ) or length_m is None:
        return reason
    grid = time_grid(losses.frequency_hz)
    return grid if isinstance(grid, str) else Setting(losses, grid, delays, velocities, length_m, window)


def cut(setting: Setting, time_s: NDArray[np.float64], fraction: float) -> tuple[slice, NDArray[np.float64]]:
    """Return which times a profile shows, and their distances in metres, one way."""
    distance = time_s * (0.5 * fraction * LIGHT_M_PER_S)
    first = int(np.searchsorted(distance, -1e-9))
    last = int(np.searchsorted(distance, max(_BEYOND * setting.length_m, setting.length_m + _BEYOND_M)))
    shown = slice(first, max(last, first + 2))
    return shown, np.abs(distance[shown])


def far_note(own: bool, near_m: float, far_m: float) -> str:
    """Return what to say of values that are freed from loss: whose it was, how coarse they are far away."""
    said = [] if own else ["corrected with the loss of the other pairs"]
    if far_m > _COARSER * near_m:
        said.append(f"the resolution at the far end is {far_m:.2g} m")
    return "; ".join(said)


def reflection_profile(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    window: str = "hann",
    undo_loss: bool = False,
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
    undo_loss
        Undo loss and dispersion of the way to each place and back, as far as the insertion loss tells them,
        up to a gain of 20 dB; frequencies that would need more are left out, so that the resolution grows
        coarser towards the far end. Equal faults then look alike wherever they are.

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
    spectra = setting.spectra([(port, port) for port in ports])
    response, losses = _respond(setting, [(port.pair,) for port in ports], spectra, undo_loss=undo_loss)
    found = []
    for row, port in enumerate(ports):
        values = response.impulse[row]
        notes = [_TOO_LONG] if isinstance(response, TimeResponse) and _echoes(response, values) else []
        notes += _not_undone(losses[row], undo_loss=undo_loss)
        shown = _Shown("reflection", port.end, (port.pair,), values, notes)
        found.append(_trace(setting, response, shown, losses[row]))
    return tuple(found)


def crosstalk_profile(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    window: str = "hann",
    undo_loss: bool = False,
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
    spectra = 0.5 * (setting.spectra(ports) + setting.spectra([(j, i) for i, j in ports]))
    response, losses = _respond(setting, [(i, j) for _, i, j in ways], spectra, undo_loss=undo_loss)
    return tuple(
        _trace(setting, response, _Shown("crosstalk", end, (i, j), values, notes), loss)
        for (end, i, j), values, loss in zip(ways, response.envelope, losses, strict=True)
        for notes in [_not_undone(loss, undo_loss=undo_loss)]
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """What a trace is of, its values over time, and what is to be said of it."""

    kind: DistanceKind
    end: End
    pairs: tuple[str, ...]
    values: NDArray[np.float64]
    notes: list[str]


def _echoes(response: TimeResponse, impulse: NDArray[np.float64]) -> bool:
    """Tell whether something comes back in the time before zero: from beyond the alias range."""
    late = np.abs(impulse[response.time_s < -2.0 * response.resolution_s]).max()
    return bool(late > max(_LATE, _LATE_OF_LARGEST * np.abs(impulse).max()))


def _not_undone(loss: PairLoss | None, *, undo_loss: bool) -> list[str]:
    return [NO_LOSS] if undo_loss and loss is None else []


def _respond(
    setting: Setting,
    ways: Sequence[tuple[str, ...]],
    spectra: NDArray[np.complex128],
    *,
    undo_loss: bool,
) -> tuple[TimeResponse | FreedResponse, Sequence[PairLoss | None]]:
    """Return the responses, and the loss that was undone for each way; None: none."""
    known = setting.pair_losses() if undo_loss else {}
    if not known:
        return setting.respond(spectra), [None] * len(ways)
    losses = [mean_loss([known[pair] for pair in pairs]) for pairs in ways]
    on_multiples = setting.grid.on_multiples(spectra)
    return freed_response(setting.grid, on_multiples, losses, setting.window, envelope=True), losses


def _trace(
    setting: Setting, response: TimeResponse | FreedResponse, shown: _Shown, loss: PairLoss | None
) -> DistanceTrace:
    fraction, standing = setting.velocity(shown.pairs)
    times, distance = cut(setting, response.time_s, fraction)
    metres = 0.5 * fraction * LIGHT_M_PER_S
    notes = list(shown.notes)
    if isinstance(response, FreedResponse) and loss is not None:
        notes.append(far_note(loss.own, metres * response.resolution_s, metres * response.far_s))
    return DistanceTrace(
        kind=shown.kind,
        end=shown.end,
        pairs=shown.pairs,
        distance_m=distance,
        value=shown.values[times],
        unit="1",
        resolution_m=metres * response.resolution_s,
        window=setting.window,
        velocity_fraction=fraction,
        velocity_standing=standing,
        loss_corrected_m=0.0 if loss is None else float(distance[-1]),
        note="; ".join(note for note in notes if note),
    )
