"""Bring the index up to what the archive holds."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchsweep.archive.index._database import transaction
from benchsweep.archive.index._fill import Filler
from benchsweep.archive.index._found import Damaged
from benchsweep.archive.index._read import Content, read_content
from benchsweep.archive.index._scan import FileState, FolderState, Scan, scan_folders, scan_store

__all__ = ["Place", "refresh"]

# A kill loses what was read within this time; whoever waits to write waits for one such piece at most.
_SECONDS_AT_ONCE = 1.0
_FILES_AT_ONCE = 500
# Of a store several files are fetched at once: most of the time is waiting.
_FETCHING = 8
_TELL_EVERY_SECONDS = 2.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where an archive is.

    Parameters
    ----------
    folder
        Its folder on this machine; None when it is somewhere else.
    url
        Its address then.
    """

    folder: Path | None
    url: str

    @property
    def key(self) -> str:
        """What tells it from all others."""
        key = self.url if self.folder is None else os.path.realpath(self.folder)
        return key.encode("utf-8", "backslashreplace").decode()

    @property
    def base(self) -> str:
        """What stands before the path of a file within the archive."""
        if self.folder is None:
            return f"{self.url}/"
        return "" if str(self.folder) == "." else f"{self.folder}/"


@dataclass(frozen=True, slots=True)
class _Known:
    """A file that the index has."""

    id: int
    state: FileState
    passing: bool


@dataclass(frozen=True, slots=True)
class _Ahead:
    """A file that is to be read."""

    folder: str
    name: str
    state: FileState

    @property
    def path(self) -> str:
        return f"{self.folder}/{self.name}" if self.folder else self.name


def refresh(
    connection: sqlite3.Connection, place: Place, progress: Callable[[str], None]
) -> tuple[Damaged, ...]:
    """Read what is new, drop what is gone, and return all that cannot be read.

    Raises
    ------
    ArchiveError
        There is no such archive, or it cannot be listed.
    sqlite3.Error, Spoiled
    """
    return _Refresh(connection, place, progress).run()


