"""Find records: a selection from words, and what was found as a document."""

from __future__ import annotations

from typing import Any

from benchsweep import archive

__all__ = ["find_document", "find_records", "select_records"]


def select_records(**wishes: Any) -> archive.Selection:
    """Return the `archive.Selection` with these fields.

    Raises
    ------
    UsageError
    """
    return archive.Selection(**wishes)


def find_records(root: str, selection: archive.Selection) -> archive.FoundRecords:
    """Return what fits in the archive `root`, see `archive.find`.

    Raises
    ------
    ArchiveError
    """
    return archive.find(root, selection)


def find_document(root: str, found: archive.FoundRecords) -> dict[str, Any]:
    """Return ``benchsweep.find/1``."""
    return {
        "schema": "benchsweep.find/1",
        "archive": root,
        "found": [
            {"record": one.source, "created_at": one.created_at, "specimen": one.specimen.identifier}
            for one in found
        ],
        "damaged": [{"record": one.source, "reason": one.reason} for one in found.damaged],
    }
