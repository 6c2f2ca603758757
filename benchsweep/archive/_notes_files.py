"""Comments and corrections: small files that point at a record by its content hash."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from benchsweep.archive._files import add_file, file_stem, storage_errors
from benchsweep.archive._seal import Kind, kind_of
from benchsweep.archive._tree import Block, Node, opened, to_bytes
from benchsweep.errors import ArchiveError
from benchsweep.records import Comment, Correction, Note

__all__ = ["HASH", "NOTES", "all_notes", "moment", "notes_of", "read_note", "root_of", "write_note"]

NOTES = "notes"
"""Folder of the notes within an archive."""
HASH = re.compile(r"[0-9a-f]{64}")
"""What a content hash looks like."""
_UP = 3


def write_note(note: Note, folder: Path) -> Path:
    """Store a comment or a correction as one new file and return its path.

    Parameters
    ----------
    note
        What to store.
    folder
        The archive. The file becomes
        ``notes/<2 digits of the hash>/<16 digits>-<UTC time>-comment.h5`` (or ``-correction``) in it.

    Raises
    ------
    ArchiveLocked, ArchiveError
        As `write_record`; also a `record` that is no content hash.
    """
    if not HASH.fullmatch(note.record):
        raise ArchiveError(
            f"{note.record[:80]!r} is no content hash of a record", hint="Give 64 hexadecimal digits."
        )
    kind: Kind = "comment" if isinstance(note, Comment) else "correction"
    stem = f"{note.record[:16]}-{file_stem(note.at, kind)}"
    tree = {"/": _root(note)}
    if isinstance(note, Correction):
        numbers = {key: value for key, value in note.changes.items() if not isinstance(value, str)}
        texts = {key: value for key, value in note.changes.items() if isinstance(value, str)}
        tree["/texts"] = Block(data={"name": tuple(texts), "value": tuple(texts.values())})
        values = [math.nan if value is None else value for value in numbers.values()]
        tree["/numbers"] = Block(data={"name": tuple(numbers), "value": np.array(values, dtype=np.float64)})
    return add_file(Path(folder) / NOTES / note.record[:2], stem, *to_bytes(kind, tree))


def _root(note: Note) -> Block:
    block = Block({"record": note.record, "by": note.by, "at": note.at})
    if isinstance(note, Comment):
        block.attributes["text"] = note.text
    else:
        block.attributes["reason"] = note.reason
        if note.withdrawn is not None:
            block.attributes["withdrawn"] = int(note.withdrawn)
    return block


def read_note(source: Path) -> Note:
    """Read a comment or a correction after checking it, as `read_record` does.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    kind: Kind = "comment" if kind_of(Path(source)) == "comment" else "correction"
    with opened(Path(source), kind) as root:
        record, by, at = root.text("record"), root.text("by"), root.text("at")
        moment(at)  # a time that is none is a damage, told as one
        if kind == "comment":
            return Comment(record, by, at, root.text("text"))
        withdrawn = root.whole("withdrawn") if root.has("withdrawn") else None
        if withdrawn not in (None, 0, 1):
            raise root.wrong("@withdrawn", f"{withdrawn} is neither 0 nor 1")
        return Correction(
            record,
            by,
            at,
            root.text("reason"),
            _read_changes(root),
            None if withdrawn is None else bool(withdrawn),
        )


def _read_changes(root: Node) -> dict[str, str | float | None]:
    texts, numbers = root.child("texts"), root.table("numbers", "name", "value")
    changes: dict[str, str | float | None] = dict(zip(texts.texts("name"), texts.texts("value"), strict=True))
    changes.update({key: None if math.isnan(value) else value for key, value in numbers.items()})
    return changes


def notes_of(folder: Path, content_hash: str) -> tuple[Note, ...]:
    """Return what was said of the record of that content hash, in time order; none without a folder.

    Raises
    ------
    RecordDamaged, RecordNewer
        A note cannot be read: what it corrects would be missed.
    ArchiveLocked, ArchiveError
        The folder cannot be read.
    """
    place = Path(folder) / NOTES / content_hash[:2]
    with storage_errors(place, "listing"):
        names = sorted(place.glob(f"{content_hash[:16]}-*.h5")) if place.is_dir() else []
    return _in_time_order([note for path in names if (note := read_note(path)).record == content_hash])


def all_notes(folder: Path) -> dict[str, tuple[Note, ...]]:
    """Return content hash -> what was said of that record, in time order, for all records of an archive.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveError
        As `notes_of`.
    """
    place = Path(folder) / NOTES
    with storage_errors(place, "listing"):
        names = sorted(place.glob("[0-9a-f][0-9a-f]/*.h5")) if place.is_dir() else []
    found: dict[str, list[Note]] = {}
    for path in names:
        note = read_note(path)
        found.setdefault(note.record, []).append(note)
    return {record: _in_time_order(notes) for record, notes in found.items()}


def _in_time_order(notes: list[Note]) -> tuple[Note, ...]:
    # Those of one time stay in the order of their names, so that everybody sees the same one last.
    return tuple(sorted(notes, key=lambda note: moment(note.at)))


def moment(at: str) -> datetime:
    """Return an ISO 8601 time; one without its offset from UTC is in UTC.

    Raises
    ------
    ValueError
    """
    moment = datetime.fromisoformat(at)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def root_of(record: Path) -> Path:
    """Return the archive that a record is in.

    The nearest folder above it, at most three up from its own, that has notes; its own where none has.
    """
    own = Path(record).absolute().parent
    return next((place for place in (own, *list(own.parents)[:_UP]) if (place / NOTES).is_dir()), own)
