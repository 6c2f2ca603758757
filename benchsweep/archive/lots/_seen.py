from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchsweep.records import LotOpened, SeenLot

__all__ = ["SeenLots", "seen_words"]


class SeenLots:
    """What lots kept of the lots before them, held against what is there.

    A chain of checksums cannot see that its end was cut off, nor that all of it is gone. So every lot that is
    opened keeps of the others how many entries they have and the digest of these, as far as no lot before it
    kept that already: a lot is kept once for each time that another was opened while it grew, however many
    lots there are.
    """

    def __init__(self) -> None:
        self._digests: dict[str, tuple[str, ...]] = {}
        self._seen: list[tuple[str, SeenLot]] = []

    def add(self, opened: LotOpened, digests: Sequence[str]) -> None:
        """Add a lot: how it was opened, and the digest after each of its entries."""
        self._digests[opened.lot] = tuple(digests)
        self._seen += [(opened.lot, seen) for seen in opened.earlier]

    @property
    def lots(self) -> frozenset[str]:
        """All lots that there are, or were when another one was opened."""
        return frozenset(self._digests) | {seen.lot for _, seen in self._seen}

    def news(self) -> tuple[SeenLot, ...]:
        """Return what a lot that is opened now has to keep: by name, the lots that nobody saw as they are."""
        seen = {(each.lot, each.entries, each.digest) for _, each in self._seen}
        now = (
            SeenLot(lot, len(digests), digests[-1])
            for lot, digests in sorted(self._digests.items())
            if digests
        )
        return tuple(each for each in now if (each.lot, each.entries, each.digest) not in seen)

    def names(self) -> Mapping[str, str]:
        """Return lot -> a lot that saw it, for every lot that was ever seen."""
        return {seen.lot: by for by, seen in reversed(self._seen)}

    def wrong(self, unread: Sequence[str] = ()) -> Iterator[tuple[str, SeenLot, str]]:
        """Yield each lot that is not what another saw, once: by whom, what was seen, what is wrong in words.

        Parameters
        ----------
        unread
            Names of lots that are there but cannot be read: they are not missing.
        """
        told = set(unread)
        for by, seen in sorted(self._seen, key=lambda each: (each[1].lot, -each[1].entries)):
            words = "" if seen.lot in told else seen_words(seen, self._digests.get(seen.lot), by)
            if words:
                told.add(seen.lot)
                yield by, seen, words


def seen_words(seen: SeenLot, digests: Sequence[str] | None, by: str) -> str:
    """Return what is wrong with a lot that another one saw; empty when it is what it was, or has grown.

    Parameters
    ----------
    digests
        After each of the entries that it has now; None: it is not there.
    by
        The lot that saw it.
    """
    then = f"{seen.entries} {'entry' if seen.entries == 1 else 'entries'} when the lot {by} was opened"
    if digests is None:
        return f"the lot {seen.lot} is not there any more: it had {then}"
    if len(digests) < seen.entries:
        return f"the lot {seen.lot} was cut off: it has {len(digests)} of the entries that it had, {then}"
    if digests[seen.entries - 1] != seen.digest:
        return f"the history of the lot {seen.lot} is another one: it had other entries, {then}"
    return ""
