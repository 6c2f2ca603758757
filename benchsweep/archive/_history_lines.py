from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from benchsweep.errors import RecordDamaged, RecordNewer

__all__ = ["HISTORY_SUFFIX", "History", "HistoryFormat", "history_name"]

_SHORT = 16
HISTORY_SUFFIX = ".txt"
"""What the names of files of histories end in."""
_LONGEST_STEM = 60
_NAME_DIGITS = 16


def history_name(name: str) -> str:
    """Return the name of the file of a history of that name, any text, which no other name has.

    What no file system refuses of it, then 16 digits of its SHA-256.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", plain)
    stem = re.sub(r"\.{2,}", ".", stem).strip("-._")[:_LONGEST_STEM].rstrip("-._")
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:_NAME_DIGITS]
    return f"{stem or 'unnamed'}-{digest}{HISTORY_SUFFIX}"


@dataclass(frozen=True, slots=True)
class History:
    """What stands in a file of entries.

    Parameters
    ----------
    entries
        Oldest first.
    digests
        The checksum of each line; where lines are chained the last one names the whole history.
    length
        How many bytes of it are whole lines; what follows is a line that was not finished.
    version
        Of the format, as its first line says; 0 without that line.
    """

    entries: tuple[dict[str, Any], ...] = ()
    digests: tuple[str, ...] = ()
    length: int = 0
    version: int = 0


@dataclass(frozen=True, slots=True)
class HistoryFormat:
    r"""How entries stand in a file: ``benchsweep-<kind>/<version>``, then serial numbers, checksums, JSON.

    Parameters
    ----------
    kind
        What the first line says.
    chained
        The checksum of a line is SHA-256 over the checksum of the line before (in the first line over that of
        ``benchsweep-<kind>/<version>``), the serial number and the JSON, parted by blanks: no line can be
        exchanged without all later ones changing. Otherwise it is over number and JSON, 16 digits of it.
    version
        In which files are begun; all before it are read, and added to in their own version.
    """

    kind: str = "history"
    chained: bool = False
    version: int = 1

    def head(self, version: int) -> bytes:
        """Return the first line."""
        return f"benchsweep-{self.kind}/{version}\n".encode()

    def lines(
        self, entries: Iterable[Mapping[str, Any]], after: History | None = None
    ) -> tuple[bytes, History]:
        """Return the lines of entries that follow others, and all of them then.

        Where none does, the first line of the file is put in front.
        """
        after = after or History()
        version = after.version or self.version
        found = b"" if after.length else self.head(version)
        before = after.digests[-1].encode() if after.digests else self._first(version)
        all_entries, digests = list(after.entries), list(after.digests)
        for number, entry in enumerate(entries, start=len(after.entries) + 1):
            content = json.dumps(entry, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
            before = self._digest(before, number, content)
            found += b"%d %s %s\n" % (number, before, content)
            all_entries.append(dict(entry))
            digests.append(before.decode())
        return found, History(tuple(all_entries), tuple(digests), after.length + len(found), version)

    def parse(self, content: bytes, source: Path | str, *, skip: bytes = b"") -> History:
        """Return what stands in a file; an unfinished last line counts as not written.

        Parameters
        ----------
        skip
            Of lines that hold these bytes only the checksum is compared; their entries are empty.

        Raises
        ------
        RecordDamaged
            A line was changed, lost or exchanged; the message names it.
        RecordNewer
            Written by a later version of the format.
        """
        *lines, rest = content.split(b"\n")
        if not lines:
            # Cut short in its first line, if it is of ours.
            heads = [self.head(version) for version in range(1, self.version + 1)]
            if not any(head.startswith(rest) for head in heads):
                _damaged(source, 1, f"it is no {self.kind} of ours")
            return History()
        version = self._version_in(lines[0], source)
        entries: list[dict[str, Any]] = []
        digests = [self._first(version)]
        for number, line in enumerate(lines[1:], start=1):
            entries.append(self._entry(number, line, digests[-1], source, skip))
            digests.append(line.split(b" ", 2)[1])
        if self.chained and self._whole(len(entries) + 1, rest[:-1], digests[-1]):
            _damaged(source, len(lines) + 1, "its end was changed")
        told = tuple(digest.decode() for digest in digests[1:])
        return History(tuple(entries), told, len(content) - len(rest), version)

    def _version_in(self, line: bytes, source: Path | str) -> int:
        word, _, version = line.decode("utf-8", "replace").rpartition("/")
        if word != f"benchsweep-{self.kind}" or not version.isdecimal() or int(version) < 1:
            _damaged(source, 1, f"it is no {self.kind} of ours")
        if int(version) > self.version:
            raise RecordNewer(
                f"{source}: written in version {version} of the format, known is {self.version}",
                hint="Update benchsweep.",
            )
        return int(version)

    def _entry(
        self, number: int, line: bytes, before: bytes, source: Path | str, skip: bytes
    ) -> dict[str, Any]:
        if not self._whole(number, line, before):
            _damaged(source, number + 1, "its checksum or its number does not match")
        if skip and skip in line:
            return {}
        try:
            entry = json.loads(line.split(b" ", 2)[2], object_pairs_hook=_once, parse_constant=_no_number)
        except (ValueError, RecursionError):
            entry = None
        if not isinstance(entry, dict):
            _damaged(source, number + 1, "it holds no entry")
        return entry

    def _whole(self, number: int, line: bytes, before: bytes) -> bool:
        """Tell whether a line is the entry of that number after the line with that checksum."""
        parts = line.split(b" ", 2)
        return (
            len(parts) == 3
            and parts[0] == b"%d" % number
            and parts[1] == self._digest(before, number, parts[2])
        )

    def _digest(self, before: bytes, number: int, content: bytes) -> bytes:
        if self.chained:
            return hashlib.sha256(b"%s %d %s" % (before, number, content)).hexdigest().encode()
        return hashlib.sha256(b"%d %s" % (number, content)).hexdigest()[:_SHORT].encode()

    def _first(self, version: int) -> bytes:
        return hashlib.sha256(self.head(version).rstrip()).hexdigest().encode()


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands there twice")
    return found


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def _damaged(source: Path | str, line: int, why: str) -> NoReturn:
    raise RecordDamaged(
        f"{source}: line {line}: {why}",
        hint="Restore the file from a copy, or move it away to begin a new history; nothing was added.",
    )
