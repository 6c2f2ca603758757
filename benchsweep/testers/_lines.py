"""From the bytes of a file to rows of cells, each with its line; digest, encoding and damage on the way."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from benchsweep.errors import DataFileError
from benchsweep.testers._mapping import File

__all__ = ["MOST_CHARACTERS", "Bytes", "Row", "opened", "rows_of", "wrong"]

MOST_CHARACTERS = 1 << 20
"""Of a line; a line of every column there can be is shorter by far."""
MOST_LINES = 100
"""Of one row, whose cells in quotation marks may hold line ends."""
_BLOCK = 1 << 18

Row = tuple[int, list[str]]
"""The line in which it begins, counted from 1, and its cells."""


def wrong(name: str, why: str, *, line: int = 0, column: int = 0, hint: str = "") -> DataFileError:
    """Return the error that names file, line and column (both from 1; 0: none)."""
    place = f", line {line}" if line else ""
    place += f", column {column}" if column else ""
    return DataFileError(f"{name}{place}: {why}", hint=hint)


class Bytes:
    """A file's bytes, opened once: digest and encoding are of the same bytes that are read."""

    def __init__(self, name: str, stream: BinaryIO, wanted: str) -> None:
        self.name = name
        self._stream = stream
        self._text: io.TextIOWrapper | None = None
        self.digest, self.encoding, self.note = self._look(wanted)

    def _look(self, wanted: str) -> tuple[str, str, str]:
        """Return digest, encoding and what is to be said of it; memory does not grow with the file."""
        digest = hashlib.sha256()
        decoder = codecs.getincrementaldecoder("utf-8")()
        first, utf8 = b"", True
        while block := self._stream.read(_BLOCK):
            first = first or block[:4]
            digest.update(block)
            utf8 = utf8 and _decodes(decoder, block, final=False)
        utf8 = utf8 and _decodes(decoder, b"", final=True)
        return digest.hexdigest(), *_encoding(first, wanted, utf8=utf8)

    def text(self) -> io.TextIOWrapper:
        """Return the text from its beginning, line ends as they are."""
        self._stream.seek(0)
        self._text = io.TextIOWrapper(self._stream, encoding=self.encoding, newline="")
        return self._text

    def close(self) -> None:
        """Close the file; a text that is left to itself would warn of it."""
        (self._text or self._stream).close()


def _decodes(decoder: codecs.IncrementalDecoder, block: bytes, *, final: bool) -> bool:
    try:
        decoder.decode(block, final)
    except UnicodeDecodeError:
        return False
    return True


def _encoding(first: bytes, wanted: str, *, utf8: bool) -> tuple[str, str]:
    if wanted != "auto":
        return ("utf-8-sig" if wanted == "utf-8" else wanted), ""
    if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", "read as UTF-16, by its byte order mark"
    if utf8:
        return "utf-8-sig", ""
    return "cp1252", "read as Windows-1252: it is not UTF-8, and the mapping names no encoding"


@contextmanager
def opened(path: Path, content: bytes | None, wanted: str) -> Iterator[Bytes]:
    """Open the file, or `content` in its place; every failure of the drive is a `DataFileError`."""
    name = str(path)
    if content is None and not path.is_file():
        raise wrong(name, "no such file", hint="Check the path: a relative one begins in the working folder.")
    try:
        with path.open("rb") if content is None else io.BytesIO(content) as stream:
            found = Bytes(name, stream, wanted)
            try:
                yield found
            finally:
                found.close()
    except OSError as error:
        raise wrong(name, f"cannot be read: {error}") from error


class _Guard:
    """Gives line after line, and refuses what would make the reading of rows hang, swell or go astray."""

    def __init__(self, source: Bytes, delimiter: str) -> None:
        self._delimiter = delimiter
        self.number = 0
        self.row_from = 1
        self._name = source.name
        self._text = source.text()

    def lines(self) -> Iterator[str]:
        """Give the lines with their ends.

        Raises
        ------
        DataFileError
        """
        readline = self._text.readline
        while True:
            try:
                line = readline(MOST_CHARACTERS)
            except UnicodeError as error:
                raise wrong(
                    self._name,
                    f"is not in the encoding {self._text.encoding}: {error}",
                    line=self.number + 1,
                    hint="Say in the mapping's table [file] which encoding the tester writes.",
                ) from error
            if not line:
                return
            self.number += 1
            if "\0" in line or len(line) >= MOST_CHARACTERS or self.number - self.row_from >= MOST_LINES:
                raise self._refused(line)
            yield line

    def _refused(self, line: str) -> DataFileError:
        if "\0" in line:
            return wrong(
                self._name,
                "holds a NUL character",
                line=self.number,
                column=line.count(self._delimiter, 0, line.index("\0")) + 1,
                hint="The file is damaged or no text; UTF-16 without a byte order mark needs "
                'encoding = "utf-16-le" in the mapping.',
            )
        if len(line) >= MOST_CHARACTERS:
            return wrong(
                self._name,
                f"the line is longer than {MOST_CHARACTERS} characters",
                line=self.number,
                hint="No tester's table has such lines; is it the right file?",
            )
        return wrong(
            self._name,
            f"a quotation mark is not closed within {MOST_LINES} lines",
            line=self.row_from,
            hint='Look for a single " in that line.',
        )


def rows_of(source: Bytes, file: File) -> Iterator[Row]:
    """Give the rows that are not empty and no comment, each with its first line.

    Raises
    ------
    DataFileError
        Wrong encoding, NUL, too long a line, quotation marks that do not fit; with the line.
    """
    guard = _Guard(source, file.delimiter)
    lines = guard.lines()
    comment = tuple(file.comment)
    for _ in range(file.skip_lines):
        guard.row_from = guard.number + 1
        next(lines, None)
    guard.row_from = guard.number + 1
    reader = csv.reader(lines, delimiter=file.delimiter, strict=True, skipinitialspace=file.delimiter == " ")
    try:
        for row in reader:
            begins, guard.row_from = guard.row_from, guard.number + 1
            # A row without any text is a line that only holds delimiters.
            if row and (row[0] or any(row)) and not (comment and row[0].startswith(comment)):
                yield begins, row
    except csv.Error as error:
        raise wrong(
            source.name,
            f"cannot be cut into cells: {error}",
            line=guard.row_from,
            hint="Look at the quotation marks of that line, and at the mapping's delimiter.",
        ) from error
