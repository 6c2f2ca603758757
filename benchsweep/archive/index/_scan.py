"""What files an archive holds now, listing only folders that may have changed."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path

from benchsweep.archive.places import DEEPEST, drive_gone, is_folder, leads_up, list_files, storage_errors
from benchsweep.errors import ArchiveError

__all__ = ["FileState", "FolderState", "Scan", "scan_folders", "scan_store"]

_SUFFIX = ".h5"
_UNFINISHED = "unfinished"
# A folder changed within the same tick of its clock after it was listed looks unchanged. Its time of change
# is therefore relied on only when it was seen to be the same this long before the folder was listed ...
_SETTLING_SECONDS = 10.0
# ... or is so old that no clock of a file server is that wrong.
_SURELY_OLD_SECONDS = 600.0


@dataclass(frozen=True, slots=True)
class FileState:
    """What tells whether a file is still the one that was read: size in bytes, time of change in ns."""

    size: int
    mtime_ns: int


@dataclass(frozen=True, slots=True)
class FolderState:
    """What is known of a folder.

    Parameters
    ----------
    parent
        The folder it is in; None for the archive itself.
    mtime_ns, inode
        Time of its last change and its number.
    seen_at
        When, by the clock of this machine, these two were seen first.
    settled
        Whether a listing of it made since then can be relied on.
    """

    parent: str | None
    mtime_ns: int
    inode: int
    seen_at: float
    settled: bool


@dataclass
class Scan:
    """What was found.

    Attributes
    ----------
    listed : dict
        Path of a folder within the archive (``""`` is the archive) -> its files, where it
        was listed.
    states : dict
        The same folders -> what is to be known of them.
    gone : list of str
        Folders that were known and are no more.
    locked : dict
        Folder that cannot be listed, or name that is no text -> why, in words.
    before : dict
        Listed folder -> what `known_files` gave for it just before.
    """

    listed: dict[str, dict[str, FileState]] = field(default_factory=dict)
    states: dict[str, FolderState] = field(default_factory=dict)
    gone: list[str] = field(default_factory=list)
    locked: dict[str, str] = field(default_factory=dict)
    before: dict[str, Mapping[str, object]] = field(default_factory=dict)


KnownFiles = Callable[[str], Mapping[str, object]]


def scan_folders(root: Path, known: Mapping[str, FolderState], known_files: KnownFiles) -> Scan:
    """List what may have changed in a folder of this machine and in those below it.

    Left out is what `list_files` leaves out. A folder that is settled and unchanged is not listed.

    Parameters
    ----------
    known
        Path within the archive -> what was known of that folder.
    known_files
        Called with a folder before it is listed; what was known of its files.

    Raises
    ------
    ArchiveError
        There is no such folder, or it cannot be listed.
    """
    if not is_folder(root):
        there = root.exists()
        raise ArchiveError(
            f"{root}: {'is a file, not an archive' if there else 'there is no such archive'}",
            hint="Name the folder of an archive.",
        )
    return _Walk(root, known, known_files).walk()


class _Walk:
    def __init__(self, root: Path, known: Mapping[str, FolderState], known_files: KnownFiles) -> None:
        self.root = root
        self.known = known
        self.known_files = known_files
        self.below: dict[str, list[str]] = {}
        for path, state in known.items():
            if state.parent is not None:
                self.below.setdefault(state.parent, []).append(path)
        self.scan = Scan()
        self.seen: set[str] = set()
        # Links to folders are followed, but can lead in circles.
        self.entered: set[tuple[int, int]] = set()

    def walk(self) -> Scan:
        ahead: list[tuple[str, str | None]] = [("", None)]
        while ahead:
            path, parent = ahead.pop()
            found = self._visit(path, parent)
            ahead += [(below, path) for below in sorted(found, reverse=True)]
        self.scan.gone = [path for path in self.known if path not in self.seen]
        return self.scan

    def _visit(self, path: str, parent: str | None) -> Iterable[str]:
        """Look at one folder and return those in it."""
        try:
            status = (self.root / path).stat()
            number = (status.st_dev, status.st_ino)
            if number in self.entered and status.st_ino:
                return ()
            self.entered.add(number)
            state = self._state(parent, status, self.known.get(path))
            before = self.known.get(path)
            if before is not None and before.settled and before == state:
                self.seen.add(path)
                return self.below.get(path, ())
            self.scan.before[path] = self.known_files(path)
            files, folders = self._list(path)
        except FileNotFoundError:
            if not path:
                raise ArchiveError(f"{self.root}: vanished", hint="Check that the drive is there.") from None
            return ()
        except OSError as error:
            if not path or drive_gone(error):
                with storage_errors(self.root / path, "listing"):
                    raise
            self.scan.locked[path] = f"cannot be listed: {error.strerror or error}"
            return ()
        self.seen.add(path)
        self.scan.listed[path], self.scan.states[path] = files, state
        return folders

    def _state(self, parent: str | None, status: os.stat_result, before: FolderState | None) -> FolderState:
        now = time.time()
        same = before is not None and (before.mtime_ns, before.inode) == (status.st_mtime_ns, status.st_ino)
        seen_at = before.seen_at if same and before is not None else now
        settled = (
            bool(same and before is not None and before.settled)
            or now - seen_at >= _SETTLING_SECONDS
            or now - status.st_mtime >= _SURELY_OLD_SECONDS
        )
        return FolderState(parent, status.st_mtime_ns, status.st_ino, seen_at, settled)

    def _list(self, path: str) -> tuple[dict[str, FileState], list[str]]:
        files: dict[str, FileState] = {}
        folders: list[str] = []
        with os.scandir(self.root / path) as found:
            for item in found:
                if item.name.startswith(".") or not self._tellable(path, item.name):
                    continue
                if item.is_dir():
                    if self._looked_into(path, item):
                        folders.append(f"{path}/{item.name}" if path else item.name)
                elif item.name.endswith(_SUFFIX):
                    state = _file_state(item)
                    if state is not None:
                        files[item.name] = state
        return files, folders

    def _looked_into(self, path: str, item: os.DirEntry[str]) -> bool:
        """Tell whether a folder in the folder `path` is looked into, as `list_files` does."""
        deep = path.count("/") + 1 if path else 0
        return item.name != _UNFINISHED and deep < DEEPEST and not leads_up(item, self.root)

    def _tellable(self, path: str, name: str) -> bool:
        """Tell whether a name can be kept and told: a file system takes any bytes for a name."""
        try:
            name.encode()
        except UnicodeEncodeError:
            told = name.encode("utf-8", "backslashreplace").decode()
            self.scan.locked[f"{path}/{told}" if path else told] = "its name is not UTF-8: give it another"
            return False
        return True


def _file_state(item: os.DirEntry[str]) -> FileState | None:
    try:
        status = item.stat()
    except FileNotFoundError:
        # A link that leads nowhere is told of; a file that went meanwhile is not.
        return FileState(0, 0) if item.is_symlink() else None
    return FileState(status.st_size, status.st_mtime_ns)


def scan_store(url: str, known: Mapping[str, FolderState], known_files: KnownFiles) -> Scan:
    """List the archive at an address: names and sizes, all of them, for a store knows no time of a folder.

    Raises
    ------
    ArchiveError
    """
    before = {path: known_files(path) for path in known}
    scan = Scan()
    for path, entries in _by_folder(url):
        files = scan.listed.setdefault(path, {})
        files.update({name: FileState(size, 0) for name, size in entries})
    for path in scan.listed:
        scan.before[path] = before.get(path, {})
        parent = path.rpartition("/")[0] if path else None
        scan.states[path] = known.get(path) or FolderState(parent, 0, 0, 0.0, False)
    scan.gone = [path for path in known if path not in scan.listed]
    return scan


def _by_folder(url: str) -> Iterator[tuple[str, list[tuple[str, int]]]]:
    parts = ((*entry.name.rpartition("/")[::2], entry.size) for entry in list_files(url))
    for path, group in groupby(parts, key=lambda part: part[0]):
        yield path, [(name, size) for _, name, size in group]
