"""The loss of a pair as a smooth function: what a wave loses, and lags, on its way to a place and back."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._delay import propagation_delay
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling.distance._two_port import TwoPort
from benchsweep.cabling.distance._velocity import LIGHT_M_PER_S, PairVelocity
from benchsweep.records import Trace

__all__ = ["PairLoss", "mean_loss", "pair_losses"]

Row = NDArray[np.float64]
Wave = NDArray[np.complex128]

_NEPER_DB = 20.0 / math.log(10.0)
# A pair with more than about twice the loss of thin stranded cable, 2.2 sqrt(f) dB in 100 m, has something
# wrong with it that is not spread over its length; its loss is then taken from the others. Common practice.
_MOST_DB_PER_M_ROOT_MHZ = 0.045


@dataclass(frozen=True, slots=True)
class PairLoss:
    """Loss and delay of a whole pair, one way.

    A line of inductance L and capacitance C whose conductors have the impedance R(f): gamma l =
    j b sqrt(1 + 2 k/(j b)), with b = w sqrt(LC) l and k = R l/(2 sqrt(L/C)). Skin effect makes R grow with
    the root of the frequency, resistance and internal reactance alike, (1 + j) sqrt f; the direct-current
    resistance below it adds (1 - j)/sqrt f, the next term of sqrt(1 + j w/w0). Dielectric loss grows with
    the frequency. What is the same at all frequencies is loss of contacts and does not belong to the cable.

    Parameters
    ----------
    delay_s
        Phase delay at the highest frequency.
    root_np, inverse_root_np, linear_np
        Conductor loss that grows with the root of the frequency and that falls with it, and dielectric loss,
        at 1 MHz in neper.
    own
        False when it was taken from other pairs.
    """

    delay_s: float
    root_np: float
    inverse_root_np: float
    linear_np: float
    own: bool = True

    def _conductors(self, frequency_hz: Row) -> Wave:
        """Return ``(n_freq,)`` k."""
        root = np.sqrt(frequency_hz / 1e6)
        return np.asarray((1.0 + 1.0j) * self.root_np * root + (1.0 - 1.0j) * self.inverse_root_np / root)

    def _bare_phase(self, frequency_hz: Row) -> Row:
        """Return ``(n_freq,)`` b: the phase that the pair would have without its conductors' impedance."""
        top = frequency_hz[-1:]
        lag_s = float(self._conductors(top).imag[0]) / (2.0 * math.pi * float(top[0]))
        return 2.0 * math.pi * frequency_hz * (self.delay_s - lag_s)

    def attenuation_np(self, frequency_hz: Row) -> Row:
        """Return ``(n_freq,)`` loss in neper, to first order."""
        return np.asarray(self._conductors(frequency_hz).real + self.linear_np * frequency_hz / 1e6)

    def dispersion(self, frequency_hz: Row) -> Wave:
        """Return ``(n_freq,)`` characteristic impedance over sqrt(L/C): sqrt(1 + 2 k/(j b))."""
        phase = self._bare_phase(frequency_hz)
        return np.asarray(np.sqrt(1.0 + 2.0 * self._conductors(frequency_hz) / (1j * phase)))

    def undone(self, frequency_hz: Row, part: float) -> Wave:
        """Return ``(n_freq,)`` what undoes loss and dispersion of the way to `part` of the pair and back.

        The plain delay at the highest frequency stays: it is what makes the distance.
        """
        transfer = 1j * self._bare_phase(frequency_hz) * self.dispersion(frequency_hz)
        transfer += self.linear_np * frequency_hz / 1e6 - 2j * math.pi * frequency_hz * self.delay_s
        return np.asarray(np.exp(2.0 * part * transfer), dtype=np.complex128)


def mean_loss(losses: Sequence[PairLoss]) -> PairLoss:
    """Return the loss of a way that goes out along one pair and comes back along another: their mean."""
    count = len(losses)
    return PairLoss(
        delay_s=sum(each.delay_s for each in losses) / count,
        root_np=sum(each.root_np for each in losses) / count,
        inverse_root_np=sum(each.inverse_root_np for each in losses) / count,
        linear_np=sum(each.linear_np for each in losses) / count,
        own=all(each.own for each in losses),
    )


def pair_losses(
    losses: ModeLosses,
    length_m: float,
    velocities: Mapping[str, PairVelocity],
    delays: Sequence[Trace] | None = None,
) -> Mapping[str, PairLoss]:
    """Return pair -> loss, fitted to what gets through the pairs that carry a signal.

    Least squares with no negative part over a constant, the root of the frequency, its inverse, and the
    frequency. A pair without a delay, or with more loss than a cable has, takes the mean of the others; empty
    when there are none. `delays` are the traces of `propagation_delay` where they are at hand.
    """
    f = losses.frequency_hz
    own: dict[str, PairLoss] = {}
    for trace in propagation_delay(losses, length_m=length_m) if delays is None else delays:
        pair, delay_s = trace.pairs[0], 1e-9 * float(trace.value[-1])
        two_port = TwoPort.of(losses, "A", pair)
        if delay_s <= 0.0 or not np.all(two_port.through):
            continue
        rough = _fitted(f, two_port.through, delay_s, second_np=0.0)
        # On its own impedance, which is not resistive at low frequencies, the line shows its loss alone. To
        # second order it loses a little less, the same at all frequencies: k²/(2 j b) = root²/b.
        dispersion = rough.dispersion(f)
        matched = two_port.through_between((dispersion - 1.0) / (dispersion + 1.0))
        second_np = rough.root_np**2 / (2e6 * math.pi * delay_s)
        fitted = _fitted(f, matched, delay_s, second_np=second_np)
        if fitted.root_np * _NEPER_DB <= _MOST_DB_PER_M_ROOT_MHZ * length_m:
            own[pair] = fitted
    if not own:
        return {}
    mean = mean_loss(list(own.values()))
    others = {
        pair: replace(mean, delay_s=length_m / (velocity.fraction * LIGHT_M_PER_S), own=False)
        for pair, velocity in velocities.items()
    }
    return others | own


def _fitted(frequency_hz: Row, through: Wave, delay_s: float, *, second_np: float) -> PairLoss:
    root = np.sqrt(frequency_hz / 1e6)
    shape = np.stack([np.ones_like(root), root, 1.0 / root, root**2], axis=1)
    found = least_squares(shape, second_np - np.log(np.abs(through)))
    return PairLoss(delay_s, float(found[1]), float(found[2]), float(found[3]))


def least_squares(columns: Row, wanted: Row) -> Row:
    """Return what each of a few columns is multiplied by, nothing negative, so that their sum is nearest.

    The problem is convex: the solution is that of least squares over some of the columns, the best of those
    that have no negative part. So few sets of columns can all be tried, in less time than an import of
    scipy.optimize takes.

    Parameters
    ----------
    columns, wanted
        ``(n, k)`` with k <= n, and ``(n,)``.

    Returns
    -------
    ``(k,)``, none below 0.
    """
    # The rotated problem has k rows, and the same sums of squares but for a part that no choice changes.
    q, r = np.linalg.qr(columns)
    target = q.T @ wanted
    count = columns.shape[1]
    best, least = np.zeros(count), float(target @ target)
    for size in range(count, 0, -1):
        for chosen in combinations(range(count), size):
            some = list(chosen)
            part = np.linalg.lstsq(r[:, some], target, rcond=None)[0]
            error = float(np.sum((r[:, some] @ part - target) ** 2))
            if np.all(part >= 0.0) and error < least:
                best, least = np.zeros(count), error
                best[some] = part
                if size == count:
                    return best
    return best
