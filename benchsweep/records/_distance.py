from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid
from benchsweep.records._ports import End

__all__ = ["CableConstants", "DistanceKind", "DistanceTrace", "VelocityStanding"]

DistanceKind = Literal["reflection", "crosstalk", "impedance"]
VelocityStanding = Literal["measured", "given", "common-practice"]
"""Where a velocity comes from: the measured delay and the length, a person, or what is usual."""


@dataclass(frozen=True, slots=True, eq=False)
class DistanceTrace:
    """One quantity of one pair or pair combination over the distance from an end.

    Parameters
    ----------
    kind
        ``reflection``: impulse response of the reflection, a signed reflection coefficient (unit ``1``,
        positive towards a higher impedance). ``crosstalk``: envelope of the impulse response of the near-end
        crosstalk, not negative (unit ``1``). ``impedance``: local differential impedance (unit ``ohm``).
    end
        Where the signal is sent, and the distance counted from.
    pairs
        ``("12",)``, or both pairs of a combination: ``("12", "36")``.
    distance_m
        ``(n,)`` float64, strictly rising from 0, one way.
    value
        ``(n,)`` float64, finite.
    unit
        ``1`` or ``ohm``.
    resolution_m
        Two places nearer to each other than that are seen as one: width of the impulse at half its height,
        one way, from the window and the highest frequency.
    window
        Name of the window over frequency.
    velocity_fraction, velocity_standing
        The velocity, over that of light, that makes a distance of a delay; where it comes from.
    loss_corrected_m
        As far from the end as this the values are freed from the loss of the cable on the way; 0 when they
        are not.
    note
        What a person should know of the values, one sentence; may be empty.
    """

    kind: DistanceKind
    end: End
    pairs: tuple[str, ...]
    distance_m: NDArray[np.float64]
    value: NDArray[np.float64]
    unit: Literal["1", "ohm"]
    resolution_m: float
    window: str
    velocity_fraction: float
    velocity_standing: VelocityStanding
    loss_corrected_m: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        distance = frozen_array(self.distance_m, np.float64, (None,), "distance_m")
        value = frozen_array(self.value, np.float64, (distance.size,), "value")
        if distance.size == 0 or np.any(np.diff(distance) <= 0.0) or not np.all(np.isfinite(distance)):
            raise ValueError("distance_m: distances must be finite and strictly rising")
        if not np.all(np.isfinite(value)):
            raise ValueError(f"{self.kind} {'-'.join(self.pairs)}: a distance trace must be finite")
        object.__setattr__(self, "distance_m", distance)
        object.__setattr__(self, "value", value)


@dataclass(frozen=True, slots=True, eq=False)
class CableConstants:
    """The constants of the cable of one pair, seen from one end.

    Parameters
    ----------
    end, pair
        Where it was looked into.
    length_m
        The length that the constants per length are made with.
    frequency_hz
        ``(n_freq,)``; all arrays below belong to it.
    route
        How the impedance was found: ``open-short`` (both ends measured, ends open and shorted by
        computation) or ``terminated`` (one end only, the far end on its termination).
    impedance_ohm
        ``(n_freq,)`` magnitude of the characteristic impedance before the fit.
    fitted_impedance_ohm, fitted_angle_rad
        ``(n_freq,)`` the functions fitted to magnitude and angle.
    fit_coefficients
        K0, K1, K2, K3 of the magnitude ``K0 + K1 f^-1/2 + K2 f^-1 + K3 f^-3/2`` in ohm, f in MHz.
    structural_return_loss_db
        ``(n_freq,)`` return loss of the input impedance against the fitted impedance; may be ``+inf``.
    mean_impedance_ohm, mean_band_hz
        Mean characteristic impedance and the band it was taken over.
    velocity_fraction
        Phase velocity at the highest frequency over that of light; None without a delay.
    delay_ns_per_100m, attenuation_db_per_100m
        ``(n_freq,)``; None when the pair was not measured at both ends, or the turns of its phase cannot be
        counted.
    capacitance_nf_per_100m
        Mutual capacitance: delay over mean impedance, per length; None without a delay.
    low_frequency_capacitance_nf_per_100m
        The same from the admittance of the open pair at the lowest frequencies, as a check; None when the
        sweep does not go low enough for the length.
    """

    end: End
    pair: str
    length_m: float
    frequency_hz: NDArray[np.float64]
    route: Literal["open-short", "terminated"]
    impedance_ohm: NDArray[np.float64]
    fitted_impedance_ohm: NDArray[np.float64]
    fitted_angle_rad: NDArray[np.float64]
    fit_coefficients: tuple[float, float, float, float]
    structural_return_loss_db: NDArray[np.float64]
    mean_impedance_ohm: float
    mean_band_hz: tuple[float, float]
    velocity_fraction: float | None
    delay_ns_per_100m: NDArray[np.float64] | None
    attenuation_db_per_100m: NDArray[np.float64] | None
    capacitance_nf_per_100m: float | None
    low_frequency_capacitance_nf_per_100m: float | None

    def __post_init__(self) -> None:
        grid = frozen_grid(self.frequency_hz)
        object.__setattr__(self, "frequency_hz", grid)
        for name in (
            "impedance_ohm",
            "fitted_impedance_ohm",
            "fitted_angle_rad",
            "structural_return_loss_db",
            "delay_ns_per_100m",
            "attenuation_db_per_100m",
        ):
            if getattr(self, name) is not None:
                array = frozen_array(getattr(self, name), np.float64, (grid.size,), name)
                if np.any(np.isnan(array)):
                    raise ValueError(f"{name} of {self.pair} may not hold NaN")
                object.__setattr__(self, name, array)
