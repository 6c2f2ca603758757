"""What was said of a record afterwards, and how that is shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from benchsweep import archive
from benchsweep.errors import ArchiveError
from benchsweep.qualification._corrections import (
    Noted,
    apply_corrections,
    shown_value,
    withdrawn_words,
)
from benchsweep.qualification._json import json_number
from benchsweep.records import (
    Comment,
    Correction,
    Measurement,
    Note,
    Verdict,
    corrections_in_force,
)

__all__ = [
    "RecordNotes",
    "note_lines",
    "notes_about",
    "notes_document",
    "notes_on",
    "record_hash",
]


def record_hash(path: archive.Source) -> str:
    """Return the hash that names the content of a record or a series, for reports; empty when unfinished.

    Raises
    ------
    ArchiveError
    """
    if archive.is_series(path):
        with archive.open_series(path) as reader:
            return reader.content_hash
    return archive.content_hash(path)


def notes_about(record: archive.Source) -> tuple[Note, ...]:
    """Return what was said of a record or a series afterwards, in time order.

    Notes lie in the archive that the record is in, see `archive.root_of`.

    Raises
    ------
    ArchiveError
        The record or a note cannot be read.
    """
    root = archive.root_of(record)
    # An archive without notes is most usual: then the record need not be read for its hash.
    if not archive.has_drawer(root, archive.NOTES):
        return ()
    named = record_hash(record)
    return archive.notes_of(root, named) if named else ()


@dataclass(frozen=True, slots=True, eq=False)
class RecordNotes:
    """All that was said and found of a record afterwards.

    Parameters
    ----------
    measurement
        The record, as corrected; None of a series.
    notes
        Comments and corrections in time order.
    noted
        The corrections in words.
    verdicts
        Kept verdicts, in the order in which they were made.
    damaged
        What is wrong with gradings that cannot be read: one of them may be of this record.
    """

    measurement: Measurement | None
    notes: tuple[Note, ...]
    noted: Noted
    verdicts: tuple[archive.KeptVerdict, ...]
    damaged: tuple[ArchiveError, ...] = ()

    def outdated(self, kept: archive.KeptVerdict) -> str:
        """Return when something that verdicts depend on was first corrected after `kept` was made, or ``""``.

        ISO 8601; see `Correction.weighty`.
        """
        made = _moment(kept.made_at)
        later = (note.at for note in self.notes if isinstance(note, Correction) and note.weighty)
        return next((at for at in later if _moment(at) > made), "")


def notes_on(record: archive.Source, measurement: Measurement | None = None) -> RecordNotes:
    """Return what was said and found of a record or series afterwards.

    `measurement` is what the record holds; None for a series.

    Raises
    ------
    ArchiveError
        The record or a note cannot be read.
    """
    notes = notes_about(record)
    verdicts, damaged = _verdicts_about(record)
    if measurement is None:
        force = corrections_in_force(notes)
        words = tuple(_words_alone(note) for note in notes if isinstance(note, Correction))
        withdrawn = "" if force.withdrawn is None else withdrawn_words(force.withdrawn)
        return RecordNotes(None, notes, Noted(words, withdrawn), verdicts, damaged)
    corrected, noted = apply_corrections(measurement, notes)
    return RecordNotes(corrected, notes, noted, verdicts, damaged)


def _verdicts_about(
    record: archive.Source,
) -> tuple[tuple[archive.KeptVerdict, ...], tuple[ArchiveError, ...]]:
    """Return the kept verdicts, and what is wrong with gradings that cannot be read.

    A verdict that is missing leads nobody astray, as a correction would; so a damaged one hides no record.
    """
    root = archive.root_of(record)
    if not archive.has_drawer(root, archive.GRADINGS):
        return (), ()
    named = record_hash(record)
    damaged: list[ArchiveError] = []
    verdicts = archive.kept_verdicts(root, named, damaged=damaged) if named else ()
    return verdicts, tuple(damaged)


def _moment(at: str) -> datetime:
    moment = datetime.fromisoformat(at)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _words_alone(note: Correction) -> str:
    told = [f"{key} {shown_value(key, value)}" for key, value in note.changes.items()]
    told += {True: ["withdrawn"], False: ["used again"], None: []}[note.withdrawn]
    return f"corrected by {note.by} on {note.at[:10]} ({note.reason}): {', '.join(told)}"


def notes_document(found: RecordNotes) -> dict[str, Any]:
    """Return what ``benchsweep.record/1`` tells of notes and kept verdicts."""
    return {
        "withdrawn": found.noted.withdrawn or None,
        "comments": [
            {"at": note.at, "by": note.by, "text": note.text}
            for note in found.notes
            if isinstance(note, Comment)
        ],
        "corrections": [
            {
                "at": note.at,
                "by": note.by,
                "reason": note.reason,
                "changes": dict(note.changes),
                "withdrawn": note.withdrawn,
            }
            for note in found.notes
            if isinstance(note, Correction)
        ],
        "gradings": [
            {
                "grading": str(kept.grading),
                "made_at": kept.made_at,
                "by": kept.by,
                "requirement": kept.verdict.requirement,
                "edition": kept.edition,
                "decision_rule": kept.verdict.decision_rule,
                "length_m": kept.verdict.length_m,
                "outcome": str(kept.verdict.outcome),
                "worst_margin_db": json_number(_worst_db(kept.verdict)),
                "outdated": bool(found.outdated(kept)),
            }
            for kept in found.verdicts
        ],
        "damaged_gradings": [error.message for error in found.damaged],
    }


def _worst_db(verdict: Verdict) -> float | None:
    margins = (row.worst_margin_db for row in verdict.rows if row.parameter.unit == "dB")
    return min((margin for margin in margins if margin is not None), default=None)


def note_lines(found: RecordNotes) -> list[tuple[str, list[str]]]:
    """Return what is printed below a record: pairs of a label and its lines."""
    comments = [
        f"{note.at[:10]} {note.by}: {' '.join(note.text.split())}"
        for note in found.notes
        if isinstance(note, Comment)
    ]
    verdicts = []
    for kept in found.verdicts:
        worst = _worst_db(kept.verdict)
        margin = "" if worst is None else f", worst margin {worst:+.2f} dB"
        who = f" by {kept.by}" if kept.by else ""
        words = f"{kept.verdict.outcome}: {kept.verdict.requirement}, {kept.verdict.decision_rule}{margin}"
        since = found.outdated(kept)
        old = f", before the correction of {since[:10]}: grade it again" if since else ""
        verdicts.append(f"{words}; graded {kept.made_at[:10]}{who}{old}")
    return [
        ("withdrawn", [found.noted.withdrawn] if found.noted.withdrawn else []),
        ("corrections", list(found.noted.words)),
        ("comments", comments),
        ("gradings", verdicts),
    ]
