"""What ``--json`` prints: plain dictionaries with a schema name, the same for every caller."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from benchsweep.qualification._json import json_number
from benchsweep.records import (
    Measurement,
    Outcome,
    SweepSettings,
    Verdict,
    VerdictRow,
    WiringReport,
)

if TYPE_CHECKING:
    from benchsweep.acquisition import ChosenGrid
    from benchsweep.limits import LimitValue
    from benchsweep.qualification._identity import Identified
    from benchsweep.qualification._planning import Planned

__all__ = [
    "exit_code_of",
    "identity_document",
    "limit_document",
    "plan_document",
    "record_document",
    "row_document",
    "verdict_document",
]


def row_document(row: VerdictRow) -> dict[str, Any]:
    """Return a row of a verdict."""
    return {
        "parameter": str(row.parameter),
        "end": row.end,
        "pairs": list(row.pairs),
        "worst_margin_db": json_number(row.worst_margin_db),
        "frequency_hz": json_number(row.frequency_hz),
        "value": json_number(row.value),
        "limit": json_number(row.limit),
        "expanded_uncertainty": json_number(row.expanded_uncertainty),
        "uncertainty_low": json_number(row.uncertainty_low),
        "uncertainty_high": json_number(row.uncertainty_high),
        "guard_band": json_number(row.guard_band),
        "outcome": str(row.outcome),
        "unit": row.parameter.unit,
        "standing": row.standing,
        "note": row.note,
    }


def _wiring(report: WiringReport | None) -> dict[str, Any] | None:
    if report is None:
        return None
    return {
        "checked": report.checked,
        "right": report.right,
        "contact_at_b": list(report.contact_at_b),
        "findings": [
            {
                "kind": finding.kind,
                "contacts": list(finding.contacts),
                "pairs": list(finding.pairs),
                "end": finding.end,
                "words": finding.words,
            }
            for finding in report.findings
        ],
    }


def verdict_document(verdict: Verdict, measurement: Measurement | None = None) -> dict[str, Any]:
    """Return ``benchsweep.verdict/1``; with `measurement` also what happened while it was taken."""
    return {
        "schema": "benchsweep.verdict/1",
        "record": verdict.record,
        "specimen": verdict.specimen,
        "requirement": verdict.requirement,
        "length_m": verdict.length_m,
        "decision_rule": verdict.decision_rule,
        "budget": verdict.budget or None,
        "outcome": str(verdict.outcome),
        "rows": [row_document(row) for row in verdict.rows],
        "wiring": _wiring(verdict.wiring),
        "notes": list(verdict.notes),
        "doubts": list(verdict.doubts),
        **({} if measurement is None else _circumstances(measurement)),
    }


def _circumstances(measurement: Measurement) -> dict[str, Any]:
    """Return who confirmed the cautions and what went wrong and was overcome."""
    safety = measurement.safety
    return {
        "safety": None
        if safety is None
        else {"by": safety.by, "at": safety.at, "cautions": list(safety.cautions)},
        "incidents": list(measurement.incidents),
    }


def plan_document(planned: Planned) -> dict[str, Any]:
    """Return ``benchsweep.plan/1``; the seconds are expected ones."""
    return {
        "schema": "benchsweep.plan/1",
        "station": planned.station.name,
        "requirements": list(planned.requirements),
        "length_m": planned.length_m,
        "hookups": [
            {
                "number": hookup.number,
                "connections": {str(port): leg for port, leg in hookup.connections.items()},
            }
            for hookup in planned.plan.hookups
        ],
        "matings": planned.plan.matings,
        "disturbing": planned.disturbing,
        "grid": {
            "words": planned.grid,
            **_grid(planned.settings, planned.settings.points),
            "better": None
            if planned.better is None
            else {
                "words": planned.better_words,
                **_grid(planned.better, planned.better.points),
                "warnings": list(planned.better.warnings),
                "seconds": round(planned.better_seconds, 1),
            },
        },
        "warnings": list(planned.warnings),
        "seconds": round(planned.seconds, 1),
        "sweep_seconds": round(planned.sweep_seconds, 1),
        "move_seconds": round(planned.move_seconds, 1),
    }


def _grid(of: SweepSettings | ChosenGrid, points: int | None) -> dict[str, Any]:
    """Return a grid; null for what the analyzer decides."""
    parts = of.segments
    return {
        "spacing": of.spacing,
        "start_hz": parts[0].start_hz if parts else of.start_hz,
        "stop_hz": parts[-1].stop_hz if parts else of.stop_hz,
        "points": sum(part.points for part in parts) if parts else points,
        "segments": [
            {
                "start_hz": part.start_hz,
                "stop_hz": part.stop_hz,
                "points": part.points,
                "if_bandwidth_hz": part.if_bandwidth_hz,
            }
            for part in parts
        ],
    }


def identity_document(found: Identified) -> dict[str, Any]:
    """Return ``benchsweep.identity/1``; ``family`` and ``ports`` are null when no family fits."""
    known = found.identity
    return {
        "schema": "benchsweep.identity/1",
        "address": found.address,
        "idn": found.idn,
        "family": None if known is None else known.family,
        "ports": None if known is None else known.ports,
        "standing": found.standing or None,
        "limits": {} if known is None else dict(known.limits),
        "lacks": [] if known is None else list(known.lacks),
        "tried": [
            {"address": item.address, "reason": item.reason, "came": item.came} for item in found.tried
        ],
        "evidence": [{"probe": probe.probe, "answer": probe.answer} for probe in found.evidence],
    }


def limit_document(requirement: str, parameter: str, limit: LimitValue) -> dict[str, Any]:
    """Return ``benchsweep.limit/1``."""
    return {
        "schema": "benchsweep.limit/1",
        "requirement": requirement,
        "parameter": parameter,
        "frequency_hz": limit.frequency_hz,
        "length_m": limit.length_m,
        "value": limit.value,
        "unit": limit.unit,
        "sense": limit.sense,
        "standing": limit.standing,
        "source": limit.source,
    }


def record_document(measurement: Measurement, *, record: str) -> dict[str, Any]:
    """Return ``benchsweep.record/1``: what a record holds, without its arrays."""
    calibration = measurement.calibration
    grid = measurement.corrected.frequency_hz
    return {
        "schema": "benchsweep.record/1",
        "record": record,
        "specimen": measurement.specimen.identifier,
        "lot": measurement.specimen.lot,
        "product": measurement.specimen.product,
        "length_m": measurement.specimen.length_m,
        "description": measurement.specimen.description,
        "created_at": measurement.created_at,
        "origin": measurement.origin,
        "station": measurement.station,
        "operator": measurement.operator,
        "analyzer": None if measurement.analyzer is None else measurement.analyzer.idn,
        "family": None if measurement.analyzer is None else measurement.analyzer.family,
        "points": int(grid.size),
        "start_hz": float(grid[0]),
        "stop_hz": float(grid[-1]),
        "ports": list(measurement.corrected.ports),
        "disturbing_cables": list(measurement.disturbing_cables),
        "hookups": len(measurement.hookups),
        "calibration": None if calibration is None else calibration.identifier,
        "calibrated_at": None if calibration is None else calibration.created_at,
        "kit": None if calibration is None else calibration.kit,
        "budget": _named(measurement.budget_toml),
        "verification": measurement.verification or None,
        "consistency_db": _numbers(measurement.consistency_db),
        "ambient": _numbers(measurement.ambient),
        "software": dict(measurement.software),
        "source_file": measurement.source_file,
        **_circumstances(measurement),
    }


def _named(toml: str) -> str | None:
    """Return the name that a definition kept in a record gives itself; None where there is none."""
    try:
        name = tomllib.loads(toml).get("name")
    except tomllib.TOMLDecodeError:
        return None
    return name if isinstance(name, str) else None


def _numbers(values: Mapping[str, float]) -> dict[str, float | None]:
    return {key: json_number(value) for key, value in values.items()}


def exit_code_of(verdicts: Sequence[Verdict]) -> int:
    """Return 0 when all pass (conditional pass included), 1 when any fails, 3 when any is undecided."""
    outcomes = {verdict.outcome for verdict in verdicts}
    if outcomes & {Outcome.FAIL, Outcome.CONDITIONAL_FAIL}:
        return 1
    return 3 if Outcome.UNDECIDED in outcomes else 0
