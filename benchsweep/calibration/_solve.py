from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np

from benchsweep.calibration._boxes import Box, join
from benchsweep.calibration._checks import (
    refuse_exchanged,
    refuse_far_from_estimates,
    refuse_inverted,
    refuse_lines,
    refuse_residuals,
    refuse_silent,
    refuse_unfit_definitions,
)
from benchsweep.calibration._kit import Kit, needed_standards
from benchsweep.calibration._methods import EXCHANGE, Method
from benchsweep.calibration._problem import Problem, two_ports_for
from benchsweep.calibration._readings import Pair, Readings, gather
from benchsweep.calibration._residuals import residuals_db
from benchsweep.calibration._sensitivity import standard_terms
from benchsweep.calibration._switch_terms import switch_terms_of
from benchsweep.errors import CalibrationError
from benchsweep.records import Calibration, ErrorTerms, RawHookup, SweepSettings

__all__ = ["check_reflections", "pose", "solve"]

_PER_PORT = ("directivity", "source_match", "load_match", "reflection_tracking")
_ONE_PORT: Method = "short-open-load"


def solve(
    kit: Kit,
    hookups: Sequence[RawHookup],
    *,
    method: Method | None = None,
    identifier: str,
    created_at: str,
    idn: str,
    settings: SweepSettings,
    reached: str = "",
) -> Calibration:
    """Solve the error terms of an analyzer from its readings of the standards.

    Pairs of ports are solved by scikit-rf and joined to a model of all ports; two-port standards must connect
    all ports, as a star, a tree or any other graph. See `METHODS` for what each method knows and its papers.

    Parameters
    ----------
    kit
        The standards and their definitions.
    hookups
        Finished hookups of a calibration plan, found by what their connections say, in any order.
    method
        How to solve; the kit's own when None. A single port is solved by its three known reflections.
    identifier, created_at, idn, settings, reached
        Kept with the calibration, see `Calibration`.

    Returns
    -------
    Calibration
        With residuals in words (see `residuals_db`) and what is known of the standards (`standard_terms`).

    Raises
    ------
    CalibrationError
        A standard is missing, was exchanged or forgotten, switch terms are needed and not known, or the
        readings cannot be solved.
    CalibrationMismatch
        The data of a measured standard do not have the frequencies that were swept.
    DefinitionError
        The kit lacks standards that the method needs.
    """
    problem = pose(kit, hookups, method)
    refuse_exchanged(kit, problem.readings, problem.needed.one_port)
    refuse_silent(problem.readings)
    refuse_unfit_definitions(problem)
    refuse_lines(problem)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # What scikit-rf would warn of (divisions by zero) ends in the check for numbers below.
        warnings.simplefilter("ignore")
        try:
            terms = solve_terms(problem)
        except (np.linalg.LinAlgError, ArithmeticError) as error:
            raise _unsolvable(problem.readings, str(error)) from error
    if not all(np.all(np.isfinite(getattr(terms, name))) for name in (*_PER_PORT, "transmission_tracking")):
        raise _unsolvable(problem.readings, "the solution holds values that are no numbers")
    residuals = residuals_db(terms, problem)
    refuse_residuals(problem, residuals)
    refuse_far_from_estimates(problem, terms)
    refuse_inverted(problem, terms)
    return Calibration(
        identifier=identifier,
        created_at=created_at,
        idn=idn,
        kit=kit.name,
        method=_in_words(problem),
        settings=settings,
        terms=terms,
        residuals_db=residuals,
        reached=reached,
        standard_terms=standard_terms(problem),
    )


def check_reflections(kit: Kit, hookups: Sequence[RawHookup], *, method: Method | None = None) -> None:
    """Raise when the one-port standards do not read as the kit says.

    For use as soon as they are measured, before anybody connects the throughs.

    Raises
    ------
    CalibrationError
        A standard is missing, was exchanged or forgotten; every port concerned is named.
    """
    needed = needed_standards(kit, method)
    refuse_exchanged(kit, gather(hookups, needed.one_port), needed.one_port)


