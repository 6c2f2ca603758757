"""What the histories of an archive saw of each other: nothing of one goes unnoticed."""

from __future__ import annotations

from collections.abc import Iterator

from benchsweep.archive.references import (
    ReferenceKind,
    SeenReferences,
    file_name,
    read_history,
    reference_sources,
    seen_in,
)
from benchsweep.qualification.comparisons._histories import Root, Unread, telling
from benchsweep.records import SeenReference

__all__ = ["lost_words", "news_for", "seen_references", "wrong_histories"]


def news_for(folder: Root, kind: ReferenceKind, name: str) -> tuple[SeenReference, ...]:
    """Return what an entry of a history keeps of the others; those that cannot be read are left out.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
        The folder of histories cannot be listed, or does not answer.
    """
    return seen_references(folder, []).news(kind, name)


def seen_references(folder: Root, unread: Unread) -> SeenReferences:
    """Return all histories of an archive with what they saw of each other; raises as `news_for`."""
    found = SeenReferences()
    for source in reference_sources(folder):
        with telling(source, unread):
            history = read_history(source)
            if history.kind is not None:
                found.add(history.kind, history.name, history.digests, seen_in(history))
    return found


def wrong_histories(folder: Root) -> Iterator[tuple[SeenReference, str]]:
    """Yield each history that is not what another saw, and what is wrong in words; raises as `news_for`."""
    unread: Unread = []
    found = seen_references(folder, unread)
    there = {str(source).replace("\\", "/").rpartition("/")[2] for source, _ in unread}
    unknown = [named for named in found.names() if file_name(*named) in there]
    for _, seen, words in found.wrong(unknown):
        yield seen, words


def lost_words(folder: Root, kind: ReferenceKind, name: str) -> tuple[str, ...]:
    """Return what of one history is not as another saw it, in words; raises as `news_for`."""
    return tuple(words for seen, words in wrong_histories(folder) if (seen.kind, seen.name) == (kind, name))
