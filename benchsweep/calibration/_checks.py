"""When standards cannot have been what the plan said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._apply import correct
from benchsweep.calibration._kit import Kit, LoadStandard, OffsetLine, ThruStandard
from benchsweep.calibration._methods import is_numbered
from benchsweep.calibration._problem import Problem, two_ports_for
from benchsweep.calibration._readings import Pair, Readings
from benchsweep.calibration._standards import ideal_reflections, ideal_thru, propagation
from benchsweep.errors import CalibrationError
from benchsweep.records import ErrorTerms

__all__ = [
    "bands",
    "refuse_exchanged",
    "refuse_far_from_estimates",
    "refuse_inverted",
    "refuse_lines",
    "refuse_residuals",
    "refuse_silent",
    "refuse_unfit_definitions",
]

_FAINTEST_TRACKING = 0.01
"""Readings that differ by less than this times the acceptance are noise: no test cable loses 40 dB."""
_LEAST_DISTANCE = 0.1
"""Definitions of two standards that are closer than this, on the unit circle of reflections, tell nothing."""
_LARGEST_ESTIMATE_ERROR_DEG = 70.0
"""An estimate chooses between two solutions 180 degrees apart; beyond this the choice is not safe."""
_LARGEST_REFLECT_DISTANCE = 0.7
"""How far a solved reflection may be from its estimate: 40 degrees where the magnitude is right."""
_LARGEST_POWER = 1.2
"""No standard gives back more power than goes in; errors of a usable calibration stay below this."""
_SAME = 1e-9
_LOW_ENOUGH_HZ = 5e6
"""Grids that begin above tell no sign at zero frequency; such steps are unambiguous for 10 m of cable."""
_NEAR_ZERO_HZ = 1.5e6
"""Here the phase of the first point is good enough by itself."""
_INVERTED_DEG = 135.0
"""Phase at zero frequency from which on a tracking counts as inverted; a balun turns it some way, too."""


def refuse_exchanged(kit: Kit, readings: Readings, names: Sequence[str]) -> None:
    """Raise when two standards of one port read too much alike for what the kit says they are.

    A port maps reflections so that distances between readings follow distances between the standards, up to
    one factor (the tracking) and a few per cent (the source match).
    """
    reflections = ideal_reflections(kit, readings.frequency_hz, names)
    couples = tuple(combinations(names, 2))
    defined = {(one, two): _rms(reflections[one] - reflections[two]) for one, two in couples}
    for (one, two), distance in defined.items():
        if distance < _LEAST_DISTANCE:
            raise CalibrationError(
                f"kit {kit.name}: its {one} and {two} are the same on this frequency grid",
                hint="Correct the kit, or calibrate on other frequencies.",
            )
    if not couples:
        return
    read = readings.reflections
    wrong: dict[tuple[str, str], list[str]] = {}
    for port in readings.ports:
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


def refuse_silent(readings: Readings) -> None:
    """Raise when nothing comes through a two-port standard."""
    for (low, high), measured in readings.two_ports.items():
        for name, raw in measured.items():
            if min(_rms(raw[:, 0, 1]), _rms(raw[:, 1, 0])) < _FAINTEST_TRACKING:
                raise CalibrationError(
                    f"{name} {low}-{high}: nothing comes through",
                    hint=f"Join ports {low} and {high} by the {name}, then calibrate again.",
                )


def refuse_unfit_definitions(problem: Problem) -> None:
    """Raise when a definition is of a form that the method cannot use."""
    kit, f = problem.kit, problem.readings.frequency_hz
    if problem.method == "line-reflect-match":
        thru = ideal_thru(kit, f)
        if not np.allclose(thru[:, 0, 0], thru[:, 1, 1], rtol=0.0, atol=_SAME):
            raise _unfit(problem, "thru", "must be symmetric: scikit-rf solves no other one")
    if problem.method == "line-reflect-reflect-match":
        _refuse_match_without_series_inductance(problem)
    if problem.method in ("thru-reflect-line", "multiline"):
        reference = kit.thru.offset if kit.thru is not None else OffsetLine()
        for name, line in kit.standards.items():
            if name != "thru" and not is_numbered(name, "line"):
                continue
            if not isinstance(line, ThruStandard) or line.touchstone is not None:
                raise _unfit(problem, name, "must be given by delay and impedance, not by a file")
            if line.offset.z0_ohm != reference.z0_ohm:
                raise _unfit(problem, name, "must have the impedance of the thru, which is the reference")


def _refuse_match_without_series_inductance(problem: Problem) -> None:
    """Raise unless the load is a resistance and a constant inductance, whose size is solved."""
    load = problem.kit.load
    constant = (
        isinstance(load, LoadStandard)
        and load.touchstone is None
        and load.offset.delay_ps == 0.0
        and not any(load.inductance_henry[1:])
    )
    if not constant:
        raise _unfit(
            problem,
            "load",
            "must be a resistance and a constant inductance without offset, which is solved",
        )


def _unfit(problem: Problem, name: str, why: str) -> CalibrationError:
    return CalibrationError(
        f"kit {problem.kit.name}, {problem.method}: its {name} {why}",
        hint="Choose another method, for example short-open-load-thru or unknown-thru, or correct the kit.",
    )


def refuse_lines(problem: Problem) -> None:
    """Raise when no line differs enough from the others in phase, and name the frequencies.

    A line that is a multiple of half a wavelength longer than the thru tells nothing that the thru does not
    tell. Of several lines one couple must differ enough at each frequency.
    """
    if problem.method not in ("thru-reflect-line", "multiline"):
        return
    f, kit = problem.readings.frequency_hz, problem.kit
    least = np.sin(np.deg2rad(kit.acceptance.smallest_line_phase_deg))
    for pair in problem.readings.two_ports:
        names = two_ports_for(problem, pair)
        lines = {name: propagation(_offset(kit, name), f) for name in names}
        couples = [np.abs(np.sin(np.angle(lines[one] / lines[two]))) for one, two in combinations(names, 2)]
        bad = np.max(couples, axis=0) < least if couples else np.zeros(f.size, dtype=bool)
        if np.any(bad):
            raise CalibrationError(
                f"kit {kit.name}: {', '.join(names)} are within "
                f"{kit.acceptance.smallest_line_phase_deg:g} degrees of a multiple of 180 degrees of each "
                f"other at {bands(f, bad)}",
                hint="Take a line of another length, add one, or sweep other frequencies: at low frequencies "
                "lines are short, choose line-reflect-match or short-open-load-thru there.",
            )


def _offset(kit: Kit, name: str) -> OffsetLine:
    standard = kit.standards[name]
    return standard.offset if isinstance(standard, ThruStandard) else OffsetLine()


def bands(frequency_hz: NDArray[np.float64], bad: NDArray[np.bool_]) -> str:
    """Return the runs of `bad` in words: ``2 to 366 MHz, 2.97 to 3 GHz``."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bad, [False]]).astype(np.int8)))
    mhz = frequency_hz / 1e6
    runs = [(mhz[a], mhz[b - 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    told = [f"{a:.6g} MHz" if a == b else f"{a:.6g} to {b:.6g} MHz" for a, b in runs]
    return ", ".join(told[:4]) + (f" and {len(told) - 4} more" if len(told) > 4 else "")


def refuse_residuals(problem: Problem, residuals: Mapping[str, float]) -> None:
    """Raise when a two-port standard contradicts what is known of it.

    A known one must come back to its definition; of a reciprocal one both ways must be alike, which a
    receiver that changed between two of them spoils.
    """
    taken = problem.kit.acceptance.largest_thru_residual_db
    unknown = problem.method == "unknown-thru"
    words = ("reciprocity",) if unknown else ("transmission", "reflection", "load match")
    for (low, high), measured in problem.readings.two_ports.items():
        for name in measured:
            if is_numbered(name, "line"):
                continue  # judged by its phase: the rest of it is what is solved
            label = f"{name} {low}-{high}"
            worst = max(residuals.get(f"{label} {word}", -np.inf) for word in words)
            if worst > taken:
                what = "is not reciprocal" if unknown else "does not come back to its definition"
                raise CalibrationError(
                    f"{label}: {what} ({worst:.1f} dB, at most {taken:g} dB is taken)",
                    hint=f"Check that the {name} joined ports {low} and {high}, that open and short were not "
                    "exchanged there and that nothing moved, then calibrate again.",
                )


def refuse_far_from_estimates(problem: Problem, terms: ErrorTerms) -> None:
    """Raise when what a method solved besides the error terms is far from what the kit estimates.

    Reflects, lines and unknown thrus are estimated because two solutions have to be told apart.
    """
    readings, f = problem.readings, problem.readings.frequency_hz
    if problem.method in (
        "line-reflect-match",
        "line-reflect-reflect-match",
        "thru-reflect-line",
        "multiline",
    ):
        for name, estimate in ideal_reflections(problem.kit, f, problem.needed.one_port).items():
            for port, raw in readings.reflections[name].items():
                corrected = correct(terms, raw[:, np.newaxis, np.newaxis], (port,))[:, 0, 0]
                if name != "load" and np.max(np.abs(corrected - estimate)) > _LARGEST_REFLECT_DISTANCE:
                    raise _far(f"the {name} at port {port}", float(np.max(np.abs(corrected - estimate))))
    for pair in readings.two_ports:
        for name in two_ports_for(problem, pair):
            if problem.method == "unknown-thru" or is_numbered(name, "line"):
                _refuse_phase(problem, terms, pair, name)


def _refuse_phase(problem: Problem, terms: ErrorTerms, pair: Pair, name: str) -> None:
    f = problem.readings.frequency_hz
    corrected = correct(terms, problem.readings.two_ports[pair][name], pair)
    gain = float(np.max(np.linalg.norm(corrected, ord=2, axis=(1, 2))))
    if gain**2 > _LARGEST_POWER:
        raise CalibrationError(
            f"{name} {pair[0]}-{pair[1]}: comes out with {gain**2:.2f} times the power that goes in",
            hint="Check which standards were connected at both ports and that nothing moved, then calibrate "
            "again.",
        )
    error = np.abs(np.rad2deg(np.angle(corrected[:, 1, 0] / ideal_thru(problem.kit, f, name)[:, 1, 0])))
    bad = error > _LARGEST_ESTIMATE_ERROR_DEG
    if np.any(bad):
        raise CalibrationError(
            f"{name} {pair[0]}-{pair[1]}: its phase is up to {float(np.max(error)):.0f} degrees from what "
            f"kit {problem.kit.name} estimates at {bands(f, bad)}",
            hint="Correct its delay in the kit, or check which standard was connected; the sign of the "
            "solution is not safe.",
        )


def refuse_inverted(problem: Problem, terms: ErrorTerms) -> None:
    """Raise when the reflection tracking of a port begins near -1 and not near +1.

    Open and short exchanged at all ports (or a reflect that is not what its estimate says) turn the sign
    of all terms of a port and contradict nothing: reflections of everything come out with the other sign.
    What is left is that a cable without length turns no phase. Judged only on grids that begin low enough.
    """
    f = terms.frequency_hz
    if not problem.kit.acceptance.open_reads_positive or f[0] > _LOW_ENOUGH_HZ:
        return
    tracking = terms.reflection_tracking
    turned = np.angle(tracking[0])
    if f.size > 1 and np.median(np.diff(f)) <= _LOW_ENOUGH_HZ:
        step = np.angle(np.sum(tracking[1:] * np.conj(tracking[:-1]), axis=0)) / np.median(np.diff(f))
        turned = turned - step * f[0]
    elif f[0] > _NEAR_ZERO_HZ:
        return
    inverted = np.abs(np.angle(np.exp(1j * turned))) > np.deg2rad(_INVERTED_DEG)
    if np.any(inverted):
        ports = ", ".join(str(terms.analyzer_ports[at]) for at in np.flatnonzero(inverted))
        raise CalibrationError(
            f"reflections at port {ports} come out with the wrong sign: "
            f"{', '.join(problem.needed.one_port)} read as if they were their opposites",
            hint="Check that open and short were not exchanged and that a reflect is what the kit says. If "
            "the bridges of the analyzer invert, set open_reads_positive = false in [acceptance] of the kit.",
        )


def _far(what: str, distance: float) -> CalibrationError:
    return CalibrationError(
        f"{what} comes out {distance:.2f} from its estimate (at most {_LARGEST_REFLECT_DISTANCE:g})",
        hint="Check which standards were connected, that all ports saw the same ones, and the kit.",
    )


def _rms(values: NDArray[np.complex128]) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))
