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
from benchsweep.calibration._readings import ONE_PORT_STANDARDS, Readings, gather
from benchsweep.calibration._residuals import residuals_db
from benchsweep.calibration._standards import REFERENCE_OHM, ideal_reflections, ideal_thru
from benchsweep.errors import CalibrationError
from benchsweep.records import Calibration, ErrorTerms, RawHookup, SweepSettings

__all__ = ["solve"]

_FAINTEST_TRACKING = 0.01
"""Readings that differ by less than this times the acceptance are noise: no test cable loses 40 dB."""
_PER_PORT = ("directivity", "source_match", "load_match", "reflection_tracking")


def solve(
    kit: Kit,
    hookups: Sequence[RawHookup],
    *,
    identifier: str,
    created_at: str,
    idn: str,
    settings: SweepSettings,
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
    identifier, created_at, idn, settings
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
    readings = gather(hookups)
    reflections = ideal_reflections(kit, readings.frequency_hz)
    thru = ideal_thru(kit, readings.frequency_hz)
    _refuse_exchanged(kit, readings, reflections)
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
    )


def _method(n_ports: int) -> str:
    if n_ports == 1:
        return "short-open-load"
    return f"short-open-load at {n_ports} ports, {n_ports - 1} known thru with one common port, no isolation"


def _solve_terms(
    readings: Readings, reflections: Mapping[str, NDArray[np.complex128]], thru: NDArray[np.complex128]
) -> ErrorTerms:
    frequency = skrf.Frequency.from_f(readings.frequency_hz, unit="hz")
    n = len(readings.ports)
    if n == 1:
        columns = _one_port(frequency, readings, reflections)
        tracking = np.ones((readings.frequency_hz.size, 1, 1), dtype=np.complex128)
    else:
        pairs = {
            (at, readings.ports.index(other)): _pair(frequency, readings, other, reflections, thru)
            for at in [readings.ports.index(readings.common)]
            for other in readings.thrus
        }
        columns, tracking = _two_ports(pairs) if n == 2 else _many_ports(pairs)
    return ErrorTerms(
        frequency_hz=readings.frequency_hz,
        analyzer_ports=readings.ports,
        transmission_tracking=tracking,
        **{name: np.stack(columns[name], axis=1) for name in _PER_PORT},
    )


def _network(frequency: Any, s: NDArray[np.complex128]) -> Any:
    # 50 ohm on every network: scikit-rf solves wrongly when references differ.
    return skrf.Network(frequency=frequency, s=s, z0=REFERENCE_OHM)


def _one_port(
    frequency: Any, readings: Readings, reflections: Mapping[str, NDArray[np.complex128]]
) -> dict[str, list[NDArray[np.complex128]]]:
    port = readings.ports[0]
    solved = OnePort(
        measured=[_network(frequency, readings.reflections[name][port]) for name in ONE_PORT_STANDARDS],
        ideals=[_network(frequency, reflections[name]) for name in ONE_PORT_STANDARDS],
    )
    coefs = {name.replace(" ", "_"): [value] for name, value in solved.coefs.items()}
    # A single port never waits for another one's drive, so it has no load match.
    return {**coefs, "load_match": [np.zeros_like(coefs["directivity"][0])]}


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


def _two_ports(
    pairs: dict[tuple[int, int], dict[str, Any]],
) -> tuple[dict[str, list[NDArray[np.complex128]]], NDArray[np.complex128]]:
    """Solve two ports; scikit-rf's multiport calibration wants at least three."""
    ((driven, receiving), arguments), *_ = pairs.items()
    solved = SOLT(**{key: value for key, value in arguments.items() if key != "method"})
    coefs = solved.coefs_12term
    first = "forward" if driven == 0 else "reverse"
    second = "reverse" if driven == 0 else "forward"
    columns = {
        name: [coefs[f"{way} {name.replace('_', ' ')}"] for way in (first, second)]
        for name in ("directivity", "source_match", "reflection_tracking")
    }
    # The forward load match is met at the port that receives forward.
    columns["load_match"] = [coefs[f"{second} load match"], coefs[f"{first} load match"]]
    tracking = np.ones((columns["directivity"][0].size, 2, 2), dtype=np.complex128)
    tracking[:, receiving, driven] = coefs["forward transmission tracking"]
    tracking[:, driven, receiving] = coefs["reverse transmission tracking"]
    return columns, tracking


def _many_ports(
    pairs: dict[tuple[int, int], dict[str, Any]],
) -> tuple[dict[str, list[NDArray[np.complex128]]], NDArray[np.complex128]]:
    """Solve three ports or more and turn scikit-rf's terms (switch term and k of each port) into ours."""
    solved = MultiportCal(pairs)
    solved.run()
    columns = {
        name: [coefs[name.replace("_", " ")] for coefs in solved.coefs]
        for name in ("directivity", "source_match", "reflection_tracking")
    }
    columns["load_match"] = [network.s[:, 0, 0] for network in solved.terminations]
    # Path into port s 1/k_s and out of port j k_j er_j (any common factor drops out); the receiving port is
    # terminated by its switch term, which divides what its receiver sees (Marks 1997).
    into = np.stack([1.0 / coefs["k"] for coefs in solved.coefs], axis=1)
    out_of = np.stack(
        [
            coefs["k"] * coefs["reflection tracking"] / (1.0 - coefs["directivity"] * coefs["switch term"])
            for coefs in solved.coefs
        ],
        axis=1,
    )
    tracking = out_of[:, :, np.newaxis] * into[:, np.newaxis, :]
    diagonal = np.arange(len(solved.coefs))
    tracking[:, diagonal, diagonal] = 1.0
    return columns, tracking


def _refuse_exchanged(
    kit: Kit, readings: Readings, reflections: Mapping[str, NDArray[np.complex128]]
) -> None:
    """Raise when two standards of one port read too much alike for what the kit says they are.

    A port maps reflections so that distances between readings follow distances between the standards, up to
    one factor (the tracking) and a few per cent (the source match).
    """
    couples = (("open", "short"), ("open", "load"), ("short", "load"))
    for port in readings.ports:
        ratio = {}
        for one, two in couples:
            read = readings.reflections[one][port] - readings.reflections[two][port]
            ratio[one, two] = _rms(read) / _rms(reflections[one] - reflections[two])
        closest = min(ratio, key=lambda couple: ratio[couple])
        if ratio[closest] <= kit.acceptance.smallest_separation * max(*ratio.values(), _FAINTEST_TRACKING):
            raise CalibrationError(
                f"port {port}: {closest[0]} and {closest[1]} read too much alike; "
                "a standard was forgotten or exchanged, or makes no contact",
                hint=f"Check the standards at port {port}, then calibrate again.",
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
