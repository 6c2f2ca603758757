"""Histories of lots in a check of an archive: each by itself, then the records that they name."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping
from datetime import datetime

from benchsweep.archive.check._facts import FileFacts, NamedRecord
from benchsweep.archive.check._finding import Finding
from benchsweep.archive.lots import LOTS, SeenLots, file_name, read_history
from benchsweep.archive.notes import moment
from benchsweep.archive.places import Source, below
from benchsweep.records import LotEvent, LotOpened, ReelAdded, ReelExcluded

__all__ = ["LotRecords", "check_lot"]


def check_lot(source: Source) -> FileFacts:
    """Check the history of a lot: the checksum of each line, their chain, and that each is an entry.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveUnreachable, ArchiveError
    """
    history = read_history(source, must_exist=True)
    left = ""
    if not history.events:
        left = "no lot stands in it: whoever opened it was killed before the first line was finished"
    elif history.unfinished:
        left = (
            f"its last line, {history.unfinished} bytes, is not finished and does not count: whoever added "
            "it was killed, or the end of the file was cut off"
        )
    whole = history.size - history.unfinished
    # The digest covers all whole lines, the first one too.
    first = hashlib.sha256(f"{history.digest} {whole}".encode()).hexdigest()
    return FileFacts(
        "lot",
        history.digest,
        size=history.size,
        first_block_sha256=first,
        named=_named(history.events),
        earlier=history.digests[:-1],
        opened=history.events[0] if history.events and isinstance(history.events[0], LotOpened) else None,
        unfinished=left,
    )


def _named(events: tuple[LotEvent, ...]) -> tuple[NamedRecord, ...]:
    added = [event for event in events if isinstance(event, ReelAdded)]
    last = {event.reel: event for event in added}
    excluded = {event.reel for event in events if isinstance(event, ReelExcluded)}
    return tuple(
        NamedRecord(
            event.reel,
            event.record,
            event.path,
            counts=event.reel not in excluded and last[event.reel] is event,
            reuse_reason=event.reuse_reason,
        )
        for event in added
    )


class LotRecords:
    """Compares the records that lots name with those that are there."""

    def __init__(self) -> None:
        self._named: list[tuple[str, NamedRecord]] = []
        self._names: dict[str, str] = {}
        self._sources: dict[str, str] = {}
        self._seen = SeenLots()
        self._withdrawn: dict[str, tuple[datetime, bool]] = {}

    def add(self, source: str, facts: FileFacts) -> None:
        """Add a sound file: a lot, or a correction that withdraws a record or lets it be used again."""
        self._named += [(source, each) for each in facts.named]
        if facts.opened is not None:
            lot = facts.opened.lot
            self._names[source] = lot
            self._sources.setdefault(lot, source)
            if self._sources[lot] == source:  # another one is a copy, told of elsewhere
                self._seen.add(facts.opened, (*facts.earlier, facts.content_hash))
        if facts.withdrawn is not None:
            at = moment(facts.at)
            for content in facts.about:
                if content not in self._withdrawn or at >= self._withdrawn[content][0]:
                    self._withdrawn[content] = (at, facts.withdrawn)

    def withdrawn(self) -> Iterator[Finding]:
        """Yield each result that counts although its record was withdrawn."""
        for source, each in self._named:
            at, withdrawn = self._withdrawn.get(each.content_hash, (None, False))
            if each.counts and withdrawn and at is not None:
                words = f"the result of the reel {each.reel} counts, but its record {each.path} was withdrawn"
                yield Finding("lot-record-withdrawn", source, f"{words} on {at.isoformat()}")

    def twice(self) -> Iterator[Finding]:
        """Yield each result that counts although its record counts in another lot, too."""
        counting: dict[str, list[tuple[str, NamedRecord]]] = {}
        for source, each in self._named:
            if each.counts:
                counting.setdefault(each.content_hash, []).append((source, each))
        for found in counting.values():
            (first, one), *others = sorted(found, key=lambda item: bool(item[1].reuse_reason))
            for source, each in others:
                if source == first:  # within one lot its own rules hold
                    continue
                lot = self._names.get(first, first)
                words = f"the record {each.path} counts as {each.reel}, and in the lot {lot} as {one.reel}"
                why = f"; the reason given: {each.reuse_reason}" if each.reuse_reason else ""
                yield Finding("lot-record-twice", source, words + why)

    def lost(self, unread: Collection[str]) -> Iterator[Finding]:
        """Yield each lot that is not what a later one saw, or is gone.

        Parameters
        ----------
        unread
            Names of the files of lots that are there but cannot be read.
        """
        unknown = [lot for lot in self._seen.names() if file_name(lot) in unread]
        for by, seen, words in self._seen.wrong(unknown):
            source = self._sources.get(seen.lot)
            if source is None:
                yield Finding("lot-missing", self._sources[by], words)
            else:
                yield Finding("lot-cut", source, words)

    def missing(self, contents: Mapping[bytes, str]) -> Iterator[Finding]:
        """Yield each record that is not there, or not as the lot names it.

        Parameters
        ----------
        contents
            Content hash of each file that is there -> its source.
        """
        absent = [named for named in self._named if bytes.fromhex(named[1].content_hash) not in contents]
        there: Collection[str] = set(contents.values()) if absent else ()
        for source, each in absent:
            words = f"names the record {each.path} of the reel {each.reel}, which"
            if str(below(_archive_of(source), *each.path.split("/"))) in there:
                yield Finding("lot-record-differs", source, f"{words} has other content than it had then")
            else:
                yield Finding("lot-record-missing", source, f"{words} is not in the archive")


def _archive_of(source: str) -> str:
    """Return the archive in whose folder of lots a file is."""
    place = source.replace("\\", "/").rfind(f"/{LOTS}/")
    return source[:place] if place > 0 else "."
