from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._analyzer import SweepSettings
from benchsweep.records._arrays import frozen_array, frozen_grid

__all__ = ["Calibration", "ErrorTerms"]


@dataclass(frozen=True, slots=True, eq=False)
class ErrorTerms:
    """The solved error terms of an analyzer with n ports, no leakage.

    With the source at port s, ``b = S (e_s + Γ b)``, Γ the source match at s and the load match elsewhere::

        raw[s, s] = directivity[s] + reflection_tracking[s] * b[s]
        raw[j, s] = transmission_tracking[j, s] * b[j]

    (the twelve-term model for any number of ports; Marks, 50th ARFTG 1997, as cited in scikit-rf).

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    analyzer_ports
        Port numbers, rising; the order of the columns.
    directivity, source_match, load_match, reflection_tracking
        ``(n_freq, n)`` complex128.
    transmission_tracking
        ``(n_freq, n, n)`` complex128, receiver first; the diagonal is 1 and not used.
    """

    frequency_hz: NDArray[np.float64]
    analyzer_ports: tuple[int, ...]
    directivity: NDArray[np.complex128]
    source_match: NDArray[np.complex128]
    load_match: NDArray[np.complex128]
    reflection_tracking: NDArray[np.complex128]
    transmission_tracking: NDArray[np.complex128]

    def __post_init__(self) -> None:
        grid = frozen_grid(self.frequency_hz)
        n = len(self.analyzer_ports)
        object.__setattr__(self, "frequency_hz", grid)
        for name in ("directivity", "source_match", "load_match", "reflection_tracking"):
            array = frozen_array(getattr(self, name), np.complex128, (grid.size, n), name)
            object.__setattr__(self, name, array)
        tracking = frozen_array(
            self.transmission_tracking, np.complex128, (grid.size, n, n), "transmission_tracking"
        )
        object.__setattr__(self, "transmission_tracking", tracking)


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A solved, dated calibration.

    Parameters
    ----------
    identifier
        Whose it is: the name of the station.
    created_at
        ISO 8601 time in UTC; with the identifier it tells calibrations apart.
    idn
        ``*IDN?`` of the analyzer it belongs to.
    kit, method
        Name of the kit; how it was solved, in words.
    settings
        Sweep settings as read back.
    terms
        The error terms.
    residuals_db
        Quality figures, in dB (more negative is better), for people: for example
        ``{"load port 3": -78.2, "thru 1-5": -80.1}``.
    reached
        How the ports were reached: the command family with a digest of its content, then the relay matrix and
        its map, where there is one; parted by semicolons. Empty in calibrations that did not note it yet.
    """

    identifier: str
    created_at: str
    idn: str
    kit: str
    method: str
    settings: SweepSettings
    terms: ErrorTerms
    residuals_db: Mapping[str, float]
    reached: str = ""
