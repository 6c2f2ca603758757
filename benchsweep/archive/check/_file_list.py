"""A list of all files of an archive, kept elsewhere: what is deleted or exchanged leaves no trace."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from benchsweep.archive._table import harmless, refuse_table, write_table
from benchsweep.archive.check._facts import FileFacts
from benchsweep.archive.check._finding import Finding
from benchsweep.archive.places import storage_errors
from benchsweep.errors import ArchiveError, DataFileError, UsageError

__all__ = [
    "FileList",
    "ListComparison",
    "ListedFile",
    "read_file_list",
    "refuse_file_list",
    "write_file_list",
]

_HINT = "Name a file that `benchsweep archive check --list` wrote, as it was written."
_DIGEST = re.compile(r"[0-9a-f]{64}")
_COUNT = re.compile(r"[0-9]{1,18}")


@dataclass(frozen=True, slots=True)
class ListedFile:
    """One line of the list.

    Parameters
    ----------
    kind
        ``record``, ``series``, ``comment`` …
    name
        Where it is below the archive, parts joined by ``/``.
    content_hash
        Names its content, as `show` prints it.
    bytes
        Its length.
    first_512_bytes_sha256
        See `FileFacts.first_block_sha256`: two sound files that share it are the same to the bit.
    """

    kind: str
    name: str
    content_hash: str
    bytes: int
    first_512_bytes_sha256: str

    @classmethod
    def of(cls, name: str, facts: FileFacts) -> ListedFile:
        """Return the line of a sound file."""
        return cls(facts.kind, name, facts.content_hash, facts.size, facts.first_block_sha256)


FileList = Mapping[str, ListedFile]
"""The lines by name; names as they stand in the file, made harmless for spreadsheets."""

_HEADINGS = [field.name for field in fields(ListedFile)]


def refuse_file_list(path: Path, *, replace: bool = False) -> None:
    """Find out before all files are read whether a list can be written there.

    Raises
    ------
    UsageError
        As `write_file_list`.
    """
    if path.suffix.lower() != ".csv":
        raise UsageError(f"{path}: a list of files is written as .csv", hint="Name a file that ends in .csv.")
    refuse_table(path, replace=replace)


def write_file_list(files: Iterable[ListedFile], path: Path, *, replace: bool = False) -> Path:
    """Write a list as CSV, by name, whole or not at all, and return the path.

    Raises
    ------
    UsageError
        The name does not end in ``.csv``; there is a file and `replace` does not allow to put another there.
    ArchiveLocked, ArchiveError
        The place cannot be written.
    """
    refuse_file_list(path, replace=replace)
    rows = [astuple(file) for file in sorted(files, key=lambda file: file.name)]
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(_HEADINGS)
    return write_table(dict(zip(_HEADINGS, columns, strict=True)), path, replace=replace)


def read_file_list(path: Path) -> FileList:
    """Read a list that `write_file_list` wrote.

    Raises
    ------
    DataFileError
        It cannot be read, is no such list, or one of its lines is not as it was written.
    """
    try:
        with storage_errors(path, "reading"):
            text = Path(path).read_bytes().decode("utf-8-sig")
    except (UnicodeDecodeError, ValueError) as error:
        raise DataFileError(f"{path}: is no list of files: no UTF-8 text", hint=_HINT) from error
    except ArchiveError as error:
        raise DataFileError(error.message, hint=_HINT) from error
    found: dict[str, ListedFile] = {}
    for number, listed in enumerate(_lines(path, text), start=2):
        if listed.name in found:
            raise _wrong(path, number, "has a name that came before")
        found[listed.name] = listed
    return found


def _lines(path: Path, text: str) -> Iterator[ListedFile]:
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        if next(rows, None) != _HEADINGS:
            raise DataFileError(
                f"{path}: is no list of files: its first line is not {','.join(_HEADINGS)}", hint=_HINT
            )
        for number, row in enumerate(rows, start=2):
            if len(row) != len(_HEADINGS):
                raise _wrong(path, number, f"has {len(row)} cells")
            kind, name, content_hash, size, first = row
            sound = (not content_hash or _DIGEST.fullmatch(content_hash)) and _DIGEST.fullmatch(first)
            if not (kind and name and sound and _COUNT.fullmatch(size)):
                raise _wrong(path, number, "is not as it was written")
            yield ListedFile(kind, name, content_hash, int(size), first)
    except csv.Error as error:
        raise DataFileError(f"{path}: is no list of files: {error}", hint=_HINT) from error


def _wrong(path: Path, number: int, why: str) -> DataFileError:
    return DataFileError(f"{path}: line {number} {why}", hint=_HINT)


class ListComparison:
    """Compares the files of an archive with an earlier list of them.

    Parameters
    ----------
    listed
        That list.

    Attributes
    ----------
    new : int
        How many sound files came since; one that only has another name now is not counted.
    """

    def __init__(self, listed: FileList) -> None:
        self._listed = listed
        self._left = dict(listed)
        self._unlisted: dict[str, str] = {}
        self.new = 0

    def add(self, source: str, file: ListedFile, earlier: Collection[str] = ()) -> Iterator[Finding]:
        """Add a sound file; yield what the list says else of it.

        Parameters
        ----------
        earlier
            Content hashes that it had before more was added to it, as is done to the history of a lot.
        """
        told = self._left.pop(harmless(file.name), None)
        if told is not None and told.kind == file.kind and told.content_hash in earlier:
            return
        if told is None:
            self._unlisted[file.first_512_bytes_sha256] = source
            self.new += 1
        elif told.content_hash != file.content_hash:
            found, listed = file.content_hash[:16], told.content_hash[:16]
            words = f"has the content hash {found}…, where the list has {listed}…"
            yield Finding("other-content", source, words)
        elif (told.kind, told.first_512_bytes_sha256) != (file.kind, file.first_512_bytes_sha256):
            yield Finding("other-content", source, "is not the file of the list, but has its content hash")

    def add_unread(self, name: str) -> None:
        """Add a file that is there but damaged, or of a later version: told already, and not missing."""
        self._left.pop(harmless(name), None)

    def missing(self, root: str) -> Iterator[Finding]:
        """Yield what is on the list and was not added; to be asked when all files are."""
        for name, told in self._left.items():
            elsewhere = self._unlisted.pop(told.first_512_bytes_sha256, None)
            if elsewhere is None:
                words = f"this {told.kind} is on the list and no longer in the archive"
            else:
                words = f"this {told.kind} is on the list under this name; now it is {elsewhere}"
                self.new -= 1
            yield Finding("missing", f"{root.rstrip('/')}/{name}", words)
