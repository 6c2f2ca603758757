from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._apply import correct
from benchsweep.calibration._kit import ReciprocalStandard, ReflectStandard
from benchsweep.calibration._problem import Problem
from benchsweep.calibration._readings import Pair
from benchsweep.calibration._standards import ideal_reflections, ideal_thru
from benchsweep.records import ErrorTerms

__all__ = ["residuals_db"]

_FLOOR = 1e-20
"""Exact agreement is given as -400 dB, so that the figure stays a number in every file format."""


def residuals_db(terms: ErrorTerms, problem: Problem) -> dict[str, float]:
    """Return how well the corrected standards come back to their definitions: largest over frequency, in dB.

    Parameters
    ----------
    terms
        Solved error terms.
    problem
        What they were solved from.

    Returns
    -------
    dict
        ``short port 3``, ``open port 3``, ``load port 3``
            Where the method takes all three as known they are exactly determined by the solution, so these
            show arithmetic alone; where it does not, they show how far the kit's definition is.
        ``thru 1-5 transmission``, ``thru 1-5 reflection``, the same of lines and ``exchange``
            By short-open-load-thru, a thru gives one reading more than there are unknowns (forward and
            reverse tracking are joined by the reflection trackings), and the load match of a port is met in
            every thru: drift, noise and wrong standards show here.
        ``thru 1-5 load match``
            By short-open-load-thru, where the switch terms were measured too: the load match that the thru
            told against the one that follows from them. A load that is wrong at one of the ports shows here.
        ``reciprocal-1 1-5 reciprocity``
            ``|S21 - S12|`` of a standard of which only that is known; of the one that was solved by it shows
            arithmetic alone.

    Notes
    -----
    ``|S21 - S12|`` of the corrected thru would say nothing: the solution halves the contradiction between
    both ways, which leaves them equal.
    """
    readings, kit = problem.readings, problem.kit
    known = kit.standards
    found: dict[str, float] = {}
    names = [name for name in readings.reflections if not isinstance(known.get(name), ReflectStandard | None)]
    reflections = ideal_reflections(kit, readings.frequency_hz, names)
    for port in readings.ports:
        for name in names:
            if port in readings.reflections[name]:
                raw = readings.reflections[name][port][:, np.newaxis, np.newaxis]
                corrected = correct(terms, raw, (port,))[:, 0, 0]
                found[f"{name} port {port}"] = _db(corrected - reflections[name])
    for pair, measured in readings.two_ports.items():
        for name, raw in measured.items():
            label = f"{name} {pair[0]}-{pair[1]}"
            corrected = correct(terms, raw, pair)
            if isinstance(known.get(name), ReciprocalStandard):
                found[f"{label} reciprocity"] = _db(corrected[:, 1, 0] - corrected[:, 0, 1])
                continue
            if name in known:
                difference = corrected - ideal_thru(kit, readings.frequency_hz, name)
                found[f"{label} transmission"] = _db(difference[:, [0, 1], [1, 0]])
                found[f"{label} reflection"] = _db(difference[:, [0, 1], [0, 1]])
        if problem.method == "short-open-load-thru" and pair in readings.switch_terms:
            found[f"thru {pair[0]}-{pair[1]} load match"] = _db(_contradiction(terms, problem, pair))
    return found


def _contradiction(terms: ErrorTerms, problem: Problem, pair: Pair) -> NDArray[np.complex128]:
    """Return ``(n_freq, 2)``: load match as a thru told it, less that by the measured switch terms."""
    at = [terms.analyzer_ports.index(port) for port in pair]
    switch = problem.readings.switch_terms[pair]
    round_trip = 1.0 - terms.directivity[:, at] * switch
    expected = terms.source_match[:, at] + terms.reflection_tracking[:, at] * switch / round_trip
    return np.asarray(terms.load_match[:, at] - expected, dtype=np.complex128)


def _db(values: NDArray[np.complex128]) -> float:
    return float(20.0 * np.log10(max(float(np.max(np.abs(values))), _FLOOR)))
