"""What entries of histories kept of the other histories, held against what is there."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from benchsweep.archive.references._codec import ReferenceKind
from benchsweep.archive.references._reading import ReferenceHistory
from benchsweep.records import SeenReference

__all__ = ["SeenReferences", "seen_in"]

Named = tuple[ReferenceKind, str]


def seen_in(history: ReferenceHistory) -> tuple[SeenReference, ...]:
    """Return what the entries of a history kept of the others, oldest first."""
    return tuple(each for event in history.events for each in getattr(event, "seen", ()))


class SeenReferences:
    """What histories of an archive kept of each other.

    A chain of checksums cannot see that its end was cut off, nor that all of it is gone. So every comparison
    and every bench record that is added keeps of the other histories how many entries they have and the
    digest of these, as far as none kept that already.
    """

    def __init__(self) -> None:
        self._digests: dict[Named, tuple[str, ...]] = {}
        self._seen: list[tuple[Named, SeenReference]] = []

    def add(
        self, kind: ReferenceKind, name: str, digests: Sequence[str], seen: Sequence[SeenReference]
    ) -> None:
        """Add a history: the digest after each of its entries, and what these kept of others."""
        self._digests[kind, name] = tuple(digests)
        self._seen += [((kind, name), each) for each in seen]

    def news(self, kind: ReferenceKind, name: str) -> tuple[SeenReference, ...]:
        """Return what an entry that is added now has to keep: the others that nobody saw as they are."""
        known = {(each.kind, each.name, each.entries, each.digest) for _, each in self._seen}
        now = (
            SeenReference(*named, len(digests), digests[-1])
            for named, digests in sorted(self._digests.items())
            if digests and named != (kind, name)
        )
        return tuple(each for each in now if (each.kind, each.name, each.entries, each.digest) not in known)

    def wrong(self, unread: Collection[Named] = ()) -> Iterator[tuple[Named, SeenReference, str]]:
        """Yield each history that is not what another saw, once: by whom, what was seen, what is wrong.

        Parameters
        ----------
        unread
            Those that are there but cannot be read: they are not missing.
        """
        told = set(unread)
        for by, seen in sorted(self._seen, key=lambda each: (each[1].kind, each[1].name, -each[1].entries)):
            named: Named = (seen.kind, seen.name)
            words = "" if named in told else _words(seen, self._digests.get(named), by)
            if words:
                told.add(named)
                yield by, seen, words

    def gone(self) -> frozenset[Named]:
        """Return those that were seen and are not there."""
        return self.names() - self._digests.keys()

    def names(self) -> frozenset[Named]:
        """Return all that were ever seen."""
        return frozenset((each.kind, each.name) for _, each in self._seen)


def _words(seen: SeenReference, digests: Sequence[str] | None, by: Named) -> str:
    """Return what is wrong with a history that another saw; empty when it is what it was, or has grown."""
    then = f"{_entries(seen.entries)} when something was added to the {' '.join(by)}"
    what = f"{seen.kind} {seen.name}"
    if digests is None:
        return f"the history of the {what} is not there any more: it had {then}"
    if len(digests) < seen.entries:
        return f"the history of the {what} was cut off: it has {_entries(len(digests))}, and had {then}"
    if digests[seen.entries - 1] != seen.digest:
        return f"the history of the {what} is another one: it had other entries, {then}"
    return ""


def _entries(count: int) -> str:
    return f"{count} {'entry' if count == 1 else 'entries'}"
