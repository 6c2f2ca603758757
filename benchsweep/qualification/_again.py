"""Records whose sweeps were reduced again: which one holds, and which one it came from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from benchsweep import archive
from benchsweep.qualification._graded import Qualified
from benchsweep.records import corrections_in_force

__all__ = [
    "Again",
    "again_document",
    "again_lines",
    "reduced_again",
    "superseded_words",
    "tell_superseded",
]


@dataclass(frozen=True, slots=True)
class OtherRecord:
    """Another record of the same sweeps.

    Parameters
    ----------
    record
        Where it is; None when it is not found, though it is named.
    content_hash
        64 hexadecimal digits.
    at, reason
        When and why one was made of the other.
    """

    record: archive.Source | None
    content_hash: str
    at: str
    reason: str

    @property
    def name(self) -> str:
        """Its file name, or the beginning of its hash."""
        if self.record is None:
            return self.content_hash[:12]
        path = archive.local_path(self.record)
        return str(self.record).rpartition("/")[2] if path is None else path.name


@dataclass(frozen=True, slots=True)
class Again:
    """What became of the sweeps of a record, and where it has them from; None where nothing did."""

    into: OtherRecord | None = None
    out_of: OtherRecord | None = None


def reduced_again(record: archive.Source) -> Again:
    """Return the record that the sweeps of `record` were reduced into, and the one it was reduced from.

    Of several the one that was made last, as `archive find` has it; one that was withdrawn takes the place of
    nothing. They are found by their names: see `archive.of_the_same_sweeps`.

    Raises
    ------
    ArchiveError
        The record, or a note on a later one, cannot be read.
    """
    if archive.is_series(record):
        return Again()
    head, others = archive.of_the_same_sweeps(record)
    out_of = None
    if head.reduced_from:
        source = next((place for place, other in others if other.content_hash == head.reduced_from), None)
        out_of = OtherRecord(source, head.reduced_from, head.reduced_at or head.created_at, head.reason)
    later = [
        OtherRecord(place, other.content_hash, other.reduced_at or other.created_at, other.reason)
        for place, other in others
        if other.reduced_from == head.content_hash and not _withdrawn(place, other.content_hash)
    ]
    return Again(max(later, key=lambda one: (_moment(one.at), str(one.record)), default=None), out_of)


def _withdrawn(record: archive.Source, content_hash: str) -> bool:
    root = archive.root_of(record)
    if not archive.has_drawer(root, archive.NOTES):
        return False
    return corrections_in_force(archive.notes_of(root, content_hash)).withdrawn is not None


def _moment(at: str) -> datetime:
    moment = datetime.fromisoformat(at)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def superseded_words(into: OtherRecord) -> str:
    """Return in words that another record takes the place of this one."""
    return (
        f"the sweeps were reduced again on {into.at[:10]} ({into.reason}): {into.name} takes the place of "
        "this record"
    )


def tell_superseded(result: Qualified) -> Qualified:
    """Return a graded record whose verdicts say so where another record has taken its place.

    Raises
    ------
    ArchiveError
    """
    into = reduced_again(result.record).into
    if into is None:
        return result
    words = superseded_words(into)
    graded = (
        replace(item, verdict=replace(item.verdict, notes=(words, *item.verdict.notes)))
        for item in result.graded
    )
    return replace(result, graded=tuple(graded))


def again_lines(again: Again) -> list[tuple[str, list[str]]]:
    """Return what is printed of it below a record: pairs of a label and its lines."""
    into, out_of = again.into, again.out_of
    return [
        ("reduced", [f"from {out_of.name} on {out_of.at[:10]}: {out_of.reason}"] if out_of else []),
        ("superseded", [f"reduced again: {into.name} on {into.at[:10]}: {into.reason}"] if into else []),
    ]


def again_document(again: Again) -> dict[str, Any]:
    """Return what ``benchsweep.record/1`` tells of it: `reduced` and `superseded`, or null."""
    return {"reduced": _document(again.out_of), "superseded": _document(again.into)}


def _document(one: OtherRecord | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        "record": None if one.record is None else str(one.record),
        "content_hash": one.content_hash,
        "at": one.at,
        "reason": one.reason,
    }
