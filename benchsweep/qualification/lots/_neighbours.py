"""What other lots of the archive say of a lot: that they saw it, that they count one of its records."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from benchsweep.archive.lots import (
    SeenLots,
    file_name,
    lot_sources,
    read_history,
    read_outline,
    records_named,
)
from benchsweep.errors import LotRefused, RecordDamaged
from benchsweep.lots import state_of
from benchsweep.qualification.lots._histories import Root, Unread, telling
from benchsweep.records import LotState, SeenLot

__all__ = ["Use", "lots_that_use", "reuse_doubts", "seen_lots", "seen_wrong", "unread_words"]


@dataclass(frozen=True, slots=True)
class Use:
    """A record that counts in a lot: its content hash, the lot, the reel there, why it counts there, too."""

    record: str
    lot: str
    reel: str
    reason: str


def lots_that_use(folder: Root, records: Collection[str], *, besides: str, unread: Unread) -> list[Use]:
    """Return where records count in other lots of an archive, by name of the file.

    Every file is looked through for their content hashes, and only those are read in which one stands.

    Parameters
    ----------
    records
        Content hashes.
    besides
        The lot that is not looked at.
    unread
        Gets the files that cannot be read.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
        The folder of lots cannot be listed, or does not answer.
    """
    wanted, found = frozenset(records), list[Use]()
    for source in lot_sources(folder) if wanted else ():
        if str(source).replace("\\", "/").endswith(f"/{file_name(besides)}"):
            continue
        with telling(source, unread):
            if not wanted.isdisjoint(records_named(source)):
                found += _uses(source, wanted)
    return found


def _uses(source: Root, wanted: Collection[str]) -> Iterator[Use]:
    events = read_history(source).events
    if not events:
        return
    try:
        state = state_of(events)
    except LotRefused as error:
        raise RecordDamaged(f"{source}: {error.message}", hint=error.hint) from error
    for reel, entry in state.counting.items():
        if entry.record in wanted:
            yield Use(entry.record, state.opened.lot, reel, entry.reuse_reason)


def reuse_doubts(folder: Root, state: LotState) -> tuple[str, ...]:
    """Return which records of a lot count in other lots, too, in words, with the reasons that were given.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
        The folder of lots cannot be listed, or does not answer. What a lot says that cannot be
        read is not known.
    """
    records = {entry.record for entry in state.counting.values()}
    uses = lots_that_use(folder, records, besides=state.opened.lot, unread=[])
    told: list[str] = []
    for reel, entry in state.counting.items():
        elsewhere = [use for use in uses if use.record == entry.record]
        lots = dict.fromkeys((*entry.also_in, *(use.lot for use in elsewhere)))
        if lots:
            why = "; ".join(
                dict.fromkeys(filter(None, (entry.reuse_reason, *(use.reason for use in elsewhere))))
            )
            told.append(
                f"{reel}: its record counts in the lot{'s' if len(lots) > 1 else ''} {', '.join(lots)}, too: "
                f"{why or 'no reason was given'}"
            )
    return tuple(told)


def seen_lots(folder: Root, unread: Unread) -> SeenLots:
    """Return the lots of an archive with what they saw of each other, every checksum of them compared.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
        The folder of lots cannot be listed, or does not answer.
    """
    found = SeenLots()
    for source in lot_sources(folder):
        with telling(source, unread):
            outline = read_outline(source)
            if outline is not None:
                found.add(outline.opened, outline.digests)
    return found


def seen_wrong(seen: SeenLots, unread: Unread) -> Iterator[tuple[str, SeenLot, str]]:
    """Yield each lot that is not what a later one saw, see `SeenLots.wrong`; a damaged one is not missing."""
    names = {str(source).replace("\\", "/").rpartition("/")[2] for source, _ in unread}
    yield from seen.wrong([lot for lot in seen.names() if file_name(lot) in names])


def unread_words(unread: Unread) -> tuple[str, ...]:
    """Return that lots could not be looked at, in words."""
    return tuple(f"another lot cannot be read and was not looked at: {error.message}" for _, error in unread)
