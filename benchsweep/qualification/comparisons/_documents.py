"""What ``--json`` prints of comparisons: plain dictionaries with a schema name; inf and NaN become null."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

import numpy as np

from benchsweep.qualification._json import json_number
from benchsweep.records import (
    BenchMeasured,
    Comparison,
    ControlChart,
    Drift,
    Due,
    FieldTesterCompared,
    FieldTrace,
    ReferenceEvent,
    TraceDifference,
)

if TYPE_CHECKING:
    from benchsweep import archive
    from benchsweep.errors import ArchiveError
    from benchsweep.qualification.comparisons._compare import Looked
    from benchsweep.qualification.comparisons._list import ReferenceRow
    from benchsweep.qualification.comparisons._prove import ComparisonProof
    from benchsweep.qualification.comparisons._studies import StudyView
    from benchsweep.qualification.comparisons._view import ChannelView, FieldTesterView

__all__ = [
    "channel_document",
    "comparison_document",
    "comparison_proof_document",
    "due_document",
    "looked_document",
    "references_document",
    "study_document",
    "tester_document",
]


def channel_document(view: ChannelView) -> dict[str, Any]:
    """Return ``benchsweep.channel/1``; ``moved`` names check values of the newest record beyond limits."""
    registered = view.registered
    return {
        "schema": "benchsweep.channel/1",
        "channel": view.name,
        "path": str(view.path),
        "digest": view.digest,
        "registered_at": registered.at,
        "registered_by": registered.by,
        "parts": list(registered.parts),
        "length_m": json_number(registered.length_m),
        "requirement": registered.requirement,
        "remarks": registered.remarks or None,
        "withdrawn": view.withdrawn or None,
        "measured": [_measured(event, counts=event in view.baseline) for event in view.measured],
        "moved": list(view.moved),
        "stability": view.stable or None,
        "limits": {name: _plain(limit) for name, limit in view.limits.items()},
        "drift": _drift(view.drift),
        "due": _due(view.due),
        "doubts": list(view.doubts),
        "history": [_event(event) for event in view.events],
    }


def tester_document(view: FieldTesterView) -> dict[str, Any]:
    """Return ``benchsweep.tester/1``; comparisons in short, oldest first."""
    registered = view.registered
    return {
        "schema": "benchsweep.tester/1",
        "tester": view.name,
        "path": str(view.path),
        "digest": view.digest,
        "registered_at": registered.at,
        "registered_by": registered.by,
        "accuracy": view.accuracy or None,
        "remarks": registered.remarks or None,
        "withdrawn": view.withdrawn or None,
        "comparisons": [_in_short(number, event) for number, event in enumerate(view.compared, start=1)],
        "levels": {name: _plain(check) for name, check in view.levels.items()},
        "drift": _drift(view.drift),
        "due": _due(view.due),
        "doubts": list(view.doubts),
        "history": [_event(event) for event in view.events],
    }


def comparison_document(view: FieldTesterView, number: int | None = None) -> dict[str, Any]:
    """Return ``benchsweep.comparison/1`` of a comparison of a tester, from 1; None: the last."""
    place = len(view.compared) - 1 if number is None else number - 1
    event = view.compared[place]
    return {
        "schema": "benchsweep.comparison/1",
        "number": place + 1,
        "digest": view.digest,
        **_comparison(event.comparison),
        "file": event.file or None,
        "typed": list(event.typed),
        "repairs": event.repairs or None,
    }


def comparison_proof_document(proof: ComparisonProof) -> dict[str, Any]:
    """Return ``benchsweep.comparison-proof/1``; ``same`` tells whether everything is as it was."""
    return {
        "schema": "benchsweep.comparison-proof/1",
        "tester": proof.tester,
        "number": proof.number,
        "digest": proof.digest,
        "same": not proof.differs,
        "differs": list(proof.differs),
        "doubts": list(proof.doubts),
        "was": _comparison(proof.was),
        "now": _comparison(proof.now),
    }


def due_document(found: Sequence[Due]) -> dict[str, Any]:
    """Return ``benchsweep.due/1``."""
    return {"schema": "benchsweep.due/1", "due": [_due(each) for each in found]}


def references_document(
    rows: Sequence[ReferenceRow], unread: Sequence[tuple[archive.Source, ArchiveError]] = ()
) -> dict[str, Any]:
    """Return ``benchsweep.references/1``; ``damaged`` are histories that cannot be read."""
    return {
        "schema": "benchsweep.references/1",
        "references": [
            {
                "kind": row.kind,
                "name": row.name,
                "stands": row.words["stands"],
                "results": row.results,
                "last": row.words["last"] or None,
                "accuracy": row.words.get("accuracy"),
                "withdrawn": row.withdrawn or None,
                "outcome": None if row.outcome is None else row.outcome.value,
                "due": None if row.due is None else _due(row.due),
            }
            for row in rows
        ],
        "damaged": [{"path": str(source), "reason": error.message} for source, error in unread],
    }


def looked_document(found: Looked) -> dict[str, Any]:
    """Return ``benchsweep.field-result/1``: what was read, and what does not fit."""
    result = found.result
    return {
        "schema": "benchsweep.field-result/1",
        "source": result.source or None,
        "mapping": result.mapping or None,
        "at": result.at or None,
        "by": result.by or None,
        "tester": result.tester or None,
        "channel": result.channel or None,
        "requirement": result.requirement or None,
        "outcome": result.outcome or None,
        "traces": [_trace(trace) for trace in result.traces],
        "points": [_plain(point) for point in result.points],
        "notes": list(result.notes),
        "record": found.record or None,
        "suspicions": [_plain(suspicion) for suspicion in found.suspicions],
        "differences": [_difference(difference) for difference in found.differences],
        "missing": list(found.missing),
        "fits": found.words,
    }


def study_document(view: StudyView) -> dict[str, Any]:
    """Return ``benchsweep.study/1``; ``results`` only of quantities that every run has."""
    planned = view.planned
    return {
        "schema": "benchsweep.study/1",
        "study": planned.study,
        "digest": view.digest,
        "planned_at": planned.at,
        "planned_by": planned.by,
        "subject": planned.subject,
        "requirement": planned.requirement or None,
        "design": _plain(planned.design),
        "measured": {str(number): _plain(event) for number, event in view.measured.items()},
        "missing": [run.number for run in planned.design.runs if run.number not in view.measured],
        "results": {
            name: [{"evaluation": type(each).__name__, **_plain(each)} for each in found]
            for name, found in view.results.items()
        },
        "units": dict(view.units),
        "summary": [_plain(row) for row in view.summary],
        "doubts": list(view.doubts),
    }


def _plain(value: Any) -> Any:
    """Return a record as JSON has it."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    if isinstance(value, (float, np.floating)):
        return json_number(float(value))
    return value


