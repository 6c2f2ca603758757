"""Which records a bulk run is about."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from benchsweep import archive
from benchsweep.qualification._again import reduced_again, superseded_words
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification.bulk._plain import corrections_text
from benchsweep.qualification.bulk._work import Item

__all__ = ["chosen_items"]


def chosen_items(
    root: str,
    selection: archive.Selection,
    *,
    against: Collection[str] = (),
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[tuple[Item, ...], tuple[tuple[str, str], ...]]:
    """Return the records of an archive that fit, oldest first, and the files that cannot be read.

    Parameters
    ----------
    against
        Requirements of which the newest kept outcomes are told.

    Returns
    -------
    items
        Records only: of a series `grade` grades one sweep at a time. Each with its corrections and with the
        outcome of the newest grading that is kept, by requirement.
    damaged
        Source and reason, whatever the file holds.

    Raises
    ------
    ArchiveError
        There is no such archive, or a note cannot be read: what it corrects would be missed.
    """
    found = archive.find(root, replace(selection, kinds=("record",)), progress=progress)
    items = tuple(
        Item(
            one.source,
            one.content_hash,
            corrections_text(notes_about(one.source)) if one.corrections else "",
            {
                judged.requirement: str(judged.outcome)
                for judged in one.judged
                if judged.requirement in against
            },
            _superseded(one),
        )
        for one in found
    )
    return items, tuple((one.source, one.reason) for one in found.damaged)


def _superseded(one: archive.Found) -> str:
    into = reduced_again(one.source).into if one.superseded_by else None
    return "" if into is None else superseded_words(into)