class _Refresh:
    def __init__(self, connection: sqlite3.Connection, place: Place, progress: Callable[[str], None]) -> None:
        self.connection = connection
        self.place = place
        self.progress = progress
        # Whoever else writes meanwhile may have listed a folder earlier or later than this run. What both
        # wrote is right for each file, but that nothing is missing cannot be relied on then.
        self.alone = True
        self.writes = self._writes()

    def run(self) -> tuple[Damaged, ...]:
        known = self._folders()
        if self.place.folder is None:
            scan = scan_store(self.place.url, known, self._files)
        else:
            scan = scan_folders(self.place.folder, known, self._files)
        ahead = [*self._changed(scan), *self._troubled(scan)]
        gone = self._gone(scan)
        if gone or scan.gone:
            with self._writing() as filler:
                filler.drop(gone)
                for folder in scan.gone:
                    filler.drop(known_file.id for known_file in self._files(folder).values())
                self._forget(scan.gone)
        self._read_all(ahead)
        self._keep_folders(scan, known)
        return (*self._damaged(), *self._locked(scan))

    # What the index has

    def _writes(self) -> int:
        return int(self.connection.execute("SELECT writes FROM state").fetchone()[0])

    def _folders(self) -> dict[str, FolderState]:
        rows = self.connection.execute("SELECT path, parent, mtime_ns, inode, seen_at, settled FROM folders")
        return {row[0]: FolderState(row[1], row[2], row[3], row[4], bool(row[5])) for row in rows}

    def _files(self, folder: str) -> dict[str, _Known]:
        rows = self.connection.execute(
            "SELECT name, id, size, mtime_ns, passing FROM files WHERE folder = ?", (folder,)
        )
        return {name: _Known(id, FileState(*state), bool(passing)) for name, id, *state, passing in rows}

    # What is to be done

    def _changed(self, scan: Scan) -> Iterator[_Ahead]:
        for folder, files in scan.listed.items():
            before: Mapping[str, Any] = scan.before[folder]
            for name in sorted(files):
                known = before.get(name)
                if known is None or known.passing or known.state != files[name]:
                    yield _Ahead(folder, name, files[name])

    def _troubled(self, scan: Scan) -> Iterator[_Ahead]:
        """Look again at files that could not be read: one may have been restored in its place."""
        if self.place.folder is None:
            return
        rows = self.connection.execute(
            "SELECT folder, name, size, mtime_ns, passing FROM files INDEXED BY troubled WHERE problem <> ''"
        ).fetchall()
        for folder, name, size, mtime_ns, passing in rows:
            if folder in scan.listed:
                continue
            state = FileState(size, mtime_ns)
            try:
                status = (self.place.folder / folder / name).stat()
                now = FileState(status.st_size, status.st_mtime_ns)
            except OSError:
                now = state
            if passing or now != state:
                yield _Ahead(folder, name, now)

    def _gone(self, scan: Scan) -> list[int]:
        return [
            known.id
            for folder, files in scan.listed.items()
            for name, known in _typed(scan.before[folder]).items()
            if name not in files
        ]

    # Reading and writing

    def _read_all(self, ahead: list[_Ahead]) -> None:
        started = told = time.monotonic()
        done = 0
        for piece in self._pieces(ahead):
            with self._writing() as filler:
                for item, content in piece:
                    if content is not None or self._there(item):
                        filler.put(item.folder, item.name, item.state, content)
            done += len(piece)
            if time.monotonic() - told > _TELL_EVERY_SECONDS and done < len(ahead):
                told = time.monotonic()
                rate = done / (told - started)
                files = "1 file" if len(ahead) == 1 else f"{len(ahead)} files"
                self.progress(f"index: {done} of {files} read, {rate:.0f} a second")

    def _pieces(self, ahead: list[_Ahead]) -> Iterator[list[tuple[_Ahead, Content]]]:
        """Read files, and give what was read every now and then."""
        piece: list[tuple[_Ahead, Content]] = []
        until = time.monotonic() + _SECONDS_AT_ONCE
        for item, content in self._read(ahead):
            piece.append((item, content))
            if len(piece) == _FILES_AT_ONCE or time.monotonic() > until:
                yield piece
                piece = []
                until = time.monotonic() + _SECONDS_AT_ONCE
                self._notice_others()
        if piece:
            yield piece

    def _read(self, ahead: list[_Ahead]) -> Iterator[tuple[_Ahead, Content]]:
        def one(item: _Ahead) -> Content:
            return read_content(f"{self.place.base}{item.path}", item.path)

        if self.place.folder is not None:
            for item in ahead:
                # Another process that does the same may have been here first.
                if self.alone or not self._has(item):
                    yield item, one(item)
            return
        with ThreadPoolExecutor(_FETCHING) as pool:
            for start in range(0, len(ahead), 4 * _FETCHING):
                some = ahead[start : start + 4 * _FETCHING]
                yield from zip(some, pool.map(one, some), strict=True)

    def _has(self, item: _Ahead) -> bool:
        query = "SELECT size, mtime_ns FROM files WHERE folder = ? AND name = ? AND NOT passing"
        row = self.connection.execute(query, (item.folder, item.name)).fetchone()
        return row is not None and FileState(*row) == item.state

    def _there(self, item: _Ahead) -> bool:
        """Tell whether a file of a kind that is not looked for is still there, so as not to read it again."""
        if self.place.folder is None:
            return True
        return os.path.lexists(self.place.folder / item.path)

    @contextmanager
    def _writing(self) -> Iterator[Filler]:
        """Open a transaction that concludes what is put in, and notice others that write."""
        with transaction(self.connection):
            self._notice_others()
            self.writes += 1
            self.connection.execute("UPDATE state SET writes = ?", (self.writes,))
            filler = Filler(self.connection)
            yield filler
            filler.conclude()

    def _notice_others(self) -> None:
        writes = self._writes()
        if writes != self.writes:
            self.alone, self.writes = False, writes

    def _forget(self, folders: list[str]) -> None:
        self.connection.executemany("DELETE FROM folders WHERE path = ?", [(path,) for path in folders])

    def _keep_folders(self, scan: Scan, known: Mapping[str, FolderState]) -> None:
        """Note what was listed; last of all, for what is noted here is not listed again."""
        if all(known.get(path) == state for path, state in scan.states.items()):
            return
        with self._writing():
            settles = self.alone
            rows = [
                (
                    path,
                    state.parent,
                    state.mtime_ns,
                    state.inode,
                    state.seen_at,
                    int(state.settled and settles),
                )
                for path, state in scan.states.items()
            ]
            self.connection.executemany("INSERT OR REPLACE INTO folders VALUES (?, ?, ?, ?, ?, ?)", rows)

    def _damaged(self) -> Iterator[Damaged]:
        rows = self.connection.execute(
            "SELECT folder, name, problem FROM files INDEXED BY troubled WHERE problem <> ''"
            " ORDER BY folder, name"
        )
        for folder, name, problem in rows:
            path = f"{folder}/{name}" if folder else name
            yield Damaged(f"{self.place.base}{path}", path, problem)

    def _locked(self, scan: Scan) -> Iterator[Damaged]:
        for folder, reason in sorted(scan.locked.items()):
            yield Damaged(f"{self.place.base}{folder}", folder, reason)


def _typed(before: Mapping[str, Any]) -> Mapping[str, _Known]:
    return before
