from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import skrf
from numpy.typing import NDArray

# In scikit-rf 2.2 the calibration classes are not on the top level.
from skrf.calibration.calibration import SOLT, MultiportCal, OnePort

from benchsweep.calibration._kit import Kit
from benchsweep.calibration._methods import Method
from benchsweep.calibration._readings import ONE_PORT_STANDARDS, Readings, gather, gather_reflections
from benchsweep.calibration._residuals import residuals_db
from benchsweep.calibration._standards import REFERENCE_OHM, ideal_reflections, ideal_thru
from benchsweep.errors import CalibrationError
from benchsweep.records import Calibration, ErrorTerms, RawHookup, SweepSettings

__all__ = ["check_reflections", "solve"]

_FAINTEST_TRACKING = 0.01
"""Readings that differ by less than this times the acceptance are noise: no test cable loses 40 dB."""
_LEAST_DISTANCE = 0.1
"""Definitions of two standards that are closer than this, on the unit circle of reflections, tell nothing."""
_PER_PORT = ("directivity", "source_match", "load_match", "reflection_tracking")


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

    Short, open and load at every port and a through connection from one common port to every other port are
    solved pair by pair (short-open-load-thru) and joined to an n-port model by scikit-rf. A single port needs
    no through connection.

    Parameters
    ----------
    kit
        The standards and their definitions.
    hookups
        Finished hookups of a calibration plan, found by what their connections say, in any order.
    identifier, created_at, idn, settings, reached
        Kept with the calibration, see `Calibration`.

    Returns
    -------
    Calibration
        With residuals in words: see `residuals_db`.

    Raises
    ------
    CalibrationError
        A standard is missing, was exchanged or forgotten, or the readings cannot be solved.
    """
    if (method or kit.method) not in ("short-open-load-thru", "short-open-load"):
        raise CalibrationError(
            f"{method or kit.method} cannot be solved yet", hint="Choose short-open-load-thru."
        )
    readings = gather(hookups)
    reflections = ideal_reflections(kit, readings.frequency_hz)
    thru = ideal_thru(kit, readings.frequency_hz)
    _refuse_exchanged(kit, readings.reflections, reflections)
    _refuse_silent_thrus(readings)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # What scikit-rf would warn of (divisions by zero) ends in the check for numbers below.
        warnings.simplefilter("ignore")
        try:
            terms = _solve_terms(readings, reflections, thru)
        except (np.linalg.LinAlgError, ArithmeticError) as error:
            raise _unsolvable(readings, str(error)) from error
    if not all(np.all(np.isfinite(getattr(terms, name))) for name in (*_PER_PORT, "transmission_tracking")):
        raise _unsolvable(readings, "the solution holds values that are no numbers")
    residuals = residuals_db(terms, readings, reflections, thru)
    _refuse_thrus(kit, readings, residuals)
    return Calibration(
        identifier=identifier,
        created_at=created_at,
        idn=idn,
        kit=kit.name,
        method=_method(len(readings.ports)),
        settings=settings,
        terms=terms,
        residuals_db=residuals,
        reached=reached,
    )


def check_reflections(kit: Kit, hookups: Sequence[RawHookup], *, method: Method | None = None) -> None:
    """Raise when open, short and load do not read as the kit says.

    For use as soon as they are measured, before anybody connects the throughs.

    Raises
    ------
    CalibrationError
        A standard is missing, was exchanged or forgotten; every port concerned is named.
    """
    frequency_hz, read = gather_reflections(hookups)
    _refuse_exchanged(kit, read, ideal_reflections(kit, frequency_hz))


def _method(n_ports: int) -> str:
    if n_ports == 1:
        return "short-open-load"
    return f"short-open-load at {n_ports} ports, {n_ports - 1} known thru with one common port, no isolation"


def _solve_terms(
    readings: Readings, reflections: Mapping[str, NDArray[np.complex128]], thru: NDArray[np.complex128]
) -> ErrorTerms:
    frequency = skrf.Frequency.from_f(readings.frequency_hz, unit="hz")
    ports = readings.ports
    if len(ports) == 1:
        columns, tracking = _one_port(frequency, readings, reflections)
    else:
        common = ports.index(readings.common)
        pairs = {
            (common, ports.index(other)): _pair(frequency, readings, other, reflections, thru)
            for other in readings.thrus
        }
        if len(ports) == 2:
            (couple, arguments), *_ = pairs.items()
            coefs = _two_ports(arguments)
            columns, tracking = _joined([coefs[couple.index(at)] for at in (0, 1)])
        else:
            columns, tracking = _joined(_many_ports(pairs))
    return ErrorTerms(
        frequency_hz=readings.frequency_hz,
        analyzer_ports=ports,
        transmission_tracking=tracking,
        **columns,
    )


def _network(frequency: Any, s: NDArray[np.complex128]) -> Any:
    # 50 ohm on every network: scikit-rf solves wrongly when references differ.
    return skrf.Network(frequency=frequency, s=s, z0=REFERENCE_OHM)


def _one_port(
    frequency: Any, readings: Readings, reflections: Mapping[str, NDArray[np.complex128]]
) -> tuple[dict[str, NDArray[np.complex128]], NDArray[np.complex128]]:
    port = readings.ports[0]
    solved = OnePort(
        measured=[_network(frequency, readings.reflections[name][port]) for name in ONE_PORT_STANDARDS],
        ideals=[_network(frequency, reflections[name]) for name in ONE_PORT_STANDARDS],
    )
    shape = (readings.frequency_hz.size, 1)
    columns = {name.replace(" ", "_"): value.reshape(shape) for name, value in solved.coefs.items()}
    # A single port never waits for another one's drive, so it has no load match.
    columns["load_match"] = np.zeros(shape, dtype=np.complex128)
    return columns, np.ones((*shape, 1), dtype=np.complex128)


def _pair(
    frequency: Any,
    readings: Readings,
    other: int,
    reflections: Mapping[str, NDArray[np.complex128]],
    thru: NDArray[np.complex128],
) -> dict[str, Any]:
    """Return what scikit-rf's multiport calibration wants of one port pair; SOLT wants its thru last.

    The networks are made anew for every pair because SOLT flips thrus in place.
    """
    n_freq = readings.frequency_hz.size
    measured, ideals = [], []
    for name in ONE_PORT_STANDARDS:
        raw, ideal = np.zeros((2, n_freq, 2, 2), dtype=np.complex128)
        for at, port in enumerate((readings.common, other)):
            raw[:, at, at] = readings.reflections[name][port]
            ideal[:, at, at] = reflections[name]
        measured.append(_network(frequency, raw))
        ideals.append(_network(frequency, ideal))
    measured.append(_network(frequency, readings.thrus[other]))
    ideals.append(_network(frequency, thru))
    return {"method": SOLT, "measured": measured, "ideals": ideals, "n_thrus": 1}


def _two_ports(arguments: dict[str, Any]) -> list[dict[str, NDArray[np.complex128]]]:
    """Solve two ports in the form of scikit-rf's multiport calibration, which wants three at least."""
    solved = SOLT(**{key: value for key, value in arguments.items() if key != "method"}).coefs_8term
    names = ("directivity", "source match", "reflection tracking")
    first = {name: solved[f"forward {name}"] for name in names}
    second = {name: solved[f"reverse {name}"] for name in names}
    # The forward switch term is met at the port that receives forward.
    first |= {"switch term": solved["reverse switch term"], "k": np.ones_like(solved["k"])}
    second |= {"switch term": solved["forward switch term"], "k": solved["k"]}
    return [first, second]


