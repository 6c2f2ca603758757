"""From raw sweeps to graded traces: the order of the stages, written down once."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from types import MappingProxyType
from typing import Any

from benchsweep import __version__, cabling, calibration, fixture, limits, mixedmode
from benchsweep.acquisition import grid_warnings
from benchsweep.qualification._alien import alien_notes
from benchsweep.qualification._balance_floor import declares_balance, within_balance
from benchsweep.qualification._corrections import NOTHING, Noted, apply_corrections, noted_verdict
from benchsweep.qualification._uncertainty import uncertainty_model
from benchsweep.records import (
    Calibration,
    LimitCurve,
    Measurement,
    Note,
    Outcome,
    Parameter,
    RawHookup,
    SMatrix,
    Trace,
    Verdict,
    WiringReport,
)
from benchsweep.uncertainty import Model

__all__ = [
    "Evaluation",
    "assembly_notes",
    "conditions_of",
    "evaluate",
    "grade_evaluation",
    "judge_evaluation",
    "reduce_hookups",
    "software_versions",
    "uncertainty_model",
]

_OF_COMMON_MODES = frozenset({Parameter.TCL, Parameter.ELTCTL})
_PACKAGES = ("numpy", "scipy", "scikit-rf", "h5py", "pyvisa", "pyvisa-py")


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """A measurement with everything derived from its corrected matrix; no `model` without a budget.

    `couplings` are those of the measurement as mixed-mode matrices; empty without a bundle. `noted` is what
    was corrected of the measurement afterwards, which every verdict tells.
    """

    measurement: Measurement
    mixed: SMatrix
    traces: tuple[Trace, ...]
    wiring: WiringReport
    model: Model | None = None
    couplings: tuple[SMatrix, ...] = ()
    noted: Noted = NOTHING


@lru_cache(maxsize=1)
def software_versions() -> MappingProxyType[str, str]:
    """Return package -> version of what takes part in a reduction."""
    found = {"benchsweep": __version__}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # pyvisa-py may be absent where a native VISA library serves
            continue
    return MappingProxyType(found)


def reduce_hookups(
    hookups: Sequence[RawHookup], solved: Calibration, definition: fixture.Fixture
) -> fixture.Assembled:
    """Correct every raw sweep, move it to the plane of the specimen, and put all together.

    Returns
    -------
    The matrix at the legs of the specimen (50 ohm) or of its modes behind baluns, how far hookups that
    measured the same disagree, and what is likely to be the cause.

    Raises
    ------
    CalibrationMismatch, FixtureError
    """
    grid = hookups[0].sweep.frequency_hz
    parts = [
        (
            raw.hookup,
            fixture.deembed(calibration.apply(solved.terms, raw.sweep), raw.hookup, definition, grid),
        )
        for raw in hookups
    ]
    return fixture.assemble(parts, grid, definition)


def evaluate(
    measurement: Measurement,
    *,
    length_m: float | None = None,
    notes: Iterable[Note] = (),
    parameters: Collection[Parameter] | None = None,
) -> Evaluation:
    """Convert to mixed mode, derive every trace, check the wiring.

    Parameters
    ----------
    length_m
        Overrides the length noted in the measurement, and the corrected one.
    notes
        What was said of the record afterwards, in time order; its corrections are applied.
    parameters
        Only traces of these and of the delay are derived, see `limits.needed_parameters`, and common modes
        only where these are made of them; None: all. The verdict is the same.

    Raises
    ------
    UsageError
        A length that makes no sense.
    """
    measurement, noted = apply_corrections(measurement, notes)
    if limits.checked_length(length_m) is not None:
        specimen = replace(measurement.specimen, length_m=length_m)
        measurement = replace(measurement, specimen=specimen)
    known = measurement.specimen.length_m
    balance = parameters is None or not _OF_COMMON_MODES.isdisjoint(parameters)
    mixed = mixedmode.to_mixed_mode(measurement.corrected, common=balance)
    couplings = tuple(mixedmode.to_mixed_mode(coupling) for coupling in measurement.couplings)
    losses = cabling.ModeLosses(mixed)
    # The delay tells whether the length can be right.
    wanted = None if parameters is None else {*parameters, Parameter.DELAY}
    traces = (
        *cabling.compute_traces(losses, length_m=known, parameters=wanted),
        *cabling.compute_alien(couplings, losses),
    )
    # A length that the delay contradicts tells nothing of the wiring.
    told = None if cabling.length_doubt(traces, known) else known
    wiring = cabling.check_wiring(measurement.corrected, losses, length_m=told)
    return Evaluation(measurement, mixed, traces, wiring, uncertainty_model(measurement), couplings, noted)


def judge_evaluation(
    evaluation: Evaluation,
    requirement: limits.Requirement,
    *,
    record: str = "",
    decision_rule: str = "simple",
    conditions: limits.Conditions | None = None,
    missing_length: limits.MissingLength = "error",
) -> Verdict:
    """Grade an evaluation.

    Where hookups disagree about a leg by more than the fixture allows, the whole is undecided, whatever the
    rows say.

    Parameters
    ----------
    conditions
        Temperature and construction of the specimen. A temperature that is not told is the one noted with
        the measurement.
    missing_length
        What a limit that depends on the length does when nobody gave one; see `limits.grade`.
    """
    measurement = evaluation.measurement
    length = measurement.specimen.length_m
    verdict = limits.grade(
        evaluation.traces,
        requirement,
        specimen=measurement.specimen.identifier,
        record=record,
        length_m=length,
        conditions=conditions_of(measurement, requirement, conditions),
        missing_length=missing_length,
        decision=limits.Decision.parse(decision_rule),
        wiring=evaluation.wiring,
        assess=None if evaluation.model is None else evaluation.model.intervals,
    )
    if evaluation.model is not None:
        verdict = replace(verdict, budget=evaluation.model.budget.name)
    # Before anything that overrules the rows.
    if declares_balance(measurement):
        verdict = within_balance(verdict, limit_curves(evaluation, requirement), measurement)
    doubt = cabling.length_doubt(evaluation.traces, length)
    doubts = (doubt,) if doubt else _too_coarse(measurement)
    notes = doubts if doubt else (*doubts, *_too_long(evaluation, requirement))
    notes = (*notes, *alien_notes(evaluation.couplings, evaluation.mixed, verdict))
    disagree = _disagreement(measurement)
    if disagree:
        verdict = replace(verdict, outcome=Outcome.UNDECIDED)
        notes = (disagree, *notes)
        doubts = (disagree, *doubts)
    if notes:
        verdict = replace(verdict, notes=(*notes, *verdict.notes), doubts=doubts)
    return noted_verdict(verdict, evaluation.noted)


def grade_evaluation(
    evaluation: Evaluation, requirement: limits.Requirement, **how: Any
) -> tuple[Verdict, dict[Parameter, LimitCurve]]:
    """Grade an evaluation; return the verdict and the limit lines on the measured grid, for plots.

    `how` is that of `judge_evaluation`.
    """
    return judge_evaluation(evaluation, requirement, **how), limit_curves(evaluation, requirement)


def limit_curves(evaluation: Evaluation, requirement: limits.Requirement) -> dict[Parameter, LimitCurve]:
    """Return the limit lines of the traces that there are on the measured grid."""
    length = evaluation.measurement.specimen.length_m
    curves: dict[Parameter, LimitCurve] = {}
    for parameter in dict.fromkeys(trace.parameter for trace in evaluation.traces):
        line = requirement.line_of(parameter)
        if line is None or (line.needs_length and length is None):
            continue
        grid = evaluation.measurement.corrected.frequency_hz
        curve = limits.limit_curve(requirement, parameter, grid, length_m=length)
        if curve is not None:
            curves[parameter] = curve
    return curves


def conditions_of(
    measurement: Measurement, requirement: limits.Requirement, conditions: limits.Conditions | None
) -> limits.Conditions:
    """Return the conditions told, with the temperature noted with the measurement where none was told.

    Raises
    ------
    UsageError
        The noted temperature makes no sense, and the requirement goes by it.
    """
    told = conditions or limits.Conditions()
    noted = measurement.ambient.get("temperature_degc")
    if requirement.temperature is None or told.temperature_degc is not None or noted is None:
        return told
    return replace(told, temperature_degc=float(noted))


def _too_long(evaluation: Evaluation, requirement: limits.Requirement) -> tuple[str, ...]:
    """Return a note when the specimen is longer than usual: as told, else by delay and common velocity."""
    if requirement.length is None:
        return ()
    told = evaluation.measurement.specimen.length_m
    if told is not None:
        note = limits.length_note(requirement, told)
    else:
        note = limits.length_note(requirement, cabling.electrical_length(evaluation.traces))
        note = f"{note} (from the delay at a common velocity, 0.67 of that of light)" if note else ""
    return (note,) if note else ()


def _disagreement(measurement: Measurement) -> str:
    """Return why a measurement whose hookups contradict each other is not to be trusted; empty when it is."""
    if not measurement.consistency_db:
        return ""
    # A figure that is no number is worse than any.
    leg, worst_db = max(
        measurement.consistency_db.items(),
        key=lambda item: math.inf if math.isnan(item[1]) else item[1],
    )
    allowed_db = fixture.allowed_disagreement_db(measurement.fixture_toml)
    if worst_db <= allowed_db:
        return ""
    # Records of the first days keep no cause.
    causes = "".join(f" {note[:1].upper()}{note[1:].rstrip('.')}." for note in measurement.assembly_notes)
    return (
        f"not to be trusted: the hookups disagree about leg {leg} by {worst_db:.1f} dB, the fixture allows "
        f"{allowed_db:g} dB.{causes} Check that every connection is made as told, that no contact is loose "
        "and no termination missing: measure again"
    )


def assembly_notes(assembled: fixture.Assembled) -> tuple[str, ...]:
    """Return what a record keeps of an assembly, the likely cause of a disagreement first."""
    return (*((assembled.culprit,) if assembled.culprit else ()), *assembled.notes)


def _too_coarse(measurement: Measurement) -> tuple[str, ...]:
    """Return what the grid of a measurement is too coarse for; what it does not cover stands in the rows."""
    grid, length = measurement.corrected.frequency_hz, measurement.specimen.length_m
    if length is None or grid.size < 2:
        return ()
    return grid_warnings(grid, length, time_domain=False)
