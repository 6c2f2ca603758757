from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from benchsweep.archive._history_lines import HISTORY_SUFFIX, History, HistoryFormat, history_name
from benchsweep.archive.lots._codec import VERSION, decode_event
from benchsweep.archive.places import Source, below, files_in, open_content
from benchsweep.errors import RecordDamaged, RecordMissing
from benchsweep.records import LotEvent, LotOpened

__all__ = [
    "FORMAT",
    "LOTS",
    "LotHistory",
    "LotOutline",
    "events_in",
    "file_name",
    "lot_sources",
    "read_history",
    "read_opening",
    "read_outline",
    "records_named",
    "skim_history",
]

LOTS = "lots"
"""Folder of the histories of lots within an archive."""
FORMAT = HistoryFormat("lot", chained=True, version=VERSION)
"""How they stand in their files."""
# Quotes within a text are escaped, and the codec writes no blanks.
_RECORD = re.compile(rb'"record":"([0-9a-f]{64})"')
_OURS = re.compile(r".*-[0-9a-f]{16}\.txt")


@dataclass(frozen=True, slots=True)
class LotHistory:
    """What stands in the file of a lot.

    Parameters
    ----------
    events
        Oldest first; empty when there is none yet.
    digests
        For each entry a checksum that also covers all entries before it.
    size
        Length of the file in bytes.
    unfinished
        Bytes of a line behind them that was not finished: whoever added it was killed, or the end of the file
        was cut off.
    version
        Of the format of the file.
    """

    events: tuple[LotEvent, ...]
    digests: tuple[str, ...]
    size: int = 0
    unfinished: int = 0
    version: int = VERSION

    @property
    def digest(self) -> str:
        """Names the whole history: 64 hexadecimal digits; empty without entries."""
        return self.digests[-1] if self.digests else ""


@dataclass(frozen=True, slots=True)
class LotOutline:
    """How a lot was opened, and for each of its entries the checksum that covers all up to it."""

    opened: LotOpened
    digests: tuple[str, ...]


def lot_sources(folder: Source) -> list[Source]:
    """Return the files of lots of an archive by name, whatever stands in them; raises as `list_lots`."""
    sources = files_in(below(folder, LOTS), suffix=HISTORY_SUFFIX)
    return [source for source in sources if _OURS.fullmatch(_name_of(source))]


def read_history(source: Source, *, must_exist: bool = False) -> LotHistory:
    """Return what stands in the file of a lot; empty when its first line is unfinished, or there is no file.

    Parameters
    ----------
    must_exist
        Raise `RecordMissing` when there is no file.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `LotFile.read`.
    """
    try:
        data = _content(source)
    except RecordMissing:
        if must_exist:
            raise
        return LotHistory((), ())
    found = FORMAT.parse(data, source)
    return LotHistory(
        events_in(found, source), found.digests, len(data), len(data) - found.length, found.version
    )


def read_opening(source: Source) -> LotOpened | None:
    """Return the first entry of a lot without looking at any other; None when it was never finished.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `LotFile.read`, also when there is no file.
    """
    return _opening(_content(source), source)


def _opening(content: bytes, source: Source) -> LotOpened | None:
    head, *lines = content.split(b"\n", 2)
    whole = b"\n".join((head, lines[0], b"")) if len(lines) > 1 else b"\n".join((head, *lines))
    found = FORMAT.parse(whole, source)
    first = events_in(found, source)[:1]
    return first[0] if first and isinstance(first[0], LotOpened) else None


def skim_history(source: Source, *, results: bool = True) -> tuple[dict[str, Any], ...]:
    """Return the entries of a lot as JSON holds them, every checksum compared.

    For looking through many lots: entries are not made of them, which takes longest, and whether one may
    follow another is not asked.

    Parameters
    ----------
    results
        False: results of reels are left out, which are nearly all of a file.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `LotFile.read`, also when there is no file.
    """
    # Quotes within a text are escaped: these bytes stand in a line as the kind of its entry or not at all.
    found = FORMAT.parse(_content(source), source, skip=b"" if results else b'"event":"added"')
    return tuple(entry for entry in found.entries if entry)


def read_outline(source: Source) -> LotOutline | None:
    """Return how a lot was opened and the checksums of its entries, all compared; None when it never was.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `LotFile.read`, also when there is no file.
    """
    content = _content(source)
    found = FORMAT.parse(content, source, skip=b"{")
    opened = _opening(content, source)
    return None if opened is None else LotOutline(opened, found.digests)


def records_named(source: Source) -> frozenset[str]:
    """Return the content hashes of all records that a lot names, whether they count or not.

    Nothing else is looked at, no checksum compared: for finding out which of many lots are to be read.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        It cannot be read.
    """
    return frozenset(found.decode() for found in _RECORD.findall(_content(source)))


def _content(source: Source) -> bytes:
    with open_content(source, "lot") as content:
        # To its end, wherever that is by now: another station may add to it, or drop an unfinished line.
        return bytes(content.stream.readall() or b"")


def events_in(found: History, source: Source) -> tuple[LotEvent, ...]:
    """Return the entries of a lot that lines hold.

    Raises
    ------
    RecordDamaged
        One is none, or the lot is not opened in the first one and in no other.
    """
    events: list[LotEvent] = []
    for line, entry in enumerate(found.entries, start=2):
        try:
            event = decode_event(entry, found.version)
            if (line == 2) is not isinstance(event, LotOpened):
                raise ValueError("a lot is opened in its first entry and in no other")
        except ValueError as error:
            raise RecordDamaged(
                f"{source}: line {line}: {error}", hint="Restore the file from a copy; nothing was added."
            ) from error
        events.append(event)
    return tuple(events)


def _name_of(source: Source) -> str:
    return str(source).replace("\\", "/").rpartition("/")[2]


def file_name(lot: str) -> str:
    """Return the name of the file of a lot, which no other lot has.

    Examples
    --------
    >>> file_name("delivery 7 / Nov.")
    'delivery-7-Nov-65121d8043f03c65.txt'
    """
    return history_name(lot)
