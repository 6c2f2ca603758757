from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance._loss import PairLoss, pair_losses
from benchsweep.cabling.distance._profiles import Setting, cut, set_up
from benchsweep.cabling.distance._transform import WINDOWS, resolution_s
from benchsweep.cabling.distance._velocity import LIGHT_M_PER_S
from benchsweep.records import BalancedPort, DistanceTrace, ModePort, SMatrix

__all__ = ["impedance_profile"]

# The loss of the way is undone up to this gain; above, the frequencies are left out, which widens the
# resolution towards the far end. At 20 dB noise and residual errors grow tenfold at most.
_MOST_GAIN_NP = math.log(10.0)
# The loss is undone exactly at some places; between them the two nearest are mixed. With g neper of gain more
# from one place to the next the mixture is off by at most g²/8: 0.3 % of a reflection.
_GAIN_PER_PLACE_NP = 0.15
_REACH = 1.2
_FEWEST_FREQUENCIES = 16
_OVERSAMPLING = 2
_LEAST_OHM, _MOST_OHM = 10.0, 1000.0


def impedance_profile(
    mixed: SMatrix | ModeLosses,
    *,
    length_m: float | None = None,
    velocity: Mapping[str, float] | float | None = None,
    window: str = "hann",
) -> tuple[DistanceTrace, ...]:
    """Return the local differential impedance over the distance in ohm, of every pair at every end.

    Z = Z0 (1 + r)/(1 - r), r the response of the reflection to a step (textbook time-domain reflectometry).
    Where the loss of the pair is known from its insertion loss, it is taken out in two ways. The impedance is
    told against the dispersion of the line, so that a uniform cable is level where its resistance would make
    it rise; what is shown is the impedance at high frequencies, sqrt(L/C). And loss and dispersion of the way
    to each place and back are undone, up to a gain of 20 dB; frequencies that would need more are left out,
    and the resolution at the far end is as coarse as the note says.

    What stays: reflections that go back and forth more than once are not taken apart, each steps of 10 %
    leaves about 0.02 % (second order); below 10 and above 1000 ohm the value stops there (short, open), and
    behind such a place it means nothing. Pairs without a measured loss of their own take that of the others;
    without any, the step response stands as it is and reads a few percent too high, rising with the
    distance; the note says so.

    Parameters, returns and raises as `reflection_profile`.
    """
    setting = set_up(mixed, length_m, velocity, window)
    if isinstance(setting, str):
        return ()
    losses = setting.losses
    known = pair_losses(losses, setting.length_m, setting.velocities)
    ports = [BalancedPort(end, pair) for end in ENDS for pair in losses.pairs(end)]
    spectra = setting.spectra([(port, port) for port in ports])
    if not known:
        response = setting.respond(spectra)
        reflected, time_s, width_s = response.step, response.time_s, [response.resolution_s] * 2
    else:
        pairs = [known[port.pair] for port in ports]
        reflected, time_s, width_s = _without_loss(setting, spectra, pairs)
    found = []
    for port, row in zip(ports, reflected, strict=True):
        fraction, standing = setting.velocity((port.pair,))
        shown, distance = cut(setting, time_s, fraction)
        reference = losses.mixed.z0_ohm[losses.mixed.ports.index(str(ModePort(port, "d")))]
        at_most = (_MOST_OHM - reference) / (_MOST_OHM + reference)
        at_least = (_LEAST_OHM - reference) / (_LEAST_OHM + reference)
        r = np.clip(row[shown], at_least, at_most)
        metres = 0.5 * fraction * LIGHT_M_PER_S
        found.append(
            DistanceTrace(
                kind="impedance",
                end=port.end,
                pairs=(port.pair,),
                distance_m=distance,
                value=reference * (1.0 + r) / (1.0 - r),
                unit="ohm",
                resolution_m=metres * width_s[0],
                window=window,
                velocity_fraction=fraction,
                velocity_standing=standing,
                loss_corrected_m=float(distance[-1]) if known else 0.0,
                note=_note(known.get(port.pair), metres * width_s[0], metres * width_s[1]),
            )
        )
    return tuple(found)


def _note(loss: PairLoss | None, near_m: float, far_m: float) -> str:
    if loss is None:
        return (
            "not corrected for the loss of the cable, which no pair tells: the impedance reads higher with "
            "the distance"
        )
    said = "" if loss.own else "corrected with the loss of the other pairs"
    if far_m > 1.2 * near_m:
        said += f"{'; ' if said else ''}the resolution at the far end is {far_m:.2g} m"
    return said


def _without_loss(
    setting: Setting, spectra: NDArray[np.complex128], losses: Sequence[PairLoss]
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[float]]:
    """Return step responses ``(n_port, n_time)`` freed from loss, the times, and the widths near and far."""
    grid = setting.grid
    f = grid.step_hz * np.arange(1.0, grid.count + 1.0)
    reflected = _against_dispersion(grid.on_multiples(spectra), np.stack([p.dispersion(f) for p in losses]))
    most = np.max(np.stack([p.attenuation_np(f) for p in losses]), axis=0)
    n = next_fast_len(2 * _OVERSAMPLING * (grid.count + 1), real=True)
    lead = n // 4
    time_s = (np.arange(n) - lead) / (n * grid.step_hz)
    places = 1 + math.ceil(min(2.0 * _REACH * most[-1], _MOST_GAIN_NP) / _GAIN_PER_PLACE_NP)
    # Where each time lies among the places, for each port: the first at the port, the last beyond the end.
    position = np.stack([time_s / (2.0 * p.delay_s) for p in losses]) * (places / _REACH)
    position = np.clip(position, 0.0, places)
    impulse = np.zeros((len(losses), n))
    widths = []
    for place in range(places + 1):
        part = place * _REACH / places
        count = _usable(most, part)
        shape = WINDOWS[setting.window](np.arange(1, count + 1) / (count + 1))
        undone = np.stack([p.undone(f[:count], part) for p in losses])
        spectrum = np.zeros((len(losses), count + 1), dtype=np.complex128)
        spectrum[:, 1:] = reflected[:, :count] * undone * shape
        response = irfft(spectrum, n, axis=-1)
        width_s = resolution_s(count * grid.step_hz, setting.window)
        widths.append(width_s)
        last = n - min(round(2.0 * width_s * n * grid.step_hz), n // 8)
        response -= response[:, n - n // 4 : last].mean(axis=-1, keepdims=True)
        share = np.clip(1.0 - np.abs(position - place), 0.0, None)
        impulse += share * np.roll(response, lead, axis=-1)
    reflected = np.cumsum(impulse, axis=-1) - 0.5 * impulse  # by trapezoids
    return reflected, time_s, [widths[0], widths[round(places / _REACH)]]


def _against_dispersion(
    reflected: NDArray[np.complex128], dispersion: NDArray[np.complex128]
) -> NDArray[np.complex128]:
    """Return the reflections against the reference impedance times `dispersion`: (z - d)/(z + d).

    With z = (1 + S)/(1 - S), written so that an open (S = 1) makes no infinity.
    """
    plus, minus = 1.0 + reflected, dispersion * (1.0 - reflected)
    return np.asarray((plus - minus) / (plus + minus), dtype=np.complex128)


def _usable(attenuation_np: NDArray[np.float64], part: float) -> int:
    """Return how many frequencies need no more than the allowed gain for the way to `part` and back."""
    needed = 2.0 * part * attenuation_np
    within = int(np.searchsorted(needed, _MOST_GAIN_NP, side="right"))
    return min(max(within, _FEWEST_FREQUENCIES), attenuation_np.size)
