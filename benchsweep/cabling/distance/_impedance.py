from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchsweep.cabling._losses import ENDS, ModeLosses
from benchsweep.cabling.distance._loss import PairLoss
from benchsweep.cabling.distance._profiles import NO_LOSS, cut, far_note, set_up
from benchsweep.cabling.distance._two_port import TwoPort
from benchsweep.cabling.distance._undo import against_dispersion, freed_response
from benchsweep.cabling.distance._velocity import LIGHT_M_PER_S
from benchsweep.records import BalancedPort, DistanceTrace, ModePort, SMatrix

__all__ = ["impedance_profile"]

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
    and the resolution at the far end is as coarse as the note says. Held against lines of known impedance:
    within 0.3 % over 15 m, 1 % over 100 m.

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
    known = setting.pair_losses()
    ports = [BalancedPort(end, pair) for end in ENDS for pair in losses.pairs(end)]
    spectra = setting.spectra([(port, port) for port in ports])
    f = losses.frequency_hz
    for row, port in enumerate(ports):
        loss = known.get(port.pair)
        if loss is not None and loss.own:
            # On a purely resistive load the dispersive line would echo for long after the far end.
            dispersion = loss.dispersion(f)
            two_port = TwoPort.of(losses, port.end, port.pair)
            spectra[row] = two_port.terminated((dispersion - 1.0) / (dispersion + 1.0))
    if not known:
        response = setting.respond(spectra)
        reflected, time_s, near_s, far_s = response.step, response.time_s, response.resolution_s, 0.0
    else:
        pairs = [known[port.pair] for port in ports]
        values = against_dispersion(setting.grid.on_multiples(spectra), pairs, setting.grid.step_hz)
        freed = freed_response(setting.grid, values, pairs, window)
        reflected, time_s, near_s, far_s = freed.step, freed.time_s, freed.resolution_s, freed.far_s
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
                resolution_m=metres * near_s,
                window=window,
                velocity_fraction=fraction,
                velocity_standing=standing,
                loss_corrected_m=float(distance[-1]) if known else 0.0,
                note=_note(known.get(port.pair), metres * near_s, metres * far_s),
            )
        )
    return tuple(found)


def _note(loss: PairLoss | None, near_m: float, far_m: float) -> str:
    if loss is None:
        return f"{NO_LOSS}: the impedance reads higher with the distance"
    return far_note(loss.own, near_m, far_m)
