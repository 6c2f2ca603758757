"""Records and sweeps of series, read for an export: as corrected, with what it asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from benchsweep import archive, limits
from benchsweep.errors import UsageError
from benchsweep.qualification._corrections import Noted, apply_corrections
from benchsweep.qualification._graded import Qualified, grade_all
from benchsweep.qualification._reduction import evaluate
from benchsweep.qualification._series_use import grade_series, read_series_measurement
from benchsweep.qualification._uncertainty import with_budget
from benchsweep.qualification._verdict_columns import VerdictsOfRecord, kept_before
from benchsweep.records import Measurement, RawHookup, SMatrix, Trace

__all__ = [
    "NOTHING_GRADED",
    "ExportGrading",
    "ExportWhat",
    "Loaded",
    "load_for_export",
    "uncorrected",
    "verdicts_of_record",
]

ExportWhat = Literal["traces", "verdict", "matrix", "raw"]


@dataclass(frozen=True, slots=True)
class ExportGrading:
    """How records are graded for an export of verdicts; see `grade_record`."""

    requirements: Sequence[limits.Requirement] = ()
    decision_rule: str = "simple"
    length_m: float | None = None
    budget: str | None = None
    conditions: limits.Conditions | None = None
    by_pattern: Sequence[str] = ()


NOTHING_GRADED = ExportGrading()
"""No requirement."""


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """A record, or a sweep of a series, as corrected, with what the export asks for.

    Parameters
    ----------
    name
        How it is called.
    content_hash
        Of the record or series; empty when unfinished.
    traces
        Empty where they are not exported.
    graded
        For verdicts: what the table is made of.
    notes
        What was corrected afterwards, that it was withdrawn, what could not be found out, in words.
    """

    name: str
    content_hash: str
    measurement: Measurement
    traces: tuple[Trace, ...] = ()
    graded: VerdictsOfRecord | None = None
    notes: tuple[str, ...] = ()


def load_for_export(
    source: archive.Source,
    what: ExportWhat,
    *,
    grading: ExportGrading = NOTHING_GRADED,
    sweep: int | None = None,
) -> Loaded:
    """Read a record, or a sweep of a series, with its corrections, and what the export asks for.

    Raises
    ------
    UsageError, ArchiveError, CalibrationMismatch, FixtureError, LimitNotDefined, DefinitionError
    """
    series = archive.is_series(source)
    if series:
        measurement, name, digest = _one_sweep(source, what, sweep)
    elif sweep is not None:
        raise UsageError(f"{source}: is no series, so it has no sweep {sweep}", hint="Leave --sweep out.")
    else:
        measurement, name = archive.read_record(source), str(source)
        digest = archive.read_head(source).content_hash
    # An unfinished series has no hash yet by which anything could point at it.
    notes = archive.notes_of(archive.root_of(source), digest) if digest else ()
    if what in ("matrix", "raw"):
        corrected, noted = apply_corrections(measurement, notes)
        return Loaded(name, digest, corrected, notes=_told(noted))
    if what == "traces":
        evaluation = evaluate(
            with_budget(measurement, grading.budget), length_m=grading.length_m, notes=notes
        )
        told = _told(evaluation.noted)
        return Loaded(name, digest, evaluation.measurement, evaluation.traces, notes=told)
    if series:
        # It also doubts sweeps before which the analyzer was away.
        graded = _graded_sweep(Path(source), grading, sweep)
    else:
        evaluation = evaluate(
            with_budget(measurement, grading.budget), length_m=grading.length_m, notes=notes
        )
        graded = Qualified(
            name, evaluation, grade_all(evaluation, grading.requirements, record=name, **_how(grading))
        )
    corrected = graded.evaluation.measurement
    told, (before, unknown) = _told(graded.evaluation.noted), kept_before(source, digest)
    return Loaded(
        name,
        digest,
        corrected,
        graded=verdicts_of_record(graded, digest, before),
        notes=(*told, unknown) if unknown else told,
    )


def _how(grading: ExportGrading) -> dict[str, Any]:
    return {
        "decision_rule": grading.decision_rule,
        "conditions": grading.conditions,
        "by_pattern": grading.by_pattern,
    }


def _graded_sweep(path: Path, grading: ExportGrading, sweep: int | None) -> Qualified:
    graded, _ = grade_series(
        path,
        grading.requirements,
        number=sweep,
        length_m=grading.length_m,
        budget=grading.budget,
        **_how(grading),
    )
    return graded


def verdicts_of_record(graded: Qualified, content_hash: str, before: Mapping[str, str]) -> VerdictsOfRecord:
    """Return what a table of verdicts is made of."""
    measurement = graded.evaluation.measurement
    return VerdictsOfRecord(
        verdicts=[(one.verdict, one.edition) for one in graded.graded],
        content_hash=content_hash,
        lot=measurement.specimen.lot,
        product=measurement.specimen.product,
        created_at=measurement.created_at,
        corrections=graded.evaluation.noted.words,
        before=before,
    )


def _told(noted: Noted) -> tuple[str, ...]:
    return (*([noted.withdrawn] if noted.withdrawn else []), *noted.words)


def _one_sweep(source: archive.Source, what: ExportWhat, number: int | None) -> tuple[Measurement, str, str]:
    """Return a sweep of a series as a measurement, its name and the content hash of the series."""
    path = archive.local_path(source)
    if path is None:
        raise UsageError(f"{source}: a series is exported from a local folder only", hint="Copy it first.")
    with archive.open_series(path) as reader:
        digest, head = reader.content_hash, reader.head
        if what == "raw" and head.calibration is None and reader.numbers:
            found = reader.sweep(reader.numbers[-1] if number is None else number)
            raw = RawHookup(head.hookup, found.sweep)
            # Nothing is corrected, and the labels of its ports say so.
            measurement = Measurement(
                *(head.specimen, found.sweep.taken_at, "bench", head.station, head.operator),
                corrected=uncorrected(raw),
                hookups=(raw,),
            )
            return measurement, f"{source}, sweep {found.number}", digest
    measurement, found = read_series_measurement(path, number)
    return measurement, f"{source}, sweep {found.number}", digest


def uncorrected(raw: RawHookup) -> SMatrix:
    """Return a raw sweep as a matrix; its ports are named so that nobody takes them for corrected legs."""
    names = [
        f"analyzer port {port}, {raw.hookup.connections.get(port, 'nothing')}"
        for port in raw.sweep.analyzer_ports
    ]
    return SMatrix(raw.sweep.frequency_hz, raw.sweep.s, tuple(names), (50.0,) * len(names))
