"""Histories of reference channels, field testers and studies, read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from benchsweep.archive._history_lines import HISTORY_SUFFIX, History, HistoryFormat, history_name
from benchsweep.archive.places import Source, below, files_in, open_content
from benchsweep.archive.references._codec import (
    KINDS,
    ReferenceKind,
    decode_event,
    first_of,
    may_follow,
    name_in,
)
from benchsweep.errors import RecordDamaged, RecordMissing
from benchsweep.records import ReferenceEvent

__all__ = [
    "FORMAT",
    "REFERENCES",
    "ReferenceHistory",
    "events_in",
    "file_name",
    "is_history",
    "read_history",
    "reference_sources",
]

REFERENCES = "references"
"""Folder of these histories within an archive."""
FORMAT = HistoryFormat("reference", chained=True)
"""How they stand in their files."""
_OURS = re.compile(rf"({'|'.join(KINDS)})-.*-[0-9a-f]{{16}}\.txt")


@dataclass(frozen=True, slots=True)
class ReferenceHistory:
    """What stands in the file of a channel, tester or study.

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
    """

    events: tuple[ReferenceEvent, ...]
    digests: tuple[str, ...]
    size: int = 0
    unfinished: int = 0

    @property
    def digest(self) -> str:
        """Names the whole history: 64 hexadecimal digits; empty without entries."""
        return self.digests[-1] if self.digests else ""

    @property
    def kind(self) -> ReferenceKind | None:
        """What it is of; None without entries."""
        return first_of(self.events[0]) if self.events else None

    @property
    def name(self) -> str:
        """Name of the channel, tester or study; empty without entries."""
        return name_in(self.events[0]) if self.events else ""


def file_name(kind: ReferenceKind, name: str) -> str:
    """Return the name of the file of a channel, tester or study, which no other has.

    Examples
    --------
    >>> file_name("tester", "FT 07 / Nov.")
    'tester-FT-07-Nov-bcbe5fe6fef702d7.txt'
    """
    return f"{kind}-{history_name(name)}"


def reference_sources(folder: Source, kind: ReferenceKind | None = None) -> list[Source]:
    """Return the files of histories of an archive by name, whatever stands in them; none without a folder.

    Parameters
    ----------
    kind
        Of channels, testers or studies only.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder cannot be listed.
    """
    start = "" if kind is None else f"{kind}-"
    sources = files_in(below(folder, REFERENCES), start, suffix=HISTORY_SUFFIX)
    return [source for source in sources if _OURS.fullmatch(_last(source))]


def is_history(content: bytes) -> bool:
    """Tell whether a file whose first bytes these are is a history of a channel, tester or study."""
    return content.startswith(b"benchsweep-reference/")


def read_history(source: Source, *, must_exist: bool = False) -> ReferenceHistory:
    """Return what stands in a file; empty when its first line is unfinished, or there is no file.

    Parameters
    ----------
    must_exist
        Raise `RecordMissing` when there is no file.

    Raises
    ------
    RecordDamaged
        A line was changed, lost or exchanged, or its entry is none, or may not stand there; the message names
        it.
    RecordNewer
        Written by a later version of the format.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        It cannot be read.
    """
    try:
        with open_content(source, "history") as content:
            # To its end, wherever that is by now: another station may add to it, or drop an unfinished line.
            data = bytes(content.stream.readall() or b"")
    except RecordMissing:
        if must_exist:
            raise
        return ReferenceHistory((), ())
    found = FORMAT.parse(data, source)
    events = events_in(found, source)
    return ReferenceHistory(events, found.digests, len(data), len(data) - found.length)


def events_in(found: History, source: Source) -> tuple[ReferenceEvent, ...]:
    """Return the entries that lines hold.

    Raises
    ------
    RecordDamaged
        One is none, or is of another kind of history.
    """
    events: list[ReferenceEvent] = []
    kind: ReferenceKind | None = None
    for line, entry in enumerate(found.entries, start=2):
        try:
            event = decode_event(entry)
            if line == 2:
                kind = first_of(event)
            if kind is None or (line > 2 and not may_follow(kind, event)):
                raise ValueError(f"{entry['event']} may not stand here")
        except ValueError as error:
            raise RecordDamaged(
                f"{source}: line {line}: {error}", hint="Restore the file from a copy; nothing was added."
            ) from error
        events.append(event)
    return tuple(events)


def _last(source: Source) -> str:
    return Path(str(source).replace("\\", "/")).name
