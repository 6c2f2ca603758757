"""Say something of a record afterwards: comments, corrections, and what is shown of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from benchsweep import archive, limits
from benchsweep.errors import UsageError
from benchsweep.qualification._corrections import (
    Noted,
    apply_corrections,
    shown_value,
    withdrawn_words,
)
from benchsweep.qualification._documents import json_number
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_specimen, check_text
from benchsweep.records import (
    AMBIENT,
    Comment,
    Correction,
    Measurement,
    Note,
    Verdict,
    corrections_in_force,
)

__all__ = [
    "RecordNotes",
    "comment_on",
    "correct",
    "note_document",
    "note_lines",
    "notes_about",
    "notes_document",
    "notes_on",
    "record_hash",
    "writable_root",
]

_LINES = "\n\t"


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


def comment_on(record: archive.Source, text: str, *, by: str) -> tuple[Path, Comment]:
    """Store a comment on a record or a finished series; return where, and the comment.

    Raises
    ------
    UsageError
        Nothing is said, nobody says it, or it holds control characters.
    ArchiveError
        The record cannot be read, or the comment not be written.
    """
    said = check_text(text, "the comment", hint="Say something.", also=_LINES)
    who = _check_by(by)
    note = Comment(_hash_of(record), who, utc_now("microseconds"), said)
    return archive.write_note(note, writable_root(record)), note


def correct(
    record: archive.Source,
    changes: Mapping[str, str | float | None],
    *,
    by: str,
    reason: str,
    withdrawn: bool | None = None,
) -> tuple[Path, Correction]:
    """Store a correction of a record or a finished series; return where, and the correction.

    Parameters
    ----------
    changes
        See `Correction.changes`. They are checked as `qualify` checks what it is told.
    withdrawn
        True withdraws the record, False takes that back, None says nothing of it.

    Raises
    ------
    UsageError
        Nothing is changed, a value makes no sense, nobody corrects it or for no reason.
    ArchiveError
        The record cannot be read, or the correction not be written.
    """
    if not changes and withdrawn is None:
        raise UsageError(
            "nothing is corrected", hint="Give what is to change, for example --lot, or --withdraw."
        )
    who, why = _check_by(by), check_text(reason, "the reason", hint="Give --reason.", also=_LINES)
    checked = {key: _checked(key, value) for key, value in changes.items()}
    named, at = _hash_of(record), utc_now("microseconds")
    _refuse_late_clock(record, named, at)
    note = Correction(named, who, at, why, checked, withdrawn)
    return archive.write_note(note, writable_root(record)), note


def writable_root(record: archive.Source) -> Path:
    """Return the folder of the archive that a record is in.

    Raises
    ------
    UsageError
        It is at an address: nothing is written there.
    """
    folder = archive.local_path(archive.root_of(record))
    if folder is None:
        raise UsageError(
            f"{record}: nothing is written to an address",
            hint="Do it in the folder that the store is copied from.",
        )
    return folder


def _check_by(by: str) -> str:
    return check_text(by, "--by", hint="Give --by your name.")


def _hash_of(record: archive.Source) -> str:
    found = record_hash(record)
    if not found:
        raise UsageError(
            f"{record}: this series is not finished, so that nothing can point at it",
            hint="Finish it with `benchsweep record --finish`.",
        )
    return found


def _refuse_late_clock(record: archive.Source, named: str, at: str) -> None:
    """Refuse a correction that would not win because an earlier one bears a later time."""
    last = max(
        (
            note.at
            for note in archive.notes_of(archive.root_of(record), named)
            if isinstance(note, Correction)
        ),
        key=datetime.fromisoformat,
        default=at,
    )
    if datetime.fromisoformat(last) > datetime.fromisoformat(at):
        raise UsageError(
            f"{record}: corrected at {last}, which by this computer's clock is yet to come: a correction "
            "made now would not win",
            hint="Set the clock of this computer, or that of the other one.",
        )


def _checked(key: str, value: str | float | None) -> str | float | None:
    if key.startswith(AMBIENT):
        if key == f"{AMBIENT}temperature_degc" and value is not None:
            limits.Conditions(float(value))  # refuses what makes no sense
        return None if value is None else float(value)
    if key == "length_m":
        return None if value is None else check_specimen("of any name", float(value)).length_m
    text = str(value)
    if key == "identifier":
        return check_specimen(text, None).identifier
    if key == "lot":
        return check_specimen("of any name", None, lot=text).lot
    option = "--description" if key == "description" else "--operator"
    return check_text(text, option, may_be_empty=True)


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
    """

    measurement: Measurement | None
    notes: tuple[Note, ...]
    noted: Noted
    verdicts: tuple[archive.KeptVerdict, ...]


def notes_on(record: archive.Source, measurement: Measurement | None = None) -> RecordNotes:
    """Return what was said and found of a record or series afterwards.

    `measurement` is what the record holds; None for a series.

    Raises
    ------
    ArchiveError
        The record, a note or a grading cannot be read.
    """
    notes, verdicts = notes_about(record), _verdicts_about(record)
    if measurement is None:
        force = corrections_in_force(notes)
        words = tuple(_words_alone(note) for note in notes if isinstance(note, Correction))
        withdrawn = "" if force.withdrawn is None else withdrawn_words(force.withdrawn)
        return RecordNotes(None, notes, Noted(words, withdrawn), verdicts)
    corrected, noted = apply_corrections(measurement, notes)
    return RecordNotes(corrected, notes, noted, verdicts)


def _verdicts_about(record: archive.Source) -> tuple[archive.KeptVerdict, ...]:
    root = archive.root_of(record)
    if not archive.has_drawer(root, archive.GRADINGS):
        return ()
    named = record_hash(record)
    return archive.kept_verdicts(root, named) if named else ()


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
            }
            for kept in found.verdicts
        ],
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
        verdicts.append(f"{words}; graded {kept.made_at[:10]}{who}")
    return [
        ("withdrawn", [found.noted.withdrawn] if found.noted.withdrawn else []),
        ("corrections", list(found.noted.words)),
        ("comments", comments),
        ("gradings", verdicts),
    ]


def note_document(path: Path, note: Note, *, record: archive.Source) -> dict[str, Any]:
    """Return ``benchsweep.note/1``."""
    common = {
        "schema": "benchsweep.note/1",
        "note": str(path),
        "record": str(record),
        "content_hash": note.record,
        "by": note.by,
        "at": note.at,
    }
    if isinstance(note, Comment):
        return {**common, "text": note.text}
    return {**common, "reason": note.reason, "changes": dict(note.changes), "withdrawn": note.withdrawn}
