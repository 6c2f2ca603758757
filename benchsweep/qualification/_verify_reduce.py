"""From the sweeps of check standards to comparisons, readings at ports, residual terms, followed values."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from benchsweep import calibration, fixture, mixedmode
from benchsweep.calibration import verification
from benchsweep.calibration.verification import Answer, Comparison, Finding, PortReading, Rules, level_db
from benchsweep.errors import CalibrationError
from benchsweep.qualification._bench import Bench
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.qualification._verify_history import Followed
from benchsweep.qualification._verify_plan import Placed
from benchsweep.records import Calibration, Hookup, RawHookup, SMatrix

__all__ = ["Reduced", "Residual", "Told", "reduce_artefacts", "residuals_of"]

_DRAWS = 100
_SEED = 20260
_LEGS_OHM = 50.0
_MODE_OHM = {"d": 100.0, "c": 25.0}
_LINES = "line"


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """What all check standards together gave.

    `values`: how many were compared; `lines`: placed, corrected, computed of the artefacts with lines.
    """

    comparisons: tuple[Comparison, ...]
    values: int
    readings: tuple[PortReading, ...]
    followed: tuple[Followed, ...]
    lines: tuple[tuple[Placed, SMatrix, Answer], ...]
    against: str


@dataclass(frozen=True, slots=True)
class Residual:
    """Largest residual terms of one analyzer port over frequency, linear, and what the line can tell."""

    port: int
    directivity: float
    source_match: float
    tracking: float
    floor: float


@dataclass(frozen=True, slots=True)
class Told:
    """Findings and warnings."""

    findings: tuple[Finding, ...] = ()
    warnings: tuple[str, ...] = ()


def reduce_artefacts(
    bench: Bench,
    solved: Calibration,
    placed: Sequence[tuple[RawHookup, Placed]],
    rules: Rules,
) -> Reduced:
    """Correct the sweeps of check standards with `solved` and compare them with their answers.

    Raises
    ------
    CalibrationMismatch, DataFileError, FixtureError, DefinitionError
    """
    budget = bench.station.uncertainty.budget
    expand = _by_budget(bench, solved, budget) if budget else _by_limits(bench, rules)
    comparisons: list[Comparison] = []
    readings: list[PortReading] = []
    followed: list[Followed] = []
    lines = []
    for raw, what in placed:
        hookup = replace(raw.hookup, connections=dict(what.labels))
        matrix = _corrected(bench, solved, raw, hookup)
        answer = verification.answer(what.artefact, matrix.frequency_hz, where=what.file)
        if _is_modes(matrix):
            answer = answer.mapped(mixedmode.to_mixed_mode)
        if what.artefact.kind == _LINES:
            lines.append((what, matrix, answer))
            continue
        here, modes = expand(matrix, answer, what, raw)
        readings += _readings(what, matrix, answer, here)
        measured = matrix if _is_modes(matrix) else mixedmode.to_mixed_mode(matrix)
        expected = answer if _is_modes(matrix) else answer.mapped(mixedmode.to_mixed_mode)
        comparisons += verification.compare(
            measured, expected, modes, artefact=what.artefact.name, places=what.places
        )
        kept = verification.follow_values(measured, expected, modes, what.artefact.follow)
        where = " and ".join(map(str, what.places))
        followed += [
            Followed(f"{what.artefact.name} at {where}: {name}", value, known)
            for name, (value, known) in kept.items()
        ]
    against = f"budget {budget}" if budget else "limits of the station"
    values = len(comparisons) * (placed[0][0].sweep.frequency_hz.size if placed else 0)
    return Reduced(tuple(comparisons), values, tuple(readings), tuple(followed), tuple(lines), against)


_Expanded = tuple[NDArray[np.float64], NDArray[np.float64]]
_Expand = Callable[[SMatrix, Answer, Placed, RawHookup], _Expanded]


def _corrected(bench: Bench, solved: Calibration, raw: RawHookup, hookup: Hookup) -> SMatrix:
    grid = raw.sweep.frequency_hz
    s = calibration.apply(solved.terms, raw.sweep)
    if bench.fixture.kind == "baluns":
        # Legs fit the balanced side of a balun only. Halves of a board go on with the specimen: a check
        # standard is put where the standards of the kit are, whose plane it is to verify.
        s = fixture.deembed(s, replace(hookup, number=raw.hookup.number), bench.fixture, grid)
    labels = tuple(hookup.connections[port] for port in raw.sweep.analyzer_ports)
    z0 = tuple(_MODE_OHM.get(label.partition("/")[2], _LEGS_OHM) for label in labels)
    return SMatrix(grid, s, labels, z0)


def _is_modes(matrix: SMatrix) -> bool:
    return any("/" in label for label in matrix.ports)


def _readings(what: Placed, matrix: SMatrix, answer: Answer, bench: NDArray[np.float64]) -> list[PortReading]:
    known = answer.expanded()
    found = []
    for index, label in enumerate(matrix.ports):
        at = answer.nominal.ports.index(label)
        port = next(port for port, name in what.labels.items() if name == label)
        found.append(
            PortReading(
                port,
                what.artefact.name,
                answer.nominal.s[:, at, at],
                matrix.s[:, index, index],
                np.hypot(known[:, at, at], bench[:, index, index]),
                tuple(what.labels),
            )
        )
    return found


_Figures = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def _balance(bench: Bench, what: Placed, grid: NDArray[np.float64]) -> dict[str, _Figures]:
    """Return balanced port of the artefact -> balance figures of the balun it is on; none without a table."""
    if bench.fixture.balance is None:
        return {}
    found = {}
    for number, port in zip(what.places, what.artefact.ports, strict=True):
        figures = fixture.balance_of(bench.fixture, grid, bench.places.slots[number - 1])
        found[str(port)] = (
            figures.output_signal_balance,
            figures.common_mode_rejection,
            figures.common_mode_reflection,
        )
    return found


def _by_limits(bench: Bench, rules: Rules) -> _Expand:
    def expand(matrix: SMatrix, answer: Answer, what: Placed, _: RawHookup) -> _Expanded:
        here = rules.limits.expanded(matrix.s)
        if _is_modes(matrix):
            figures = _balance(bench, what, matrix.frequency_hz)
            worse = {port: np.maximum(osb, cmr) for port, (osb, cmr, _refl) in figures.items()}
            mixed = verification.balance_uncertainty(answer.nominal, worse)
            at = [answer.nominal.ports.index(label) for label in matrix.ports]
            here = np.hypot(here, mixed[:, at][:, :, at])
            return here, here
        modes = mixedmode.to_mixed_mode(matrix)
        return here, verification.mode_uncertainty(here, matrix.ports, modes)

    return expand


def _by_budget(bench: Bench, solved: Calibration, name: str) -> _Expand:
    """Return what draws from the budget of the station: the root mean square of complex deviations, twice."""
    from benchsweep.uncertainty import Circumstances, Model, read_budget

    budget = read_budget(budget_text(name))
    made = datetime.fromisoformat(solved.created_at)

    def expand(matrix: SMatrix, _answer: Answer, what: Placed, raw: RawHookup) -> _Expanded:
        hours = abs((datetime.fromisoformat(raw.sweep.taken_at) - made).total_seconds()) / 3600.0
        model = Model(
            budget,
            matrix,
            Circumstances(
                hookups=(replace(raw.hookup, connections=dict(what.labels)),),
                hours_since_calibration=(hours,),
                settings=bench.used,
                standard_terms=solved.standard_terms,
                slots=bench.places.slots,
                balance=_balance(bench, what, matrix.frequency_hz),
            ),
        )
        rng = np.random.default_rng(_SEED)
        plain = matrix if _is_modes(matrix) else mixedmode.to_mixed_mode(matrix)
        variances = [np.zeros(matrix.s.shape), np.zeros(plain.s.shape)]
        for _ in range(_DRAWS):
            drawn = model.draw(rng)
            modes = drawn if _is_modes(matrix) else mixedmode.to_mixed_mode(drawn)
            variances[0] += np.abs(drawn.s - matrix.s) ** 2
            variances[1] += np.abs(modes.s - plain.s) ** 2
        here, there = (2.0 * np.sqrt(variance / _DRAWS) for variance in variances)
        return here, there

    return expand


def residuals_of(reduced: Reduced, rules: Rules) -> tuple[tuple[Residual, ...], Told]:
    """Fit the residual terms of every port that saw lines with different ends.

    Returns
    -------
    The terms, a finding for each port whose directivity or source match is larger than the station takes,
    and a warning where the sweep does not allow the fit.
    """
    groups: dict[int, list[tuple[NDArray[np.complex128], NDArray[np.complex128], Placed, str]]] = {}
    for what, matrix, answer in reduced.lines:
        for port, label in what.labels.items():
            pair = answer.nominal.at(out=label, into=label), matrix.at(out=label, into=label)
            groups.setdefault(port, []).append((*pair, what, label))
    found: list[Residual] = []
    try:
        for port, seen in sorted(groups.items()):
            if len(seen) > 1:
                grid = reduced.lines[0][1].frequency_hz
                found.append(_residual(port, grid, seen))
    except CalibrationError as error:
        return (), Told(warnings=(error.message,))
    widened = rules.ratio_for(max(len(found), 1))
    findings = tuple(
        Finding(
            "residual",
            f"port {one.port}: lines show a residual directivity of {level_db(one.directivity):.1f} dB and a "
            f"source match of {level_db(one.source_match):.1f} dB",
            (one.port,),
        )
        for one in found
        if one.directivity > widened * float(np.hypot(rules.limits.directivity, one.floor))
        or one.source_match > widened * float(np.hypot(rules.limits.match, 2.0 * one.floor))
    )
    return tuple(found), Told(findings)


def _residual(
    port: int,
    grid: NDArray[np.float64],
    seen: Sequence[tuple[NDArray[np.complex128], NDArray[np.complex128], Placed, str]],
) -> Residual:
    leg = seen[0][3].partition("/")[0]
    line = next(part for part in seen[0][2].artefact.line if part.leg.partition(".")[0] in leg)
    terms = verification.fit_residuals(
        grid,
        [one[0] for one in seen],
        [one[1] for one in seen],
        window_hz=verification.ripple_hz(line.delay_ns * 1e-9),
    )
    floor = line.z0_uncertainty_ohm / line.z0_ohm  # expanded: twice |dZ| / (2 Z)
    directivity, match, tracking = (
        float(np.max(np.abs(term))) for term in (terms.directivity, terms.source_match, terms.tracking)
    )
    return Residual(port, directivity, match, tracking, floor)
