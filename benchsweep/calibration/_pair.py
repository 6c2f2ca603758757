"""Two ports solved by scikit-rf, method by method; imported when something is to be solved."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import skrf
from numpy.typing import NDArray

# In scikit-rf 2.2 the calibration classes are not on the top level.
from skrf.calibration.calibration import LRM, LRRM, SOLT, TRL, OnePort, TUGMultilineTRL, UnknownThru

from benchsweep.calibration._boxes import Box, moved_out, renormalised
from benchsweep.calibration._kit import (
    Kit,
    OffsetLine,
    OpenStandard,
    ReflectStandard,
    ShortStandard,
    ThruStandard,
)
from benchsweep.calibration._methods import Method
from benchsweep.calibration._problem import Problem, two_ports_for
from benchsweep.calibration._readings import Pair
from benchsweep.calibration._standards import (
    REFERENCE_OHM,
    ideal_reflections,
    ideal_thru,
    line_impedance,
    propagation,
)

__all__ = ["one_port", "solve_pair"]

_METRES_PER_SECOND = 299792458.0
"""Turns the delay of a line into a length for scikit-rf and back; only the product with delay matters."""


_NEAR_QUARTER_WAVE = 0.02
"""Cosine of the phase of a line against the thru: within 1.1 degrees of 90."""
_TERMS = ("directivity", "source match", "reflection tracking")


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    problem: Problem
    pair: Pair
    switch: NDArray[np.complex128]
    frequency: Any

    def network(self, s: NDArray[np.complex128]) -> Any:
        # 50 ohm on every network: scikit-rf solves wrongly when references differ. A copy, because SOLT flips
        # thrus in place and TRL changes what it is given.
        return skrf.Network(frequency=self.frequency, s=s.copy(), z0=REFERENCE_OHM)

    def reflect(self, name: str) -> tuple[Any, Any]:
        """Return (measured, ideal) of a one-port standard at both ports."""
        f = self.problem.readings.frequency_hz
        gamma = ideal_reflections(self.problem.kit, f, (name,))[name]
        raw, ideal = np.zeros((2, f.size, 2, 2), dtype=np.complex128)
        for at, port in enumerate(self.pair):
            raw[:, at, at] = self.problem.readings.reflections[name][port]
            ideal[:, at, at] = gamma
        return self.network(raw), self.network(ideal)

    def two_port(self, name: str) -> tuple[Any, Any]:
        """Return (measured, ideal) of a two-port standard."""
        raw = self.problem.readings.two_ports[self.pair][name]
        ideal = ideal_thru(self.problem.kit, self.problem.readings.frequency_hz, name)
        return self.network(raw), self.network(ideal)

    def switch_networks(self) -> tuple[Any, Any]:
        """Return scikit-rf's (forward, reverse): the first at the higher port, the other at the lower one."""
        one = [self.switch[:, at, np.newaxis, np.newaxis] for at in (1, 0)]
        return self.network(one[0]), self.network(one[1])

    def line(self, name: str) -> OffsetLine:
        standard = self.problem.kit.standards[name]
        return standard.offset if isinstance(standard, ThruStandard) else OffsetLine()


def solve_pair(problem: Problem, pair: Pair, switch: NDArray[np.complex128] | None) -> tuple[Box, Box]:
    """Return the error boxes of both ports of a pair.

    Parameters
    ----------
    problem
        The whole problem.
    pair
        Which two ports; `two_ports_for` it must not be empty.
    switch
        ``(n_freq, 2)``: switch terms at the lower and higher port; None for short-open-load-thru.
    """
    f = problem.readings.frequency_hz
    terms = switch if switch is not None else np.zeros((f.size, 2), dtype=np.complex128)
    task = _Task(problem, pair, terms, skrf.Frequency.from_f(f, unit="hz"))
    return _SOLVERS[problem.method](task, two_ports_for(problem, pair))


def one_port(problem: Problem, port: int) -> Box:
    """Return the error box of a single port from three known reflections or more."""
    f = problem.readings.frequency_hz
    frequency = skrf.Frequency.from_f(f, unit="hz")
    ideals = ideal_reflections(problem.kit, f, problem.needed.one_port)

    def network(values: NDArray[np.complex128]) -> Any:
        return skrf.Network(frequency=frequency, s=values, z0=REFERENCE_OHM)

    solved = OnePort(
        measured=[network(problem.readings.reflections[name][port]) for name in problem.needed.one_port],
        ideals=[network(ideals[name]) for name in problem.needed.one_port],
    ).coefs
    one = np.ones(f.size, dtype=np.complex128)
    directivity, source_match, tracking = (np.asarray(solved[name]).reshape(-1) for name in _TERMS)
    return Box(directivity, source_match, tracking, 0.0 * one, one)


def _boxes(coefs: Mapping[str, NDArray[np.complex128]]) -> tuple[Box, Box]:
    """Turn scikit-rf's eight terms into ours; forward is driven from the lower port.

    The forward switch term is met at the port that receives forward.
    """
    lower, higher = ([coefs[f"{way} {name}"] for name in _TERMS] for way in ("forward", "reverse"))
    return (
        Box(lower[0], lower[1], lower[2], coefs["reverse switch term"], np.ones_like(coefs["k"])),
        Box(higher[0], higher[1], higher[2], coefs["forward switch term"], coefs["k"]),
    )


def _lists(*standards: tuple[Any, Any]) -> dict[str, list[Any]]:
    return {"measured": [one[0] for one in standards], "ideals": [one[1] for one in standards]}


