"""Pairs, modes and the lossy, causal propagation of one mode of a four-pair cable.

Eight conductors carry eight modes: the differential mode of each pair and four common modes, of which one has
all eight conductors together and three have pair against pair. The common modes of the single pairs are
strongly coupled in unscreened cable; after this rotation they are only weakly coupled, as the model wants
them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["MODE_TRANSFORM", "PAIRS", "PAIR_TO_MODE", "Propagation"]

PAIRS: dict[str, tuple[int, int]] = {"12": (1, 2), "36": (3, 6), "45": (4, 5), "78": (7, 8)}
"""Contacts of each pair, positive leg first (pin assignment T568A/T568B of ANSI/TIA-568)."""

_REFERENCE_HZ = 100e6  # the frequency at which the nominal capacitance holds
_HADAMARD = np.array([[1, 1, 1, 1], [1, -1, 1, -1], [1, 1, -1, -1], [1, -1, -1, 1]]) / 2.0


def _pair_modes() -> NDArray[np.float64]:
    rows = np.zeros((8, 8))
    for p, (positive, negative) in enumerate(PAIRS.values()):
        rows[p, [positive - 1, negative - 1]] = np.array([1.0, -1.0]) / math.sqrt(2.0)
        rows[4 + p, [positive - 1, negative - 1]] = 1.0 / math.sqrt(2.0)
    return rows


PAIR_TO_MODE: NDArray[np.float64] = np.block([[np.eye(4), np.zeros((4, 4))], [np.zeros((4, 4)), _HADAMARD]])
"""Orthonormal 8x8: (differential, common) of each pair -> propagation modes."""

MODE_TRANSFORM: NDArray[np.float64] = PAIR_TO_MODE @ _pair_modes()
"""Orthonormal 8x8 M: conductors 1..8 -> modes d12 d36 d45 d78 G P1 P2 P3; S between conductors is M S M^T."""


@dataclass(frozen=True)
class Propagation:
    """Constants of the eight modes of one piece of cable.

    Attributes
    ----------
    impedance_ohm
        Modal impedance at high frequency: half the differential impedance of a pair, 50 ohm for 100.
    delay_s_per_m
        Delay of each mode without the share of the conductors' inner inductance.
    resistance_dc_ohm_per_m, resistance_skin_ohm_per_m
        Resistance of one conductor at zero frequency, and its skin-effect resistance at 1 MHz, seen by each
        mode.
    loss_tangent
        Constant loss angle of the insulation as each mode sees it.
    """

    impedance_ohm: NDArray[np.float64]
    delay_s_per_m: NDArray[np.float64]
    resistance_dc_ohm_per_m: NDArray[np.float64]
    resistance_skin_ohm_per_m: NDArray[np.float64]
    loss_tangent: NDArray[np.float64]

    def line_constants(
        self, frequency_hz: NDArray[np.float64]
    ) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Return propagation constant (1/m) and characteristic impedance (ohm), each ``(n_freq, 8)``.

        Series impedance with the complex root of frequency, so that the inner inductance belongs to the skin
        resistance; shunt admittance with a constant loss angle, so that the permittivity falls with
        frequency. Both are causal (telegrapher's equations: D. M. Pozar, Microwave Engineering, ch. 2; S.
        H. Hall and H. L. Heck, Advanced Signal Integrity, app. E, on the inner inductance as the partner of
        the skin term).
        """
        omega = 2.0 * math.pi * frequency_hz[:, None]
        ratio = self.resistance_skin_ohm_per_m / self.resistance_dc_ohm_per_m
        corner = 2.0 * math.pi * 1e6 / (2.0 * ratio**2)
        z = 1j * omega * self.impedance_ohm * self.delay_s_per_m
        z = z + self.resistance_dc_ohm_per_m * np.sqrt(1.0 + 1j * omega / corner)
        slope = -2.0 * np.arctan(self.loss_tangent) / math.pi
        dispersion = (1j * omega / (2.0 * math.pi * _REFERENCE_HZ)) ** slope
        y = 1j * omega * (self.delay_s_per_m / self.impedance_ohm) * dispersion
        return np.sqrt(z) * np.sqrt(y), np.sqrt(z) / np.sqrt(y)

    def wet(self, permittivity_ratio: float, loss_tangent: float) -> Propagation:
        """Return the constants with `permittivity_ratio` times the capacitance and another loss tangent."""
        root = math.sqrt(permittivity_ratio)
        return replace(
            self,
            impedance_ohm=self.impedance_ohm / root,
            delay_s_per_m=self.delay_s_per_m * root,
            loss_tangent=np.full_like(self.loss_tangent, loss_tangent),
        )
