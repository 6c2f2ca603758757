"""A pair as a two-port: its ends opened, shorted and terminated by computation, and what that tells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.cabling._losses import ModeLosses, far_end
from benchsweep.records import BalancedPort, End, ModePort

__all__ = ["TwoPort", "input_impedance"]

Wave = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class TwoPort:
    """One pair between its ends, the other pairs on their terminations.

    Parameters
    ----------
    near, far, through
        ``(n_freq,)`` reflection at the near and the far end, and the mean of both directions through.
    reference_ohm
        The impedance they belong to.
    """

    near: Wave
    far: Wave
    through: Wave
    reference_ohm: float

    @classmethod
    def of(cls, losses: ModeLosses, end: End, pair: str) -> TwoPort:
        """Return the pair looked into from `end`; it must have been measured at both."""
        mixed = losses.mixed
        a, b = (ModePort(BalancedPort(e, pair), "d") for e in (end, far_end(end)))
        through = 0.5 * (mixed.at(out=a, into=b) + mixed.at(out=b, into=a))
        reference = mixed.z0_ohm[mixed.ports.index(str(a))]
        return cls(mixed.at(out=a, into=a), mixed.at(out=b, into=b), through, reference)

    def terminated(self, reflection: Wave | float) -> Wave:
        """Return ``(n_freq,)`` reflection at the near end when the load at the far end reflects that."""
        return np.asarray(self.near + self.through**2 * reflection / (1.0 - self.far * reflection))

    def through_between(self, reflection: Wave) -> Wave:
        """Return ``(n_freq,)`` the wave through between two impedances that both reflect that.

        Renormalised to them, with waves of amplitude V/Z + I as of travelling waves on a line of that
        impedance; a line between its own characteristic impedances gives exp(-gamma l).
        """
        looped = (1.0 - self.near * reflection) * (1.0 - self.far * reflection)
        return np.asarray(self.through * (1.0 - reflection**2) / (looped - (self.through * reflection) ** 2))

    def open_short_impedance(self) -> Wave:
        """Return ``(n_freq,)`` complex impedance sqrt(Zopen Zshort) in ohm, seen from the near end.

        The open/short method (IEC TR 61156-1-2 by its title; textbook). For a uniform line it is the
        characteristic impedance and equals `chain_impedance`; otherwise it is the image impedance of this
        end.
        """
        opened, shorted = self.terminated(1.0), self.terminated(-1.0)
        # Both as ratios whose poles cancel: near a quarter wave each impedance alone runs away.
        product = (1.0 + opened) * (1.0 + shorted) / ((1.0 - opened) * (1.0 - shorted))
        return np.asarray(self.reference_ohm * np.sqrt(product))

    def chain(self) -> tuple[Wave, Wave, Wave, Wave]:
        """Return A, B, C, D, each ``(n_freq,)``: V1 = A V2 + B I2, I1 = C V2 + D I2.

        B in ohm, C in siemens; I2 flows out of the far end.
        """
        s11, s22, s21 = self.near, self.far, self.through
        a = ((1.0 + s11) * (1.0 - s22) + s21**2) / (2.0 * s21)
        b = ((1.0 + s11) * (1.0 + s22) - s21**2) / (2.0 * s21) * self.reference_ohm
        c = ((1.0 - s11) * (1.0 - s22) - s21**2) / (2.0 * s21) / self.reference_ohm
        d = ((1.0 - s11) * (1.0 + s22) + s21**2) / (2.0 * s21)
        return a, b, c, d

    def chain_impedance(self) -> Wave:
        """Return ``(n_freq,)`` complex sqrt(B/C) in ohm: both ends together."""
        _, b, c, _ = self.chain()
        return np.asarray(np.sqrt(b / c))

    def transfer(self, delay_s: NDArray[np.float64], frequency_hz: NDArray[np.float64]) -> Wave:
        """Return ``(n_freq,)`` gamma times length: attenuation in neper + j phase in radian.

        cosh(gamma l) = (A + D)/2. Of both roots the one that agrees with the measured signal is taken, and
        its turns are those of the phase delay `delay_s`.
        """
        a, _, _, d = self.chain()
        half = 0.5 * (a + d)
        root = np.sqrt(half**2 - 1.0)
        less, more = half - root, half + root
        kept = np.where(np.abs(less - self.through) <= np.abs(more - self.through), less, more)
        expected = 2.0 * np.pi * frequency_hz * delay_s
        off = np.angle(kept * np.exp(1j * expected))
        off -= np.pi * np.round(off / np.pi)  # the half turn of a reversed pair
        return np.asarray(-np.log(np.abs(kept)) + 1j * (expected - off))

    def certainty(self) -> NDArray[np.float64]:
        """Return ``(n_freq,)`` how well the open/short impedance is determined, 1 for a long line.

        An error e of the reflections makes an error of about 2 e/|1 - q²| of the impedance, with q the way
        there and back: where a lossless line is so many half waves long, open and short look alike.
        """
        return np.abs(1.0 - self.through**4)


def input_impedance(reflection: Wave, reference_ohm: float) -> Wave:
    """Return ``(n_freq,)`` impedance in ohm of a reflection; an ideal open is infinite."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(reference_ohm * (1.0 + reflection) / (1.0 - reflection))
