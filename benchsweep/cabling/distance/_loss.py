"""The loss of a pair as a smooth function: what a wave loses, and lags, on its way to a place and back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling.distance._velocity import LIGHT_M_PER_S, PairVelocity
from benchsweep.records import BalancedPort

__all__ = ["PairLoss", "pair_losses"]

_NEPER_DB = 20.0 / math.log(10.0)
# A pair with more than about twice the loss of thin stranded cable, 2.2 sqrt(f) dB in 100 m, has something
# wrong with it that is not spread over its length; its loss is then taken from the others. Common practice.
_MOST_DB_PER_M_ROOT_MHZ = 0.045


@dataclass(frozen=True, slots=True)
class PairLoss:
    """Loss and delay of a whole pair, one way.

    Conductor loss grows with the root of the frequency and brings an equal part of phase with it (skin
    effect: resistance and internal reactance are equal), dielectric loss grows with the frequency. What is
    the same at all frequencies is loss of contacts and does not belong to the cable.

    Parameters
    ----------
    delay_s
        Phase delay at the highest frequency.
    root_np, linear_np
        Conductor and dielectric loss at 1 MHz in neper.
    own
        False when it was taken from other pairs.
    """

    delay_s: float
    root_np: float
    linear_np: float
    own: bool = True

    def conductor_np(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return ``(n_freq,)`` conductor loss in neper."""
        return np.asarray(self.root_np * np.sqrt(frequency_hz / 1e6), dtype=np.float64)

    def attenuation_np(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return ``(n_freq,)`` loss in neper."""
        return self.conductor_np(frequency_hz) + self.linear_np * frequency_hz / 1e6

    def phase_without_loss(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return ``(n_freq,)`` phase in radian that the pair would have without internal reactance."""
        top = float(frequency_hz[-1])
        slow_s = float(self.conductor_np(frequency_hz[-1:])[0]) / (2.0 * math.pi * top)
        return 2.0 * math.pi * frequency_hz * (self.delay_s - slow_s)

    def dispersion(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return ``(n_freq,)`` characteristic impedance over that at high frequencies.

        sqrt(z/y) with z = j w L + R (1 + j) is to first order 1 + R (1 + j)/(2 j w L), and the conductor loss
        over the phase is R/(2 w L): 1 + (1 - j) conductor loss/phase (D. M. Pozar, Microwave Engineering,
        low-loss line).
        """
        relative = self.conductor_np(frequency_hz) / self.phase_without_loss(frequency_hz)
        return np.asarray(1.0 + (1.0 - 1.0j) * relative, dtype=np.complex128)

    def undone(self, frequency_hz: NDArray[np.float64], part: float) -> NDArray[np.complex128]:
        """Return ``(n_freq,)`` what undoes loss and dispersion of the way to `part` of the pair and back.

        The plain delay at the highest frequency stays: it is what makes the distance.
        """
        conductor = self.conductor_np(frequency_hz)
        lag = self.phase_without_loss(frequency_hz) + conductor - 2.0 * math.pi * frequency_hz * self.delay_s
        return np.asarray(np.exp(2.0 * part * (self.attenuation_np(frequency_hz) + 1j * lag)))


def pair_losses(
    losses: ModeLosses, length_m: float, velocities: Mapping[str, PairVelocity]
) -> Mapping[str, PairLoss]:
    """Return pair -> loss, fitted to the insertion loss of the pairs that carry a signal.

    Least squares with no negative part over a constant, the root of the frequency and the frequency. A pair
    without a delay, or with more loss than a cable has, takes the mean of the others; empty when there are
    none.
    """
    f = losses.frequency_hz
    root_mhz = np.sqrt(f / 1e6)
    shape = np.stack([np.ones_like(root_mhz), root_mhz, f / 1e6], axis=1)
    own: dict[str, PairLoss] = {}
    for trace in propagation_delay(losses, length_m=length_m):
        pair = trace.pairs[0]
        a, b = BalancedPort("A", pair), BalancedPort("B", pair)
        loss_db = 0.5 * (losses.loss(a, b) + losses.loss(b, a))
        if not np.all(np.isfinite(loss_db)):
            continue
        fitted, _ = nnls(shape, loss_db / _NEPER_DB)
        if fitted[1] * _NEPER_DB <= _MOST_DB_PER_M_ROOT_MHZ * length_m and trace.value[-1] > 0.0:
            own[pair] = PairLoss(1e-9 * float(trace.value[-1]), float(fitted[1]), float(fitted[2]))
    if not own:
        return {}
    root = float(np.mean([each.root_np for each in own.values()]))
    linear = float(np.mean([each.linear_np for each in own.values()]))
    others = {
        pair: PairLoss(length_m / (velocity.fraction * LIGHT_M_PER_S), root, linear, own=False)
        for pair, velocity in velocities.items()
    }
    return others | own