def pose(kit: Kit, hookups: Sequence[RawHookup], method: Method | None) -> Problem:
    """Sort the readings and see whether they are all there.

    Raises
    ------
    CalibrationError, DefinitionError
        As `solve`.
    """
    needed = needed_standards(kit, method)
    readings = gather(hookups, needed.one_port)
    chosen = method or kit.method
    if len(readings.ports) == 1 and set(needed.one_port) == {"open", "short", "load"}:
        chosen = _ONE_PORT
    problem = Problem(kit, chosen, needed, readings)
    if len(readings.ports) > 1:
        if chosen == _ONE_PORT:
            raise CalibrationError(
                f"{_ONE_PORT} calibrates a single port; measured were {len(readings.ports)}",
                hint="Choose a method with a through connection, for example short-open-load-thru.",
            )
        _refuse_unconnected(problem)
    elif chosen != _ONE_PORT:
        raise CalibrationError(
            f"{chosen} needs two ports; only port {readings.ports[0]} was measured",
            hint="Calibrate a single port with open, short and load.",
        )
    return problem


def solve_terms(problem: Problem) -> ErrorTerms:
    """Return the error terms of all ports."""
    from benchsweep.calibration._pair import one_port, solve_pair

    readings = problem.readings
    f, ports = readings.frequency_hz, readings.ports
    if problem.method == _ONE_PORT:
        box = one_port(problem, ports[0])
        # A single port never waits for another one's drive, so it has no load match.
        return ErrorTerms(
            frequency_hz=f,
            analyzer_ports=ports,
            directivity=box.directivity[:, np.newaxis],
            source_match=box.source_match[:, np.newaxis],
            load_match=np.zeros((f.size, 1), dtype=np.complex128),
            reflection_tracking=box.reflection_tracking[:, np.newaxis],
            transmission_tracking=np.ones((f.size, 1, 1), dtype=np.complex128),
        )
    known_thru = problem.method == "short-open-load-thru"
    solved: dict[Pair, tuple[Box, Box]] = {}
    # The last pair of a port tells its load match: a thru to the balance squared, an exchange to the balance.
    for pair in sorted(readings.two_ports, key=lambda pair: EXCHANGE not in readings.two_ports[pair]):
        if two_ports_for(problem, pair):
            switch = None if known_thru else switch_terms_of(readings, pair, problem.method)
            solved[pair] = solve_pair(problem, pair, switch)
    return join(f, ports, solved, average=not known_thru)


def _refuse_unconnected(problem: Problem) -> None:
    """Raise unless the pairs that have all their standards connect all ports."""
    ports = problem.readings.ports
    usable = [pair for pair in problem.readings.two_ports if two_ports_for(problem, pair)]
    reached = {ports[0]}
    while True:
        more = {port for pair in usable if reached & set(pair) for port in pair} - reached
        if not more:
            break
        reached |= more
    lacking = [(ports[0], port) for port in ports if port not in reached]
    if not lacking:
        return
    told = ", ".join(f"{low}-{high}" for low, high in lacking)
    have = problem.readings.two_ports.get(lacking[0], {})
    missing = [name for name in problem.needed.two_port if name not in have and name != "exchange"]
    word = "through connection" if missing[:1] == ["thru"] else " and ".join(missing)
    raise CalibrationError(f"the {word} {told} was not measured", hint="Make the whole calibration again.")


def _in_words(problem: Problem) -> str:
    ports = problem.readings.ports
    if problem.method == _ONE_PORT:
        return _ONE_PORT
    used = {pair: two_ports_for(problem, pair) for pair in problem.readings.two_ports}
    used = {pair: names for pair, names in used.items() if names}
    one_common = any(all(port in pair for pair in used) for port in ports)
    names = sorted({name for chosen in used.values() for name in chosen})
    if problem.method == "short-open-load-thru" and one_common and names == ["thru"]:
        shape = f"{len(used)} known thru with one common port"
        return f"short-open-load at {len(ports)} ports, {shape}, no isolation"
    return (
        f"{problem.method} at {len(ports)} ports: {', '.join(problem.needed.one_port)} at every port; "
        f"{', '.join(names)} between {len(used)} pairs; no isolation"
    )


def _unsolvable(readings: Readings, why: str) -> CalibrationError:
    return CalibrationError(
        f"the calibration of ports {', '.join(map(str, readings.ports))} cannot be solved: {why}",
        hint="Check the kit and the standards, then calibrate again.",
    )
