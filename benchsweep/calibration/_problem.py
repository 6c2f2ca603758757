from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchsweep.calibration._kit import Kit
from benchsweep.calibration._methods import EXCHANGE, Method, NeededStandards, is_numbered
from benchsweep.calibration._readings import Pair, Readings
from benchsweep.calibration._standards import ideal_thru

__all__ = ["Problem", "two_ports_for"]


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """What is solved: kit, method, the standards it needs, readings."""

    kit: Kit
    method: Method
    needed: NeededStandards
    readings: Readings


def two_ports_for(problem: Problem, pair: Pair) -> tuple[str, ...]:
    """Return the two-port standards by which a pair is solved; none when it does not have all it needs."""
    have = problem.readings.two_ports[pair]
    if problem.method == "short-open-load-thru":
        return tuple(name for name in ("thru", EXCHANGE) if name in have)[:1]
    if problem.method == "unknown-thru":
        candidates = [name for name in (*problem.needed.two_port, "thru", EXCHANGE) if name in have]
        # The one that lets most through has the least noise.
        best = sorted(candidates, key=lambda name: -float(np.min(np.abs(have[name][:, [0, 1], [1, 0]]))))
        return tuple(best[:1])
    if problem.method == "thru-reflect-line":
        lines = sorted(name for name in have if is_numbered(name, "line") and name in problem.kit.standards)
        chosen = sorted(lines, key=lambda name: -_least_phase(problem, name))[:1]
        return ("thru", *chosen) if chosen and "thru" in have else ()
    return problem.needed.two_port if all(name in have for name in problem.needed.two_port) else ()


def _least_phase(problem: Problem, name: str) -> float:
    """Return the least ``|sin|`` of the phase of a line against the thru."""
    f = problem.readings.frequency_hz
    line, thru = (ideal_thru(problem.kit, f, word)[:, 1, 0] for word in (name, "thru"))
    return float(np.min(np.abs(np.sin(np.angle(line / thru)))))