def _comparison(found: Comparison) -> dict[str, Any]:
    document: dict[str, Any] = _plain(found)
    document["rows"] = [
        {**row, "unit": each.parameter.unit} for row, each in zip(document["rows"], found.rows, strict=True)
    ]
    document["bland_altman"] = dict(document["bland_altman"])
    return document


def _in_short(number: int, event: FieldTesterCompared) -> dict[str, Any]:
    found = event.comparison
    return {
        "number": number,
        "at": found.at,
        "measured_at": found.measured_at or None,
        "by": found.by,
        "channel": found.channel,
        "record": found.record,
        "source": found.source or None,
        "outcome": found.outcome.value,
        "words": found.words,
        "repairs": event.repairs or None,
    }


def _measured(event: BenchMeasured, *, counts: bool) -> dict[str, Any]:
    return {
        "at": event.at,
        "by": event.by,
        "record": event.path,
        "record_digest": event.record,
        "measured_at": event.measured_at,
        "temperature_degc": json_number(event.temperature_degc),
        "checks": _plain(event.checks),
        "accepted": event.accepted,
        "counts": counts,
        "length_m": json_number(event.length_m),
        "words": event.words,
    }


def _due(found: Due) -> dict[str, Any]:
    document: dict[str, Any] = _plain(found)
    return {**document, "last": found.last or None, "due": found.due or None}


def _drift(found: Drift) -> dict[str, Any]:
    return {
        "moved": found.moved or None,
        "words": list(found.words),
        "charts": {name: _chart(chart) for name, chart in found.charts.items()},
    }


def _chart(chart: ControlChart) -> dict[str, Any]:
    return {
        "kind": chart.kind,
        "labels": list(chart.labels),
        **{name: _column(getattr(chart, name)) for name in ("value", "centre", "lower", "upper")},
        "baseline": chart.baseline,
        "signals": [_plain(signal) for signal in chart.signals],
        "constants": chart.constants,
    }


def _trace(trace: FieldTrace) -> dict[str, Any]:
    return {
        "parameter": trace.parameter.value,
        "end": trace.end,
        "pairs": list(trace.pairs),
        "quantity": trace.quantity,
        "unit": trace.parameter.unit,
        "points": int(trace.frequency_hz.size),
        "from_hz": json_number(float(trace.frequency_hz[0])) if trace.frequency_hz.size else None,
        "to_hz": json_number(float(trace.frequency_hz[-1])) if trace.frequency_hz.size else None,
        "frequency_hz": _column(trace.frequency_hz),
        "value": _column(trace.value),
        "limit": None if trace.limit is None else _column(trace.limit),
    }


def _difference(found: TraceDifference) -> dict[str, Any]:
    return {
        "parameter": found.parameter.value,
        "end": found.end,
        "pairs": list(found.pairs),
        "unit": found.parameter.unit,
        "frequency_hz": _column(found.frequency_hz),
        "bench": _column(found.bench),
        "tester": _column(found.tester),
        "limit": _column(found.limit),
        "counts": [bool(each) for each in found.counts],
        "why_not": list(found.why_not),
    }


def _column(values: Any) -> list[float | None]:
    return [json_number(float(value)) for value in values]


def _event(event: ReferenceEvent) -> dict[str, Any]:
    """Return an entry of the history in short; records and comparisons stand elsewhere in the document."""
    told: dict[str, Any] = {"at": event.at, "by": event.by, "what": type(event).__name__}
    for name in ("reason", "every_days", "accuracy", "path", "accepted", "repairs"):
        if hasattr(event, name):
            told[name] = _plain(getattr(event, name))
    if isinstance(event, FieldTesterCompared):
        told["outcome"] = event.comparison.outcome.value
    return told