def _many_ports(pairs: dict[tuple[int, int], dict[str, Any]]) -> list[dict[str, NDArray[np.complex128]]]:
    solved = MultiportCal(pairs)
    solved.run()
    return list(solved.coefs)


def _joined(
    coefs: list[dict[str, NDArray[np.complex128]]],
) -> tuple[dict[str, NDArray[np.complex128]], NDArray[np.complex128]]:
    """Turn scikit-rf's terms of each port (directivity, source match, switch term, k …) into ours.

    A receiving port is terminated by its switch term behind its error box. The path into port s is ``1/k_s``,
    that out of port j ``k_j`` times its reflection tracking (a common factor drops out), divided by what the
    switch term sends round again (Marks 1997).
    """
    port = {name: np.stack([one[name] for one in coefs], axis=1) for name in coefs[0]}
    round_trip = 1.0 - port["directivity"] * port["switch term"]
    columns = {
        "directivity": port["directivity"],
        "source_match": port["source match"],
        "load_match": port["source match"] + port["reflection tracking"] * port["switch term"] / round_trip,
        "reflection_tracking": port["reflection tracking"],
    }
    out_of = port["k"] * port["reflection tracking"] / round_trip
    tracking = out_of[:, :, np.newaxis] / port["k"][:, np.newaxis, :]
    diagonal = np.arange(len(coefs))
    tracking[:, diagonal, diagonal] = 1.0
    return columns, tracking


