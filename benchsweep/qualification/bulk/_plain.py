"""Verdicts as JSON texts and back, exactly: every float keeps its last bit, infinities too."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from benchsweep.records import (
    Correction,
    Note,
    Outcome,
    Parameter,
    Verdict,
    VerdictRow,
    WiringFinding,
    WiringReport,
)

__all__ = ["corrections_text", "from_plain", "read_corrections", "to_plain"]


def to_plain(verdicts: Sequence[Verdict]) -> str:
    """Return verdicts as one line of JSON."""
    return json.dumps([_verdict(verdict) for verdict in verdicts], separators=(",", ":"))


def from_plain(text: str) -> tuple[Verdict, ...]:
    """Return the verdicts that `to_plain` wrote."""
    return tuple(_read_verdict(plain) for plain in json.loads(text))


def corrections_text(notes: Iterable[Note]) -> str:
    """Return the corrections among `notes` as one line of JSON; empty when there are none."""
    plain = [
        [note.by, note.at, note.reason, dict(note.changes), note.withdrawn]
        for note in notes
        if isinstance(note, Correction)
    ]
    return json.dumps(plain, separators=(",", ":")) if plain else ""


def read_corrections(content_hash: str, text: str) -> tuple[Correction, ...]:
    """Return the corrections that `corrections_text` wrote."""
    return tuple(
        Correction(content_hash, by, at, reason, changes, withdrawn)
        for by, at, reason, changes, withdrawn in (json.loads(text) if text else ())
    )


def _verdict(verdict: Verdict) -> list[Any]:
    wiring = verdict.wiring
    return [
        verdict.record,
        verdict.specimen,
        verdict.requirement,
        verdict.decision_rule,
        verdict.length_m,
        verdict.outcome,
        [_row(row) for row in verdict.rows],
        None
        if wiring is None
        else [
            wiring.contact_at_b,
            [[f.kind, f.contacts, f.pairs, f.end, f.words] for f in wiring.findings],
            wiring.checked,
        ],
        verdict.notes,
        verdict.budget,
        verdict.doubts,
    ]


def _row(row: VerdictRow) -> list[Any]:
    return [
        row.parameter,
        row.end,
        row.pairs,
        row.worst_margin_db,
        row.frequency_hz,
        row.value,
        row.limit,
        row.expanded_uncertainty,
        row.outcome,
        row.standing,
        row.note,
        row.uncertainty_low,
        row.uncertainty_high,
        row.guard_band,
    ]


def _read_verdict(plain: list[Any]) -> Verdict:
    record, specimen, requirement, decision_rule, length_m, outcome, rows, wiring, notes, budget, doubts = (
        plain
    )
    return Verdict(
        record=record,
        specimen=specimen,
        requirement=requirement,
        decision_rule=decision_rule,
        length_m=length_m,
        outcome=Outcome(outcome),
        rows=tuple(_read_row(row) for row in rows),
        wiring=None if wiring is None else _read_wiring(*wiring),
        notes=tuple(notes),
        budget=budget,
        doubts=tuple(doubts),
    )


def _read_row(plain: list[Any]) -> VerdictRow:
    parameter, end, pairs, margin, frequency, value, limit, expanded, outcome, *rest = plain
    return VerdictRow(
        Parameter(parameter),
        end,
        tuple(pairs),
        margin,
        frequency,
        value,
        limit,
        expanded,
        Outcome(outcome),
        *rest,
    )


def _read_wiring(contacts: list[int | None], findings: list[list[Any]], checked: bool) -> WiringReport:
    return WiringReport(
        tuple(contacts),
        tuple(
            WiringFinding(kind, tuple(of), tuple(pairs), end, words)
            for kind, of, pairs, end, words in findings
        ),
        checked=checked,
    )
