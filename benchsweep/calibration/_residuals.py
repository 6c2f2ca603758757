from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._apply import correct
from benchsweep.calibration._readings import ONE_PORT_STANDARDS, Readings
from benchsweep.records import ErrorTerms

__all__ = ["residuals_db"]

_FLOOR = 1e-20
"""Exact agreement is given as -400 dB, so that the figure stays a number in every file format."""


def residuals_db(
    terms: ErrorTerms,
    readings: Readings,
    reflections: Mapping[str, NDArray[np.complex128]],
    thru: NDArray[np.complex128],
) -> dict[str, float]:
    """Return how well the corrected standards come back to their definitions: largest over frequency, in dB.

    Parameters
    ----------
    terms
        Solved error terms.
    readings
        Raw readings they were solved from.
    reflections, thru
        Definitions of the standards at 50 ohm.

    Returns
    -------
    dict
        ``short port 3``, ``open port 3``, ``load port 3``
            Exactly determined by the solution, so these show arithmetic alone.
        ``thru 1-5 transmission``, ``thru 1-5 reflection``
            A thru gives one reading more than there are unknowns (forward and reverse tracking are joined by
            the reflection trackings), and the load match of the common port is met in every thru: drift,
            noise and wrong standards show here.

    Notes
    -----
    ``|S21 - S12|`` of the corrected thru would say nothing: the solution halves the contradiction between
    both ways, which leaves them equal.
    """
    found: dict[str, float] = {}
    for port in readings.ports:
        for name in ONE_PORT_STANDARDS:
            raw = readings.reflections[name][port][:, np.newaxis, np.newaxis]
            corrected = correct(terms, raw, (port,))[:, 0, 0]
            found[f"{name} port {port}"] = _db(corrected - reflections[name])
    for other, raw in readings.thrus.items():
        corrected = correct(terms, raw, (readings.common, other))
        difference = corrected - thru
        name = f"thru {readings.common}-{other}"
        found[f"{name} transmission"] = _db(difference[:, [0, 1], [1, 0]])
        found[f"{name} reflection"] = _db(difference[:, [0, 1], [0, 1]])
    return found


def _db(values: NDArray[np.complex128]) -> float:
    return float(20.0 * np.log10(max(float(np.max(np.abs(values))), _FLOOR)))
