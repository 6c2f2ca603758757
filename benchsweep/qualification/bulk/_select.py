"""Which records a bulk run is about."""

from __future__ import annotations

from benchsweep import archive
from benchsweep.qualification.bulk._work import Item

__all__ = ["chosen_items"]


def chosen_items(
    root: str, selection: archive.Selection
) -> tuple[tuple[Item, ...], tuple[tuple[str, str], ...]]:
    """Return the records of an archive that fit, oldest first, and the files that cannot be read.

    Returns
    -------
    items
        Records only: of a series `grade` grades one sweep at a time.
    damaged
        Source and reason, whatever the file holds.

    Raises
    ------
    ArchiveError
        There is no such archive.
    """
    found = archive.find(root, selection)
    items = tuple(Item(one.source, one.content_hash) for one in found if one.kind == "record")
    return items, tuple((one.source, one.reason) for one in found.damaged)
