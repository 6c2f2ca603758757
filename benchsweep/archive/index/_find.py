"""Find records by an index that is brought up to date first, and made anew when it is spoiled."""

from __future__ import annotations

import sqlite3
import time
import weakref
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TypeVar

from benchsweep.archive.index._check import check_index
from benchsweep.archive.index._database import (
    Database,
    Spoiled,
    Unusable,
    database_errors,
    drop_until,
    in_memory,
    latest_number,
    open_database,
    transaction,
)
from benchsweep.archive.index._found import Damaged, Found
from benchsweep.archive.index._query import load, matching, names_of
from benchsweep.archive.index._refresh import Place, refresh
from benchsweep.archive.index._selection import Selection
from benchsweep.archive.places import local_path
from benchsweep.errors import ArchiveError

__all__ = ["FoundRecords", "find", "reindex"]

# The first screen comes at once, the rest in larger pieces.
_AT_FIRST = 50
_AT_ONCE = 500
_TRIES = 3
# Rows are checked when they are told; those that a damaged column leaves out are missed until all are
# checked: of a small index (some thousand records) each time, of a large one once a day.
_CHECK_EVERY_SECONDS = 86400.0
_SMALL_BYTES = 2 << 20

Answer = TypeVar("Answer")


def _silence(_: str) -> None:
    return None


class _Index:
    """The index of one archive, whatever happens to its file."""

    def __init__(self, root: Path | str, progress: Callable[[str], None]) -> None:
        if "\0" in str(root):
            raise ArchiveError(f"{str(root)!r}: no folder can have this name", hint="Check the path.")
        folder = local_path(root)
        self.place = Place(folder, "" if folder is not None else str(root).rstrip("/"))
        self.progress = progress
        self.notes: list[str] = []
        self.damaged: tuple[Damaged, ...] = ()
        self._database: Database | None = None
        self._number = latest_number(self.place.key)
        self._finalizer: weakref.finalize[..., _Index] | None = None
        # How many databases were opened; numbers of files are those of one.
        self.generation = 0

    def ask(self, question: Callable[[sqlite3.Connection], Answer], *, fresh: bool = False) -> Answer:
        """Return the answer to a question, with an index that is whole.

        Parameters
        ----------
        fresh
            See first what changed in the archive.
        """
        for _ in range(_TRIES):
            try:
                with database_errors():
                    return self._try(question, fresh)
            except Spoiled as error:
                self._give_up(f"the index was made anew: {error}")
            except Unusable as error:
                self._only_in_memory(f"the index is not kept: {error}")
        self._only_in_memory("the index is not kept: it is spoiled again and again")
        return self._try(question, fresh)

    def anew(self) -> None:
        """Drop what there is."""
        self._give_up("")

    def _try(self, question: Callable[[sqlite3.Connection], Answer], fresh: bool) -> Answer:
        new = self._database is None
        connection = self._opened().connection
        if new or fresh:
            self._check_now_and_then(connection)
            self.damaged = refresh(connection, self.place, self.progress)
        return question(connection)

    def _opened(self) -> Database:
        if self._database is not None:
            return self._database
        found = self._set(open_database(self.place.key, self._number))
        # Left by whoever could not drop it.
        drop_until(self.place.key, self._number - 1)
        return found

    def _set(self, database: Database) -> Database:
        self._database = database
        self.generation += 1
        # A connection that is only forgotten is a warning of Python.
        self._finalizer = weakref.finalize(self, database.connection.close)
        return database

    def _close(self) -> None:
        if self._finalizer is not None:
            self._finalizer()
        self._database = self._finalizer = None

    def _give_up(self, note: str) -> None:
        self._close()
        self._note(note)
        drop_until(self.place.key, self._number)
        self._number = max(self._number + 1, latest_number(self.place.key))

    def _only_in_memory(self, note: str) -> None:
        self._close()
        self._note(note)
        self._set(in_memory(self.place.key))

    def _note(self, note: str) -> None:
        if note and note not in self.notes:
            self.notes.append(note)

    def _check_now_and_then(self, connection: sqlite3.Connection) -> None:
        checked_at = float(connection.execute("SELECT checked_at FROM state").fetchone()[0])
        now = time.time()
        lately = 0.0 <= now - checked_at < _CHECK_EVERY_SECONDS
        if lately and _size(connection) > _SMALL_BYTES:
            return
        check_index(connection)
        if not lately:
            with transaction(connection):
                connection.execute("UPDATE state SET checked_at = ?", (now,))


