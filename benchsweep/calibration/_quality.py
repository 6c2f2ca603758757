"""How well the standards of a calibration tell its error terms, and what does not quite fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from benchsweep.calibration._checks import bands
from benchsweep.calibration._kit import Kit
from benchsweep.calibration._methods import Method
from benchsweep.calibration._problem import Problem
from benchsweep.calibration._solve import pose
from benchsweep.calibration._standards import ideal_reflections
from benchsweep.records import Calibration, RawHookup

__all__ = ["Quality", "quality"]

_LARGEST_CONDITION = 30.0
"""Open, short and load of a usual kit give 2 to 4; noise and deviations grow by this factor."""


@dataclass(frozen=True, slots=True, eq=False)
class Quality:
    """Figures of merit of a calibration.

    Parameters
    ----------
    condition
        Port -> largest condition number over frequency of the equations for its three terms; empty where a
        port has fewer than three one-port standards.
    separation_deg
        ``open and short`` -> least separation of the two definitions over frequency, in degrees: the angle at
        the centre of the unit circle that spans a chord as long as the two are apart.
    redundancy_db
        Residuals of what was measured beyond what the solution needs; in dB, more negative is better.
    warnings
        In words, what should be looked at though it does not forbid the calibration.
    """

    condition: Mapping[int, float]
    separation_deg: Mapping[str, float]
    redundancy_db: Mapping[str, float]
    warnings: tuple[str, ...]


def quality(
    kit: Kit, hookups: Sequence[RawHookup], solved: Calibration, *, method: Method | None = None
) -> Quality:
    """Judge a calibration that was solved.

    The equations of a port are ``[G, 1, -G m] (t11, t12, t21) = m`` for readings m of reflections G (Rytting,
    "Network analyzer error models and calibration methods", from memory), scaled to what a perfect analyzer
    with the same tracking would read, so that a lossy cable makes no bad condition.

    Parameters
    ----------
    kit, hookups, method
        As given to `solve`.
    solved
        Its answer.

    Raises
    ------
    CalibrationError, DefinitionError
        As `solve`.
    """
    problem = pose(kit, hookups, method)
    condition = _conditions(problem, solved)
    separation, warnings = _separations(problem)
    warnings += [
        f"port {port}: the one-port standards are badly conditioned ({value:.0f})"
        for port, value in condition.items()
        if value > _LARGEST_CONDITION
    ]
    redundancy = {
        name: value
        for name, value in solved.residuals_db.items()
        if not (problem.method.startswith("short-open-load") or problem.method == "unknown-thru")
        or " port " not in name
    }
    doubtful = kit.acceptance.doubtful_thru_residual_db
    if problem.method != "unknown-thru":
        far = {
            name: value
            for name, value in redundancy.items()
            if name.startswith(("thru", "exchange")) and value > doubtful
        }
        if far:
            each = ", ".join(f"{name} {value:.1f} dB" for name, value in far.items())
            warnings.append(f"far from their definition: {each}; contacts, drift or a standard are doubtful")
    return Quality(condition, separation, redundancy, tuple(warnings))


def _conditions(problem: Problem, solved: Calibration) -> dict[int, float]:
    names = problem.needed.one_port
    if len(names) < 3 or "reflect" in names:
        return {}
    readings, terms = problem.readings, solved.terms
    gammas = ideal_reflections(problem.kit, readings.frequency_hz, names)
    found = {}
    for at, port in enumerate(terms.analyzer_ports):
        rows = []
        for name in names:
            read = readings.reflections[name][port] / terms.reflection_tracking[:, at]
            rows.append(np.stack([gammas[name], np.ones_like(read), -gammas[name] * read], axis=1))
        found[port] = float(np.max(np.linalg.cond(np.stack(rows, axis=1))))
    return found


def _separations(problem: Problem) -> tuple[dict[str, float], list[str]]:
    f = problem.readings.frequency_hz
    least = problem.kit.acceptance.smallest_separation_deg
    gammas = ideal_reflections(problem.kit, f, problem.needed.one_port)
    found, warnings = {}, []
    for one, two in combinations(gammas, 2):
        chord = np.clip(np.abs(gammas[one] - gammas[two]) / 2.0, 0.0, 1.0)
        angle = np.rad2deg(2.0 * np.arcsin(chord))
        found[f"{one} and {two}"] = float(np.min(angle))
        if np.any(angle < least):
            warnings.append(
                f"{one} and {two} are less than {least:g} degrees apart at {bands(f, angle < least)}: "
                "noise and deviations grow there"
            )
    return found, warnings
