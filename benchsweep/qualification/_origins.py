"""Where along the specimen the rows of a verdict come from that fail."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from benchsweep import cabling
from benchsweep.qualification._json import json_number
from benchsweep.qualification._locate import fault_document, locate
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import End, Origin, Outcome, Parameter, Verdict

__all__ = ["failing_origins", "origin_document", "place_document"]

_FAILING = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)


def failing_origins(
    evaluation: Evaluation, verdicts: Iterable[Verdict], *, velocity: float | None = None
) -> tuple[Origin, ...]:
    """Return where the failing return loss, NEXT and PS NEXT of some verdicts come from, the worst first.

    Each trace is told once, about the frequency of its worst margin; nothing where the wiring is wrong,
    for what fails comes from that, and nothing for a length that the measured delay contradicts.
    """
    if locate(evaluation, velocity=velocity).nothing_placed:
        return ()
    wiring = evaluation.wiring.findings
    if any(finding.kind != "unclear" for finding in wiring):
        return ()
    rows = [
        row
        for verdict in verdicts
        for row in verdict.rows
        if row.outcome in _FAILING and row.end is not None and row.worst_margin_db is not None
    ]
    rows.sort(key=lambda row: row.worst_margin_db or 0.0)
    asked: dict[tuple[Parameter, End, tuple[str, ...]], float] = {}
    for row in rows:
        if row.end is not None and row.frequency_hz is not None:
            asked.setdefault((row.parameter, row.end, row.pairs), row.frequency_hz)
    return cabling.trace_origins(
        evaluation.mixed,
        [(*key, frequency_hz) for key, frequency_hz in asked.items()],
        length_m=evaluation.measurement.specimen.length_m,
        velocity=velocity,
    )


def place_document(evaluation: Evaluation, verdict: Verdict) -> dict[str, Any]:
    """Return what a verdict document says of places: faults, and from where comes what fails.

    Faults are told of a specimen that passes too: no limit may be of them.
    """
    return {
        "faults": [fault_document(fault) for fault in locate(evaluation).faults],
        "origins": [origin_document(origin) for origin in failing_origins(evaluation, [verdict])],
    }


def origin_document(origin: Origin) -> dict[str, Any]:
    """Return an origin as verdict and location documents hold it."""
    return {
        "parameter": str(origin.parameter),
        "end": origin.end,
        "pairs": list(origin.pairs),
        "frequency_hz": origin.frequency_hz,
        "band_hz": [json_number(edge) for edge in origin.band_hz],
        "at_end": origin.at_end,
        "from_m": json_number(origin.from_m),
        "to_m": json_number(origin.to_m),
        "share": json_number(origin.share),
        "words": origin.words,
    }
