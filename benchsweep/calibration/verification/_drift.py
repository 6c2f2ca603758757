from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Drift", "LoadChange", "ThruChange", "joint_drift", "load_change", "thru_change"]


@dataclass(frozen=True, slots=True)
class ThruChange:
    """A through connection that was measured again.

    Parameters
    ----------
    ports
        The two analyzer ports.
    gain_db
        Mean over frequency of |S21| and |S12| over their definition, in dB.
    delay_ps
        By how much it comes later than defined: slope of the phase through zero, least squares.
    phase_deg
        Largest change of phase, in degrees.
    transmission
        Largest |S21 / definition - 1|.
    reflection
        Largest |S11 - definition| and |S22 - definition|, one for each of `ports`.
    reciprocity
        Largest |S21 - S12|.
    """

    ports: tuple[int, int]
    gain_db: float
    delay_ps: float
    phase_deg: float
    transmission: float
    reflection: tuple[float, float]
    reciprocity: float


@dataclass(frozen=True, slots=True)
class LoadChange:
    """A load that was measured again at one port.

    Parameters
    ----------
    port
        The analyzer port.
    reflection
        Largest |corrected - definition|.
    series_ohm
        Mean of the real part of the impedance in series that would do this; negative when the contact was
        worse during the calibration than it is now.
    """

    port: int
    reflection: float
    series_ohm: float


@dataclass(frozen=True, slots=True)
class Drift:
    """What all through connections have changed together since the calibration.

    Parameters
    ----------
    gain_db, delay_ps
        Mean over the through connections: what heat and time do to all cables alike.
    gain_uncertainty_db, delay_uncertainty_ps
        Twice the standard error of those means, from their scatter or the known one of a single through
        connection, whichever is larger.
    hours
        Since the calibration.
    """

    gain_db: float
    delay_ps: float
    gain_uncertainty_db: float
    delay_uncertainty_ps: float
    hours: float

    def per_hour(self, change: float, *, least_hours: float = 0.25) -> float | None:
        """Return `change` as a rate per hour; None sooner than `least_hours` after the calibration."""
        return change / self.hours if self.hours >= least_hours else None


def thru_change(
    ports: tuple[int, int],
    frequency_hz: NDArray[np.float64],
    corrected: NDArray[np.complex128],
    defined: NDArray[np.complex128],
) -> ThruChange:
    """Compare a corrected through connection with its definition.

    Parameters
    ----------
    ports
        The analyzer ports in the order of the matrices.
    frequency_hz
        ``(n_freq,)``.
    corrected, defined
        ``(n_freq, 2, 2)`` at 50 ohm.
    """
    both = ([1, 0], [0, 1])
    ratio = corrected[:, both[0], both[1]] / defined[:, both[0], both[1]]
    phase = np.angle(ratio)
    omega = 2.0 * np.pi * frequency_hz[:, np.newaxis]
    delay_s = -float(np.sum(omega * phase) / (2.0 * np.sum(omega**2)))
    off = np.abs(corrected - defined)
    return ThruChange(
        ports=ports,
        gain_db=float(np.mean(20.0 * np.log10(np.maximum(np.abs(ratio), 1e-20)))),
        delay_ps=delay_s * 1e12,
        phase_deg=float(np.degrees(np.max(np.abs(phase)))),
        transmission=float(np.max(np.abs(ratio - 1.0))),
        reflection=(float(off[:, 0, 0].max()), float(off[:, 1, 1].max())),
        reciprocity=float(np.max(np.abs(corrected[:, 1, 0] - corrected[:, 0, 1]))),
    )


def load_change(
    port: int, corrected: NDArray[np.complex128], defined: NDArray[np.complex128], *, z0_ohm: float = 50.0
) -> LoadChange:
    """Compare a corrected load, ``(n_freq,)``, with its definition.

    A small impedance z in series with what reflects G changes it by ``z (1 - G)^2 / (2 z0)``.
    """
    change = corrected - defined
    series = change * 2.0 * z0_ohm / (1.0 - defined) ** 2
    return LoadChange(port, float(np.max(np.abs(change))), float(np.mean(series.real)))


def joint_drift(
    thrus: Sequence[ThruChange], hours: float, *, scatter_db: float = 0.0, scatter_ps: float = 0.0
) -> Drift:
    """Return what is common to all through connections.

    Each has the scatter of its own connectors and flexed cables; their mean keeps what all have in common.

    Parameters
    ----------
    thrus
        One or more.
    hours
        Since the calibration.
    scatter_db, scatter_ps
        Known standard deviation of a single one: two or three do not tell their own scatter.
    """
    gains = np.array([thru.gain_db for thru in thrus])
    delays = np.array([thru.delay_ps for thru in thrus])

    def doubt(values: NDArray[np.float64], known: float) -> float:
        scatter = max(float(values.std(ddof=1)) if values.size > 1 else 0.0, known)
        return 2.0 * scatter / float(np.sqrt(values.size))

    return Drift(
        float(gains.mean()),
        float(delays.mean()),
        doubt(gains, scatter_db),
        doubt(delays, scatter_ps),
        hours,
    )
