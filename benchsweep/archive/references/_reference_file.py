"""The history of one reference channel, field tester or study: created, read, added to."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from benchsweep.archive._history import AppendedFile
from benchsweep.archive.places import Source, below, local_path
from benchsweep.archive.references._codec import ReferenceKind, encode_event, first_of, may_follow, name_in
from benchsweep.archive.references._reading import (
    FORMAT,
    REFERENCES,
    ReferenceHistory,
    events_in,
    file_name,
    read_history,
    reference_sources,
)
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    ArchiveUnreachable,
    RecordDamaged,
    ReferenceRefused,
    UnknownName,
)
from benchsweep.records import ReferenceEvent

__all__ = ["ReferenceFile", "create", "list_references"]

_MOST_NAMES = 8
_LIKELIEST = 3
Check = Callable[[tuple[ReferenceEvent, ...]], None]
_NOT_NEW: dict[ReferenceKind, str] = {
    "channel": "Give the new one another name.",
    "tester": "Give the new one another name; `benchsweep compare accuracy` declares another accuracy for "
    "this one, `benchsweep compare interval` sets another interval.",
    "study": "Give the new one another name.",
}


class ReferenceFile:
    """A history: ``<archive>/references/<kind>-<name made safe>-<16 digits of its SHA-256>.txt``.

    A line for each entry, chained (see `HistoryFormat`): an entry that was changed, lost, exchanged or put in
    is found, and the checksum of the last line names all of them. That the last entries were taken off is
    found by what the other histories saw of it since (`SeenReferences`), or by a digest that is kept
    elsewhere, such as that of a printed report.

    Parameters
    ----------
    folder
        The archive: a folder, or an address, which can be read only.
    kind
        ``channel``, ``tester`` or ``study``.
    name
        Any text.

    Attributes
    ----------
    kind, name : str
        As given.
    path : Path or str
        Its file, which need not be there.
    """

    def __init__(self, folder: Source, kind: ReferenceKind, name: str) -> None:
        self.kind = kind
        self.name = name
        self.path = below(folder, REFERENCES, file_name(kind, name))
        self._folder = folder

    def __repr__(self) -> str:
        return f"ReferenceFile({str(self.path)!r})"

    def exists(self) -> bool:
        """Tell whether there is such a history; raises as `history` but for `UnknownName`."""
        return bool(read_history(self.path).events)

    def history(self) -> ReferenceHistory:
        """Return entries and digests of one moment; an unfinished last line counts as not written.

        Raises
        ------
        UnknownName
            There is none; the hint names those that are called nearly the same.
        RecordDamaged, RecordNewer
            A line was changed, lost or exchanged; written by a later version of the format.
        ArchiveLocked, ArchiveUnreachable, ArchiveError
            It cannot be read.
        """
        found = read_history(self.path)
        if not found.events:
            raise self._unknown()
        if (found.kind, found.name) != (self.kind, self.name):
            raise RecordDamaged(
                f"{self.path}: holds the history of the {found.kind} {found.name}",
                hint="Give the file its own name again.",
            )
        return found

    def append(self, event: ReferenceEvent, check: Check) -> ReferenceHistory:
        """Add an entry and return the history with it; it is on the disc then.

        Parameters
        ----------
        check
            Gets the entries that are there, while no other station can add any, and raises when this one may
            not follow: nothing is written then.

        Raises
        ------
        UnknownName
            There is no such history.
        ReferenceRefused
            Such an entry does not stand in a history of this kind.
        RecordDamaged, RecordNewer
            The history cannot be read: nothing is added.
        ArchiveLocked, ArchiveUnreachable, ArchiveError
            It cannot be written: the place is read only, an address, full, or in use for ten seconds.
        """
        if not may_follow(self.kind, event):
            raise ReferenceRefused(f"the {self.kind} {self.name}: {type(event).__name__} is no entry of it")
        self._local()
        # That it is there and of this name, before a folder is made for a lock.
        self.history()

        def fits(events: tuple[ReferenceEvent, ...]) -> None:
            if not events:
                raise self._unknown()
            check(events)

        return self._append(event, fits)

    def _append(self, event: ReferenceEvent, check: Check) -> ReferenceHistory:
        kept = AppendedFile(self._local(), format=FORMAT)
        longer = kept.append(encode_event(event), lambda found: check(events_in(found, self.path)))
        return ReferenceHistory(events_in(longer, self.path), longer.digests, longer.length)

    def _local(self) -> Path:
        path = local_path(self.path)
        if path is None:
            raise ArchiveLocked(
                f"{self.path}: an archive at an address can be read only",
                hint="Name the archive as a folder of this machine or of the network.",
            )
        return path

    def _unknown(self) -> UnknownName:
        names = [file.name for file in list_references(self._folder, self.kind)]
        near = names
        if len(names) > _MOST_NAMES:
            near = sorted(difflib.get_close_matches(self.name, names, _LIKELIEST) or names[:_LIKELIEST])
        more = f" and {len(names) - len(near)} more" if len(near) < len(names) else ""
        told = f"{', '.join(near)}{more}"
        what = {"channel": "reference channel", "tester": "field tester", "study": "study"}[self.kind]
        hint = f"There are: {told}." if names else f"No {what} was registered in this archive."
        return UnknownName(f"{self._folder}: there is no {what} {self.name}", hint=hint)


def create(folder: Source, event: ReferenceEvent) -> ReferenceFile:
    """Begin a history in an archive, which is made if it is missing.

    Parameters
    ----------
    event
        Its first entry, which names what it is of.

    Raises
    ------
    ReferenceRefused
        There is one of that kind and name.
    ValueError
        No history begins with such an entry.
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `ReferenceFile.append`.
    """
    kind = first_of(event)
    if kind is None:
        raise ValueError(f"no history begins with {type(event).__name__}")
    file = ReferenceFile(folder, kind, name_in(event))

    def is_new(events: tuple[ReferenceEvent, ...]) -> None:
        if events:
            first = events[0]
            raise ReferenceRefused(
                f"there is a {kind} {file.name}, registered on {_second(first.at)} by {first.by}",
                hint=_NOT_NEW[kind],
            )

    file._append(event, is_new)  # noqa: SLF001 - of this module
    return file


def _second(at: str) -> str:
    """Return a time to the second with its zone."""
    return f"{datetime.fromisoformat(at).astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def list_references(folder: Source, kind: ReferenceKind) -> tuple[ReferenceFile, ...]:
    """Return the histories of an archive of one kind, by name; none without a folder of them.

    One that cannot be read is among them, under the name of its file: reading it tells why. Other files are
    left out, and one in which the first entry was never finished.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder cannot be listed.
    """
    return tuple(sorted(_found(folder, kind), key=lambda file: (file.name, str(file.path))))


def _found(folder: Source, kind: ReferenceKind) -> Iterator[ReferenceFile]:
    for source in reference_sources(folder, kind):
        name = Path(str(source)).stem
        try:
            history = read_history(source)
        except ArchiveUnreachable:
            raise
        except ArchiveError:
            pass
        else:
            if not history.events:
                continue
            name = history.name
        file = ReferenceFile(folder, kind, name)
        file.path = source
        yield file
