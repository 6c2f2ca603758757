"""The lists of a check of an archive: the one that it writes, the one that it compares with."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from benchsweep.archive.check import (
    Finding,
    ListComparison,
    ListedFile,
    read_file_list,
    refuse_file_list,
    write_file_list,
)
from benchsweep.qualification._check_pool import CheckedFile

__all__ = ["ComparedList", "Lists", "WrittenList", "list_document"]


@dataclass(frozen=True, slots=True)
class WrittenList:
    """A list of the files that were sound: where it is, how many are on it, and the SHA-256 of that file."""

    file: Path
    files: int
    sha256: str


@dataclass(frozen=True, slots=True)
class ComparedList:
    """An earlier list: how many files are on it, and how many sound ones came since."""

    file: Path
    files: int
    new: int


class Lists:
    """Keeps the line of each file for a list, and compares it with an earlier list.

    Parameters
    ----------
    list_to
        Where a list will be written.
    compare
        Where the earlier list is, which is read at once.
    overwrite
        `list_to` may take the place of a file.

    Attributes
    ----------
    names : sequence of str
        Of all files below the archive, in the order in which they are checked.

    Raises
    ------
    UsageError, DataFileError
        A list cannot be written there, or the earlier one cannot be read.
    """

    names: Sequence[str]

    def __init__(self, list_to: Path | None, compare: Path | None, *, overwrite: bool) -> None:
        if list_to is not None:
            refuse_file_list(list_to, replace=overwrite)
        self._list_to, self._compare, self._overwrite = list_to, compare, overwrite
        self._earlier = {} if compare is None else read_file_list(compare)
        self._comparison = ListComparison(self._earlier)
        self._files: list[ListedFile] = []

    def add(self, place: int, checked: CheckedFile) -> Iterator[Finding]:
        """Take the file of that place in, and yield what an earlier list says else of it."""
        name = self.names[place]
        if checked.facts is None:
            self._comparison.add_unread(name)
            return
        file = ListedFile.of(name, checked.facts)
        if self._list_to is not None:
            self._files.append(file)
        if self._compare is not None:
            yield from self._comparison.add(checked.source, file, checked.facts.earlier)

    def missing(self, root: str) -> Iterator[Finding]:
        """Yield what is on the earlier list and was not added."""
        yield from self._comparison.missing(root)

    def write(self) -> WrittenList | None:
        """Write the list, if one is wanted.

        Raises
        ------
        UsageError, ArchiveLocked, ArchiveError
            It cannot be written there.
        """
        if self._list_to is None:
            return None
        write_file_list(self._files, self._list_to, replace=self._overwrite)
        digest = hashlib.sha256(self._list_to.read_bytes()).hexdigest()
        return WrittenList(self._list_to, len(self._files), digest)

    def compared(self) -> ComparedList | None:
        """Return what came of the comparison, if one was wanted."""
        if self._compare is None:
            return None
        return ComparedList(self._compare, len(self._earlier), self._comparison.new)


def list_document(about: WrittenList | ComparedList | None) -> dict[str, Any] | None:
    """Return it for JSON."""
    return None if about is None else asdict(about) | {"file": str(about.file)}