def _size(connection: sqlite3.Connection) -> int:
    """Return how many bytes the index has."""
    pages, page = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    return int(pages) * int(page)


class FoundRecords:
    """What fits a selection, oldest first: to be counted, and gone through any number of times.

    Memory holds some hundreds of them at once. What goes from the archive meanwhile may be missing.

    Attributes
    ----------
    damaged : tuple of Damaged
        All files of the archive that cannot be read, whatever they hold, and folders that cannot be listed.
    notes : tuple of str
        What happened to the index.
    """

    def __init__(self, index: _Index, selection: Selection) -> None:
        self._index = index
        self._selection = selection
        self._files = self._match(fresh=True)
        self.damaged = index.damaged

    def _match(self, *, fresh: bool = False) -> list[int]:
        return self._index.ask(lambda connection: matching(connection, self._selection), fresh=fresh)

    @property
    def notes(self) -> tuple[str, ...]:
        """What happened to the index, in words; empty as a rule."""
        return tuple(self._index.notes)

    def __len__(self) -> int:
        return len(self._files)

    def __iter__(self) -> Iterator[Found]:
        given: set[str] = set()
        files = self._files
        place, many = 0, min(_AT_FIRST, _AT_ONCE)
        while place < len(files):
            part = files[place : place + many]
            found = self._ask(partial(load, base=self._index.place.base, files=part))
            if found is None:
                # Made anew with other numbers: from the beginning, without those that were given.
                files, place = self._files, 0
                continue
            for one in found:
                if one.name not in given:
                    given.add(one.name)
                    yield one
            place, many = place + many, min(2 * many, _AT_ONCE)

    def sources(self) -> tuple[str, ...]:
        """Return where they are, in order: what readers of the archive take."""
        while True:
            names = self._ask(partial(names_of, files=self._files))
            if names is not None:
                base = self._index.place.base
                return tuple(f"{base}{names[file]}" for file in self._files if file in names)

    def _ask(self, question: Callable[[sqlite3.Connection], Answer]) -> Answer | None:
        """Return the answer; None when the index was made anew for it, and what fits was looked for again."""
        generation = self._index.generation
        answer = self._index.ask(question)
        if self._index.generation == generation:
            return answer
        self._files = self._match()
        return None


def find(
    root: Path | str, selection: Selection | None = None, *, progress: Callable[[str], None] = _silence
) -> FoundRecords:
    """Return the records and series of an archive that fit, by its index.

    The index is a file of this machine in the person's cache folder and never the truth: what changed in the
    archive is seen and read first, and when it is damaged or of another program it is
    made anew from the archive; when another process keeps it to itself for more than 5 s, or it cannot be
    kept, one is made in memory for this once. Nothing is written to the archive.

    Parameters
    ----------
    root
        Folder of the archive, or an address such as ``s3://bucket/folder``; with its sub-folders, on this
        machine `list_files` says how far down, without ``unfinished`` and what is hidden.
    selection
        Which records; nothing: all but superseded and withdrawn ones.
    progress
        Told every other second how many files were read.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        There is no such archive, or it cannot be listed. Single files that cannot be read are in `damaged`.
    """
    return FoundRecords(_Index(root, progress), selection or Selection())


def reindex(root: Path | str, *, progress: Callable[[str], None] = _silence) -> FoundRecords:
    """Drop the index of an archive and make it anew; return everything that is in the archive.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        As `find`.
    """
    index = _Index(root, progress)
    index.anew()
    return FoundRecords(index, Selection(superseded=True, withdrawn=True))
