from __future__ import annotations

import difflib
from collections.abc import Callable
from pathlib import Path

from benchsweep.archive._history import AppendedFile
from benchsweep.archive.lots._codec import encode_event
from benchsweep.archive.lots._reading import (
    FORMAT,
    LOTS,
    LotHistory,
    events_in,
    file_name,
    lot_sources,
    read_history,
    read_opening,
)
from benchsweep.archive.places import Source, below, local_path
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    ArchiveUnreachable,
    LotRefused,
    RecordDamaged,
    UnknownName,
)
from benchsweep.records import LotClosed, LotEvent, LotOpened

__all__ = ["LotFile", "create", "list_lots"]


class LotFile:
    """The history of one lot: ``<archive>/lots/<name made safe>-<16 digits of its SHA-256>.txt``.

    A line for each entry, chained (see `HistoryFormat`): an entry that was changed, lost, exchanged or put in
    is found, and the checksum of the last line names all of them. What a checksum cannot find is that the
    last entries were taken off, or everything from some line on was written anew, or the file is gone. The
    lots that are opened afterwards keep digest and length of those before (`SeenLots`), and find that; of the
    newest lots only a digest that is kept elsewhere does, such as that of a printed report.

    Parameters
    ----------
    folder
        The archive: a folder, or an address, which can be read only.
    lot
        Name of the lot, any text.

    Attributes
    ----------
    lot : str
        Its name.
    path : Path or str
        Its file, which need not be there.
    """

    def __init__(self, folder: Source, lot: str) -> None:
        self.lot = lot
        self.path = below(folder, LOTS, file_name(lot))
        self._folder = folder

    def __repr__(self) -> str:
        return f"LotFile({str(self.path)!r})"

    def exists(self) -> bool:
        """Tell whether there is such a lot.

        Raises
        ------
        RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
            There is, but it cannot be read.
        """
        return bool(read_history(self.path).events)

    def read(self) -> tuple[LotEvent, ...]:
        """Return its entries, oldest first; an unfinished last line counts as not written.

        Raises
        ------
        UnknownName
            There is no such lot; the hint names those that are called nearly the same.
        RecordDamaged
            A line was changed, lost or exchanged, or its entry is none; the message names it.
        RecordNewer
            Written by a later version of the format.
        ArchiveLocked, ArchiveUnreachable, ArchiveError
            It cannot be read.
        """
        return self.history().events

    def digest(self) -> str:
        """Return what names its whole history: 64 hexadecimal digits; raises as `read`."""
        return self.history().digest

    def history(self) -> LotHistory:
        """Return entries and digests of one moment; raises as `read`."""
        found = read_history(self.path)
        if not found.events:
            raise self._unknown()
        self._refuse_other(found.events)
        return found

    def append(self, event: LotEvent, check: Callable[[tuple[LotEvent, ...]], None]) -> LotHistory:
        """Add an entry and return the history with it; it is on the disc then.

        Parameters
        ----------
        check
            Gets the entries that are there, while no other station can add any, and raises when this one may
            not follow: nothing is written then.

        Raises
        ------
        UnknownName
            There is no such lot.
        LotRefused
            The lot is closed, or is opened a second time.
        RecordDamaged, RecordNewer
            The history cannot be read: nothing is added.
        ArchiveLocked, ArchiveUnreachable, ArchiveError
            It cannot be written: the place is read only, an address, full, or in use for ten seconds.
        """
        if isinstance(event, LotOpened):
            raise LotRefused(
                f"the lot {self.lot} cannot be opened twice", hint="Give the new lot another name."
            )
        self._local()
        # That it is there and of this lot, before a folder is made for a lock.
        version = self.history().version

        def fits(events: tuple[LotEvent, ...]) -> None:
            if not events:
                raise self._unknown()
            last = events[-1]
            if isinstance(last, LotClosed):
                raise LotRefused(
                    f"the lot {self.lot} was closed on {last.at} by {last.by}: nothing can be added",
                    hint="Open a resubmission if the lot was sorted or repaired.",
                )
            check(events)

        return self._append(event, fits, version)

    def _append(
        self, event: LotEvent, check: Callable[[tuple[LotEvent, ...]], None], version: int = FORMAT.version
    ) -> LotHistory:
        kept = AppendedFile(self._local(), format=FORMAT)
        longer = kept.append(encode_event(event, version), lambda found: check(events_in(found, self.path)))
        events = events_in(longer, self.path)
        return LotHistory(events, longer.digests, longer.length, version=longer.version)

    def _refuse_other(self, events: tuple[LotEvent, ...]) -> None:
        first = events[0]
        if isinstance(first, LotOpened) and first.lot != self.lot:
            raise RecordDamaged(
                f"{self.path}: holds the history of the lot {first.lot}",
                hint="Give the file its own name again.",
            )

    def _local(self) -> Path:
        path = local_path(self.path)
        if path is None:
            raise ArchiveLocked(
                f"{self.path}: a lot at an address can be read only",
                hint="Keep the archive in a folder of this machine or of the network while the lot is open.",
            )
        return path

    def _unknown(self) -> UnknownName:
        names = [file.lot for file in list_lots(self._folder)]
        near = difflib.get_close_matches(self.lot, names, 3) or names[:3]
        hint = f"Lots there: {', '.join(near)}{' …' if len(near) < len(names) else ''}." if names else ""
        return UnknownName(
            f"{self._folder}: there is no lot {self.lot}", hint=hint or "No lot was opened in this archive."
        )


def create(folder: Source, event: LotOpened) -> LotFile:
    """Begin the history of a lot in an archive, which is made if it is missing.

    Raises
    ------
    LotRefused
        There is a lot of that name.
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `LotFile.append`.
    """
    file = LotFile(folder, event.lot)

    def is_new(events: tuple[LotEvent, ...]) -> None:
        if events:
            first = events[0]
            raise LotRefused(
                f"there is a lot {event.lot}, opened on {first.at} by {first.by}",
                hint="Give the new lot another name; one that is submitted again gets a name of its own.",
            )

    file._append(event, is_new)  # noqa: SLF001 - of this module
    return file


def list_lots(folder: Source) -> tuple[LotFile, ...]:
    """Return the lots of an archive, by name; none without a folder of them.

    A lot that cannot be read is among them, under the name of its file when not even its first entry can:
    reading it tells why. Other files are left out, and one in which the first entry was never finished.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The folder cannot be listed.
    """
    found: list[LotFile] = []
    for source in lot_sources(folder):
        lot = Path(str(source)).stem
        try:
            first = read_opening(source)
        except ArchiveUnreachable:
            raise
        except ArchiveError:
            pass
        else:
            if first is None:
                continue
            lot = first.lot
        file = LotFile(folder, lot)
        file.path = source
        found.append(file)
    return tuple(sorted(found, key=lambda file: (file.lot, str(file.path))))