def _solt(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    known = [task.reflect(name) for name in task.problem.needed.one_port]
    return _boxes(SOLT(**_lists(*known, task.two_port(names[0])), n_thrus=1).coefs_8term)


def _unknown_thru(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    known = [task.reflect(name) for name in task.problem.needed.one_port]
    solved = UnknownThru(**_lists(*known, task.two_port(names[0])), switch_terms=task.switch_networks())
    return _boxes(solved.coefs)


def _lrm(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    reflect, match = task.problem.needed.one_port
    standards = _lists(task.two_port(names[0]), task.reflect(reflect), task.reflect(match))
    return _boxes(LRM(**standards, switch_terms=task.switch_networks()).coefs)


def _lrrm(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    """Solve LRRM with the resistance of the match alone: scikit-rf adds the inductance that it finds.

    What it finds rests on how the magnitude of the second reflection changes with the inductance, which is
    little where the open is near +1 and the thru short: at low frequencies noise goes into it.
    """
    first, second, match = (task.reflect(name) for name in task.problem.needed.one_port)
    load = task.problem.kit.load
    resistance = (
        load.resistance_ohm if load is not None and load.resistance_ohm is not None else REFERENCE_OHM
    )
    for at in (0, 1):
        match[1].s[:, at, at] = (resistance - REFERENCE_OHM) / (resistance + REFERENCE_OHM)
    standards = _lists(task.two_port(names[0]), first, second, match)
    solved = LRRM(**standards, switch_terms=task.switch_networks(), z0=REFERENCE_OHM, match_fit="l")
    return _boxes(solved.coefs)


def _trl(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    """Solve TRL with its plane in the middle of the thru, referred to the line; move out, refer to 50 ohm.

    Where the line is a quarter wave longer than the thru, scikit-rf 2.2 tells its two solutions apart by
    squares that are equal there, and may take the wrong one: those points are solved as multiline is.
    """
    f = task.problem.readings.frequency_hz
    thru, line = (propagation(task.line(name), f) for name in names)
    reflect, estimate = task.reflect(task.problem.needed.one_port[0])
    for at in (0, 1):
        estimate.s[:, at, at] /= thru
    lists = {
        "measured": [task.two_port(names[0])[0], reflect, task.two_port(names[1])[0]],
        "ideals": [task.network(_flush(thru)), estimate, task.network(_flush(line))],
    }
    coefs = TRL(**lists, switch_terms=task.switch_networks()).coefs
    # Half of the thru there and back is the whole of it.
    solved = _at_fifty_ohm(task, names[0], [moved_out(box, thru) for box in _boxes(coefs)])
    quarter = np.abs(np.cos(np.angle(line / thru))) < _NEAR_QUARTER_WAVE
    if not np.any(quarter):
        return solved
    there = replace(task.problem, readings=task.problem.readings.some(quarter))
    frequency = skrf.Frequency.from_f(f[quarter], unit="hz")
    better = _multiline(_Task(there, task.pair, task.switch[quarter], frequency), names)
    one, two = (_patched(box, new, quarter) for box, new in zip(solved, better, strict=True))
    return one, two


def _patched(box: Box, new: Box, points: NDArray[np.bool_]) -> Box:
    changed = {}
    for field in fields(Box):
        values = getattr(box, field.name).copy()
        values[points] = getattr(new, field.name)
        changed[field.name] = values
    return Box(**changed)


def _multiline(task: _Task, names: Sequence[str]) -> tuple[Box, Box]:
    """Solve multiline TRL as TRL: the lines need share only the impedance with the thru, not its loss."""
    thru_ps = task.line(names[0]).delay_ps
    reflect = task.problem.needed.one_port[0]
    sign, delay_ps = _sign_and_delay(task.problem.kit, reflect)

    def length(picoseconds: float) -> float:
        return picoseconds * 1e-12 * _METRES_PER_SECOND

    solved = TUGMultilineTRL(
        [task.two_port(name)[0] for name in names],
        [length(task.line(name).delay_ps - thru_ps) for name in names],
        er_est=1.0,
        reflect_meas=task.reflect(reflect)[0],
        reflect_est=sign,
        reflect_offset=length(delay_ps - 0.5 * thru_ps),
        switch_terms=task.switch_networks(),
    )
    thru = propagation(task.line(names[0]), task.problem.readings.frequency_hz)
    return _at_fifty_ohm(task, names[0], [moved_out(box, thru) for box in _boxes(solved.coefs)])


def _sign_and_delay(kit: Kit, name: str) -> tuple[float, float]:
    standard = kit.standards[name]
    if isinstance(standard, ReflectStandard):
        return (1.0 if standard.near == "open" else -1.0), standard.delay_ps
    delay_ps = standard.offset.delay_ps if isinstance(standard, OpenStandard | ShortStandard) else 0.0
    return (1.0 if name == "open" else -1.0), delay_ps


def _at_fifty_ohm(task: _Task, thru: str, boxes: Sequence[Box]) -> tuple[Box, Box]:
    impedance = line_impedance(task.line(thru), task.problem.readings.frequency_hz)
    step = (REFERENCE_OHM - impedance) / (REFERENCE_OHM + impedance)
    one, two = (renormalised(box, step) for box in boxes)
    return one, two


def _flush(transmission: NDArray[np.complex128]) -> NDArray[np.complex128]:
    s = np.zeros((transmission.size, 2, 2), dtype=np.complex128)
    s[:, 0, 1] = s[:, 1, 0] = transmission
    return s


_SOLVERS: dict[Method, Callable[[_Task, Sequence[str]], tuple[Box, Box]]] = {
    "short-open-load-thru": _solt,
    "unknown-thru": _unknown_thru,
    "line-reflect-match": _lrm,
    "line-reflect-reflect-match": _lrrm,
    "thru-reflect-line": _trl,
    "multiline": _multiline,
}
