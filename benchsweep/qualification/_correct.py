"""Say something of a record afterwards: comments and corrections."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from benchsweep import archive, limits
from benchsweep.errors import UsageError
from benchsweep.qualification._again import reduced_again, superseded_words
from benchsweep.qualification._corrections import recorded_value, shown_value, value_name
from benchsweep.qualification._notes import record_hash
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_specimen, check_text
from benchsweep.records import AMBIENT, Comment, Correction, Note, corrections_in_force

__all__ = ["comment_on", "correct", "note_document", "writable_root"]

_LINES = "\n\t"
_LONGEST_COMMENT = 20_000
_OF_SPECIMEN = ("identifier", "lot", "product", "description", "length_m")
# What no value equals.
_UNKNOWN = "\0"


def comment_on(record: archive.Source, text: str, *, by: str) -> tuple[Path, Comment]:
    """Store a comment on a record or a finished series; return where, and the comment.

    Raises
    ------
    UsageError
        Nothing is said, nobody says it, or it holds control characters.
    ArchiveError
        The record cannot be read, or the comment not be written.
    """
    said = check_text(text, "the comment", hint="Say something.", also=_LINES, longest=_LONGEST_COMMENT)
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
        Nothing is changed, a value makes no sense, nobody corrects it or for no reason; the sweeps were
        reduced again, so that another record is the one to correct.
    ArchiveError
        The record cannot be read, or the correction not be written.
    """
    if not changes and withdrawn is None:
        raise UsageError(
            "nothing is corrected", hint="Give what is to change, for example --lot, or --withdraw."
        )
    who, why = _check_by(by), check_text(reason, "the reason", hint="Give --reason.")
    checked = {key: _checked(key, value) for key, value in changes.items()}
    named, at = _hash_of(record), utc_now("microseconds")
    _refuse_superseded(record)
    notes = archive.notes_of(archive.root_of(record), named)
    _refuse_late_clock(record, notes, at)
    _refuse_no_change(record, notes, checked, withdrawn)
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


def _refuse_late_clock(record: archive.Source, notes: Sequence[Note], at: str) -> None:
    """Refuse a correction that would not win because an earlier one bears a later time."""
    last = max(
        (note.at for note in notes if isinstance(note, Correction)), key=datetime.fromisoformat, default=at
    )
    if datetime.fromisoformat(last) > datetime.fromisoformat(at):
        raise UsageError(
            f"{record}: corrected at {last}, which by this computer's clock is yet to come: a correction "
            "made now would not win",
            hint="Set the clock of this computer, or that of the other one.",
        )


def _refuse_superseded(record: archive.Source) -> None:
    """Refuse to correct what selections leave out: nobody would see it."""
    into = reduced_again(record).into
    if into is not None:
        raise UsageError(
            f"{record}: {superseded_words(into)}",
            hint=f"Correct {into.record}, or comment on this one.",
        )


def _refuse_no_change(
    record: archive.Source,
    notes: Sequence[Note],
    changes: Mapping[str, str | float | None],
    withdrawn: bool | None,
) -> None:
    """Refuse a correction that says what holds already."""
    force = corrections_in_force(notes)
    if withdrawn is not None and withdrawn != (force.withdrawn is not None):
        return
    recorded = _recorded(record, changes)
    if any(force.value(key, recorded.get(key, _UNKNOWN)) != value for key, value in changes.items()):
        return
    told = [f"{value_name(key)} is {shown_value(key, value)} already" for key, value in changes.items()]
    told += {True: ["it is withdrawn already"], False: ["it is not withdrawn"], None: []}[withdrawn]
    raise UsageError(
        f"{record}: nothing would change: {', '.join(told)}",
        hint="Say something of it with `benchsweep archive comment`.",
    )


def _recorded(record: archive.Source, keys: Iterable[str]) -> dict[str, str | float | None]:
    """Return what a record itself says of these; of a series nothing but of its specimen and operator."""
    if not archive.is_series(record):
        measurement = archive.read_reduced(record)
        return {key: recorded_value(measurement, key) for key in keys}
    head = archive.read_head(record)
    own: dict[str, str | float | None] = {"operator": head.operator}
    if head.specimen is not None:
        specimen = head.specimen
        own |= {name: getattr(specimen, name) for name in _OF_SPECIMEN}
    return own


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
    if key == "product":
        return check_specimen("of any name", None, product=text).product
    option = "--description" if key == "description" else "--operator"
    return check_text(text, option, may_be_empty=True)


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
