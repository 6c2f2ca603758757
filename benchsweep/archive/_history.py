"""Small text files that are only added to: what was found at each verification, how often ports were mated.

One entry a line: a serial number, a checksum over number and entry, the entry as JSON. A process that is
killed while it adds loses at most that line, which the next one drops; any other damage is named.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from benchsweep.archive._history_lines import History, HistoryFormat
from benchsweep.archive.places import free_lock, open_content, replace_file, storage_errors, sync_folder
from benchsweep.errors import ArchiveLocked, RecordMissing

__all__ = ["AppendedFile", "MatingCounters"]

_WAIT_S = 10.0


class AppendedFile:
    """A text file of entries, oldest first.

    Parameters
    ----------
    path
        Its place; made with the first entry.
    durable
        An entry is on the disc when `append` returns, and survives a power cut; else it survives the end of
        the process only.
    format
        What stands in it.
    """

    def __init__(self, path: Path, *, durable: bool = True, format: HistoryFormat | None = None) -> None:
        self.path = Path(path)
        self._durable = durable
        self._format = format or HistoryFormat()

    def read(self) -> tuple[dict[str, Any], ...]:
        """Return all entries; an unfinished last line counts as not written.

        Raises
        ------
        RecordDamaged
            A line was changed, lost or exchanged; the message names it.
        RecordNewer
            Written by a later version of the format.
        ArchiveError
            It cannot be read.
        """
        return self.history().entries

    def history(self) -> History:
        """Return all entries with the checksums of their lines; raises as `read`."""
        return self._format.parse(self._content(), self.path)

    def append(self, entry: Mapping[str, Any], check: Callable[[History], None] | None = None) -> History:
        """Add an entry and return the history with it.

        Parameters
        ----------
        check
            Gets what is there, while no other run can add to it, and raises when the entry may not follow:
            nothing is added then.

        Raises
        ------
        RecordDamaged
            The file is damaged: nothing is added, so that nothing of it is lost.
        ArchiveLocked, ArchiveError
        """
        with self._alone():
            content = self._content()
            found = self._format.parse(content, self.path)
            if check is not None:
                check(found)
            if not found.entries:  # begun and never finished, perhaps by an earlier version
                found = History()
            line, longer = self._format.lines([entry], found)
            with storage_errors(self.path, "adding to the history"):
                if found.length < len(content):
                    os.truncate(self.path, found.length)
                try:
                    self._write(line)
                except OSError:
                    self._take_back(found.length)
                    raise
        return longer

    def _take_back(self, length: int) -> None:
        """Leave what was there before: whoever adds the entry again shall not have it twice."""
        with suppress(OSError):
            if length:
                os.truncate(self.path, length)
            else:
                self.path.unlink()

    def replace(self, entries: Sequence[Mapping[str, Any]]) -> None:
        """Put other entries in place of all; whoever reads sees the old ones or the new ones.

        Raises
        ------
        ArchiveLocked, ArchiveError
        """
        with self._alone():
            self._replace(entries)

    def _replace(self, entries: Sequence[Mapping[str, Any]]) -> None:
        replace_file(self.path, self._format.lines(entries)[0])

    def _content(self) -> bytes:
        try:
            with (
                open_content(self.path, "history") as content,
                storage_errors(self.path, "reading the history"),
            ):
                # To its end, wherever that is by now.
                return bytes(content.stream.readall() or b"")
        except RecordMissing:
            return b""

    def _write(self, data: bytes) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        new = not self.path.exists()
        descriptor = os.open(self.path, flags, 0o666)
        try:
            written = os.write(descriptor, data)
            while written < len(data):  # a nearly full disc may take a part
                written += os.write(descriptor, data[written:])
            if self._durable:
                os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if new and self._durable:
            sync_folder(self.path.parent)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        from filelock import FileLock, Timeout

        with storage_errors(self.path, "locking the history"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            lock = FileLock(self.path.with_name(self.path.name + ".lock"))
            try:
                lock.acquire(timeout=_WAIT_S)
            except Timeout as error:
                raise ArchiveLocked(
                    f"{self.path}: another run is adding to it", hint="Wait until it ends, or stop it."
                ) from error
        try:
            yield
        finally:
            if os.path.lexists(self.path):
                lock.release()
            else:  # nothing was begun: nothing is left of it
                free_lock(lock)


class MatingCounters:
    """How often something was attached at each port of a fixture since it was renewed.

    Parameters
    ----------
    path
        Its file; see `AppendedFile`. It is packed when it has grown.
    """

    _PACK_AT = 100

    def __init__(self, path: Path) -> None:
        self._file = AppendedFile(path, durable=False)

    @property
    def path(self) -> Path:
        """Its file."""
        return self._file.path

    def counts(self) -> dict[int, int]:
        """Return port -> matings; ports that were never used are missing.

        Raises
        ------
        RecordDamaged, RecordNewer, ArchiveError
        """
        return _summed(self._file.read())

    def add(self, ports: Sequence[int]) -> dict[int, int]:
        """Count one mating at each of `ports`; return the counts then.

        Raises
        ------
        RecordDamaged, ArchiveLocked, ArchiveError
        """
        self._file.append({"mated": sorted(ports)})
        return self._packed()

    def renew(self, ports: Sequence[int], *, at: str) -> dict[int, int]:
        """Begin anew at `ports`, whose contacts were renewed at that time; return the counts then.

        Raises
        ------
        RecordDamaged, ArchiveLocked, ArchiveError
        """
        self._file.append({"renewed": sorted(ports), "at": at})
        return self._packed()

    def renewals(self) -> dict[int, str]:
        """Return port -> when it was renewed last."""
        found: dict[int, str] = {}
        for entry in self._file.read():
            found.update({int(port): at for port, at in entry.get("renewals", {}).items()})
            found.update(dict.fromkeys(entry.get("renewed", ()), entry.get("at", "")))
        return found

    def _packed(self) -> dict[int, int]:
        entries = self._file.read()
        counts = _summed(entries)
        if len(entries) >= self._PACK_AT:
            with self._file._alone():  # noqa: SLF001 - of this module
                # Once more: another run may have added in between.
                counts = _summed(self._file.read())
                renewals = {str(port): at for port, at in self.renewals().items()}
                total = {"counts": {str(port): count for port, count in counts.items()}}
                self._file._replace([{**total, "renewals": renewals}])
        return counts


def _summed(entries: Sequence[Mapping[str, Any]]) -> dict[int, int]:
    counts: dict[int, int] = {}
    for entry in entries:
        for port, count in entry.get("counts", {}).items():
            counts[int(port)] = int(count)
        for port in entry.get("mated", ()):
            counts[port] = counts.get(port, 0) + 1
        for port in entry.get("renewed", ()):
            counts[port] = 0
    return dict(sorted(counts.items()))
