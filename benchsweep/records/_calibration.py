from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._analyzer import SweepSettings
from benchsweep.records._arrays import frozen_array, frozen_grid

__all__ = ["Calibration", "ErrorTerms", "Quantity", "StandardTerm"]

Quantity = Literal["reflection", "transmission"]
"""Which figure of a standard a `StandardTerm` is about."""

_RESIDUALS = ("directivity", "source_match", "load_match", "reflection_tracking", "transmission_tracking")


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
        ``(n_freq,)``. Without any point when the terms were left out in reading a record; then all the
        others have none either.
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
        grid = frozen_grid(self.frequency_hz, may_be_empty=True)
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
class StandardTerm:
    """How well one figure of a calibration standard is known, and what its deviation does to a calibration.

    A standard that deviates by ``x`` (complex, small) from its definition leaves these residual error terms
    in everything that is corrected afterwards. With the source at port s the corrected matrix is off by

        E[s, s] = directivity_s + reflection_tracking_s S[s, s] + sum_k S[s, k] match_k S[k, s]
        E[j, s] = transmission_tracking_js S[j, s] + sum_k S[j, k] match_k S[k, s]

    where match_k is the source match for k = s and the load match elsewhere; the trackings are relative.

    Parameters
    ----------
    standard
        Its name in the kit: ``open``, ``load``, ``thru`` …
    quantity
        Which figure of it: its reflection or its transmission, at 50 ohm.
    nominal
        ``(n_freq,)`` complex128: what the kit defines.
    real, imaginary
        ``(n_freq,)`` float64: standard uncertainty of the real and imaginary part of the definition.
    same_piece
        True: one piece served all ports, so all ports have the same deviation. False: each port its own.
    directivity, source_match, load_match, reflection_tracking, transmission_tracking
        ``(n_freq,)`` complex128: residual terms for a deviation of one at all ports. Where the deviations of
        ports are independent, each of the two ports of a path contributes half of the transmission tracking.
    """

    standard: str
    quantity: Quantity
    nominal: NDArray[np.complex128]
    real: NDArray[np.float64]
    imaginary: NDArray[np.float64]
    same_piece: bool
    directivity: NDArray[np.complex128]
    source_match: NDArray[np.complex128]
    load_match: NDArray[np.complex128]
    reflection_tracking: NDArray[np.complex128]
    transmission_tracking: NDArray[np.complex128]

    def __post_init__(self) -> None:
        shape = (np.size(self.nominal),)
        for name in ("nominal", *_RESIDUALS):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.complex128, shape, name))
        for name in ("real", "imaginary"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64, shape, name))


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
    standard_terms
        How well its standards are known and what that does to it, also of standards without a stated
        uncertainty, for what their connection leaves; empty where that was not evaluated.
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
    standard_terms: tuple[StandardTerm, ...] = ()
