"""Comments and corrections: small files that point at a record by its content hash."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from benchsweep.archive.format import Block, Kind, Node, kind_in, node_of, to_bytes
from benchsweep.archive.places import NOTES, Source, add_file, below, file_stem, files_in, open_content
from benchsweep.errors import ArchiveError, RecordDamaged, RecordNewer
from benchsweep.records import Comment, Correction, Note

__all__ = ["HASH", "all_notes", "moment", "notes_of", "read_note", "surely_comment", "write_note"]

HASH = re.compile(r"[0-9a-f]{64}")
"""What a content hash looks like."""


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


def read_note(source: Source) -> Note:
    """Read a comment or a correction after checking it, as `read_record` does.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with open_content(source, "note") as content:
        kind: Kind = "comment" if kind_in(content) == "comment" else "correction"
        with node_of(content, kind) as root:
            return _read_comment(root) if kind == "comment" else _read_correction(root)


def _read_comment(root: Node) -> Comment:
    return Comment(*_read_head(root), root.text("text"))


def _read_correction(root: Node) -> Correction:
    withdrawn = root.whole("withdrawn") if root.has("withdrawn") else None
    if withdrawn not in (None, 0, 1):
        raise root.wrong("@withdrawn", f"{withdrawn} is neither 0 nor 1")
    return Correction(
        *_read_head(root),
        root.text("reason"),
        _read_changes(root),
        None if withdrawn is None else bool(withdrawn),
    )


def _read_head(root: Node) -> tuple[str, str, str]:
    at = root.text("at")
    moment(at)  # a time that is none is a damage, told as one
    return root.text("record"), root.text("by"), at


def _read_changes(root: Node) -> dict[str, str | float | None]:
    texts, numbers = root.child("texts"), root.table("numbers", "name", "value")
    changes: dict[str, str | float | None] = dict(zip(texts.texts("name"), texts.texts("value"), strict=True))
    changes.update({key: None if math.isnan(value) else value for key, value in numbers.items()})
    return changes


def surely_comment(source: Source) -> bool:
    """Tell whether a note that cannot be read is a comment: its name says so, and so does its first line.

    What is missed of a comment changes no verdict. A correction whose name is that of a comment is none.
    """
    if not str(source).endswith("-comment.h5"):
        return False
    try:
        with open_content(source, "note", whole=False) as content:
            return kind_in(content) == "comment"
    except ArchiveError:
        return False


def notes_of(
    folder: Source, content_hash: str, *, damaged: list[ArchiveError] | None = None
) -> tuple[Note, ...]:
    """Return what was said of the record of that content hash, in time order; none without a folder.

    Parameters
    ----------
    folder
        The archive, a folder or an address.
    damaged
        Gets what is wrong with comments that cannot be read, which stop nothing then.

    Raises
    ------
    RecordDamaged, RecordNewer
        A note cannot be read: what it corrects would be missed.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder cannot be read.
    """
    sources = files_in(below(folder, NOTES, content_hash[:2]), content_hash[:16])
    found: list[Note] = []
    for source in sources:
        try:
            found.append(read_note(source))
        except (RecordDamaged, RecordNewer) as error:
            if damaged is None or not surely_comment(source):
                raise
            damaged.append(error)
    return _in_time_order([note for note in found if note.record == content_hash])


def all_notes(folder: Source) -> dict[str, tuple[Note, ...]]:
    """Return content hash -> what was said of that record, in time order, for all records of an archive.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `notes_of`.
    """
    found: dict[str, list[Note]] = {}
    for source in files_in(below(folder, NOTES), deep=True):
        note = read_note(source)
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