def _refuse_exchanged(
    kit: Kit,
    read: Mapping[str, Mapping[int, NDArray[np.complex128]]],
    reflections: Mapping[str, NDArray[np.complex128]],
) -> None:
    """Raise when two standards of one port read too much alike for what the kit says they are.

    A port maps reflections so that distances between readings follow distances between the standards, up to
    one factor (the tracking) and a few per cent (the source match).
    """
    couples = (("open", "short"), ("open", "load"), ("short", "load"))
    defined = {(one, two): _rms(reflections[one] - reflections[two]) for one, two in couples}
    for (one, two), distance in defined.items():
        if distance < _LEAST_DISTANCE:
            raise CalibrationError(
                f"kit {kit.name}: its {one} and {two} are the same on this frequency grid",
                hint="Correct the kit, or calibrate on other frequencies.",
            )
    wrong: dict[tuple[str, str], list[str]] = {}
    for port in sorted(read["load"]):
        ratio = {
            (one, two): _rms(read[one][port] - read[two][port]) / defined[one, two] for one, two in couples
        }
        closest = min(ratio, key=lambda couple: ratio[couple])
        if ratio[closest] <= kit.acceptance.smallest_separation * max(*ratio.values(), _FAINTEST_TRACKING):
            wrong.setdefault(closest, []).append(str(port))
    if wrong:
        told = "; ".join(
            f"{one} and {two} too much alike at port {', '.join(at)}" for (one, two), at in wrong.items()
        )
        raise CalibrationError(
            f"the standards do not read as kit {kit.name} says: {told}",
            hint="A standard was forgotten or exchanged there, or makes no contact. "
            "Check them, then calibrate again.",
        )


def _refuse_silent_thrus(readings: Readings) -> None:
    for other, raw in readings.thrus.items():
        level = min(_rms(raw[:, 0, 1]), _rms(raw[:, 1, 0]))
        if level < _FAINTEST_TRACKING:
            raise CalibrationError(
                f"thru {readings.common}-{other}: nothing comes through",
                hint=f"Join ports {readings.common} and {other} by the thru, then calibrate again.",
            )


def _refuse_thrus(kit: Kit, readings: Readings, residuals: Mapping[str, float]) -> None:
    for other in readings.thrus:
        worst = max(
            residuals[f"thru {readings.common}-{other} {word}"] for word in ("transmission", "reflection")
        )
        if worst > kit.acceptance.largest_thru_residual_db:
            raise CalibrationError(
                f"thru {readings.common}-{other}: does not come back to its definition "
                f"({worst:.1f} dB, at most {kit.acceptance.largest_thru_residual_db:g} dB is taken)",
                hint=f"Check that the thru joined ports {readings.common} and {other}, that open and short "
                "were not exchanged there and that nothing moved, then calibrate again.",
            )


def _unsolvable(readings: Readings, why: str) -> CalibrationError:
    return CalibrationError(
        f"the calibration of ports {', '.join(map(str, readings.ports))} cannot be solved: {why}",
        hint="Check the kit and the standards, then calibrate again.",
    )


def _rms(values: NDArray[np.complex128]) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))
