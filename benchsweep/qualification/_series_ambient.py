"""Ambient readings at the time of a sweep: typed in, or from a CSV file that another program is writing."""

from __future__ import annotations

import csv
import io
import math
import re
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from benchsweep.errors import UsageError
from benchsweep.records import SeriesEvent

__all__ = ["AmbientFile", "AmbientSource", "Readings", "TypedAmbient", "parse_ambient"]

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_./%-]{0,59}")
_TAIL = 1 << 16
_HEADER = 1 << 14
_AHEAD_S = 60.0  # clocks of two computers differ
_OLDEST_EPOCH_S = 1e9  # September 2001: a smaller number counts from some start of its own


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read for one sweep, and what there is to say about it."""

    values: Mapping[str, float] = field(default_factory=dict)
    events: tuple[SeriesEvent, ...] = ()


class AmbientSource(Protocol):
    """Where ambient readings come from."""

    def read(self, now: datetime) -> Readings:
        """Return the readings that hold at `now`; never raises."""


def parse_ambient(texts: Sequence[str]) -> dict[str, float]:
    """Read ``name=value`` of ambient quantities typed in, for example ``temperature_degc=21.5``.

    Raises
    ------
    UsageError
    """
    found: dict[str, float] = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not equals or not _NAME.fullmatch(name) or not math.isfinite(number):
            raise UsageError(
                f"ambient reading {text[:60]!r}: not a name and a number",
                hint="Write for example --ambient temperature_degc=21.5.",
            )
        if name in found:
            raise UsageError(f"ambient reading {name}: given twice", hint="Give each quantity once.")
        found[name] = number
    return found


@dataclass(frozen=True, slots=True)
class TypedAmbient:
    """Readings that a person typed in: the same for every sweep."""

    values: Mapping[str, float]

    def read(self, now: datetime) -> Readings:
        """Return what was typed in."""
        return Readings(dict(self.values))


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of the file: its time (None when it counts from a start of its own), and its numbers."""

    at: datetime | None
    values: Mapping[str, float]
    wrong: tuple[str, ...] = ()


class AmbientFile:
    """The newest complete line of a CSV file that another program is writing.

    The first line names the columns; the first column is the time: ISO 8601 (without an offset: the time of
    this computer) or seconds, since 1970 or since a start of its own; then the age of a line is that of the
    file. Columns are parted by commas, semicolons or tabs; with the last two a decimal comma is read too.
    A line counts when its line feed is there.
    A line older than `stale_s` counts no more, nor does one of a time to come: a wrong temperature is worse
    than none. Where the newest line is none at all, the last one that is one counts.
    Whatever is wrong is an event when it begins, changes and ends.

    Parameters
    ----------
    path
        The file; looked up anew for every sweep, so that it may be replaced or come later.
    stale_s
        Longest age of a line.
    typed
        Readings for quantities that the file does not have.
    """

    def __init__(self, path: Path, *, stale_s: float, typed: Mapping[str, float] | None = None) -> None:
        self._path = path
        self._stale_s = stale_s
        self._typed = dict(typed or {})
        self._trouble: tuple[str, ...] = ()

    def check(self) -> None:
        """Refuse at the start what can never give readings, or gives one quantity twice; may not exist yet.

        Raises
        ------
        UsageError
        """
        path = self._path
        if path.exists() and not path.is_file():
            what = "is a folder" if path.is_dir() else "is no ordinary file"
            raise UsageError(f"{path}: {what}, no CSV file", hint="Name the file after --ambient-csv.")
        if not path.parent.is_dir():
            raise UsageError(
                f"{path}: there is no folder {path.parent}",
                hint="The file may come later, its folder has to be there.",
            )
        try:
            columns = _columns(_ends(path)[0])
        except (OSError, ValueError):
            return
        twice = [
            name for name in (() if isinstance(columns, str) else columns.names[1:]) if name in self._typed
        ]
        if twice:
            raise UsageError(
                f"{twice[0]}: typed in with --ambient, and a column of {path} too",
                hint="Leave one of them out.",
            )

    def read(self, now: datetime) -> Readings:
        """Return the readings at `now`, with an event when something went wrong, changed or came right."""
        line, trouble = self._newest(now)
        told = []
        # The age changes with every sweep and is no news.
        kinds = tuple(words.split(":")[0] for words in trouble)
        if kinds != self._trouble:
            told.append("; ".join(trouble) or "ambient readings are there again")
        names = () if line is None else line.values
        twice = [name for name in names if self._typed.pop(name, None) is not None]
        if twice:  # what the file measures is never what was typed in
            told.append(f"the file has {', '.join(twice)} too: what was typed in counts no more")
        at = now.isoformat(timespec="milliseconds")
        events = tuple(SeriesEvent(at, "ambient", f"{words} ({self._path})") for words in told)
        self._trouble = kinds
        found = {} if line is None else dict(line.values)
        return Readings(self._typed | found, events)

    def _newest(self, now: datetime) -> tuple[_Line | None, tuple[str, ...]]:
        """Return the line that counts, and in words what is wrong: before a colon what, after it details."""
        try:
            written = self._path.stat()
            if not stat.S_ISREG(written.st_mode):  # opening a pipe would wait for ever
                return None, ("no ambient readings because this is not a file",)
            header, tail = _ends(self._path)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or type(error).__name__
            return None, (f"no ambient readings ({reason})",)
        columns = _columns(header)
        if isinstance(columns, str):
            return None, (f"no ambient readings because {columns}",)
        found: list[str] = []
        for text in reversed(tail):
            line = columns.line(text)
            if isinstance(line, str):
                found = found or [f"the newest line of the ambient readings is left out because {line}"]
                continue
            stamp = line.at or datetime.fromtimestamp(written.st_mtime, UTC)
            wrong = self._untimely((now - stamp).total_seconds())
            if wrong:
                return None, (*found, wrong)
            return line, (*found, *line.wrong)
        return None, (*found, "no ambient readings because no line can be read")

    def _untimely(self, age_s: float) -> str:
        if age_s > self._stale_s:
            return f"ambient readings are stale: the newest line is {age_s:.0f} s old"
        if age_s < -_AHEAD_S:
            return (
                "ambient readings are of a time to come, so they do not count; check clock and time zone of "
                f"whoever writes them: the newest line is {-age_s:.0f} s ahead"
            )
        return ""


def _ends(path: Path) -> tuple[str, list[str]]:
    """Return the header line and the complete lines of the last part of the file, without the header."""
    with path.open("rb") as stream:
        head = stream.read(_HEADER)
        size = stream.seek(0, io.SEEK_END)
        start = max(size - _TAIL, 0)
        stream.seek(start)
        tail = stream.read(_TAIL)
    first = head.find(b"\n") + 1
    if not first:
        return "", []
    # What the last line feed follows may be half a line; so may be what stands before the first one.
    complete = tail[max(first - start, 0) : tail.rfind(b"\n") + 1].split(b"\n")
    if start > first:
        complete = complete[1:]
    lines = [part.decode("utf-8", errors="replace").strip() for part in complete]
    return head[:first].decode("utf-8-sig", errors="replace").strip(), [line for line in lines if line]


@dataclass(frozen=True, slots=True)
class _Columns:
    """The header: how columns are parted, and their names."""

    separator: str
    names: tuple[str, ...]

    def line(self, text: str) -> _Line | str:
        """Read a line; where it is none, say why: wrong number of columns, no time, no number in it."""
        cells = _cells(text, self.separator)
        if len(cells) != len(self.names):
            return (
                f"it has not the columns of the header: {len(cells)} where there should be {len(self.names)}"
            )
        try:
            at = _time(cells[0], self.separator)
        except (ValueError, OverflowError):
            return f"its time is none: {cells[0][:30]!r}"
        values, wrong = {}, []
        for name, cell in zip(self.names[1:], cells[1:], strict=True):
            try:
                number = _number(cell, self.separator)
            except ValueError:
                number = math.nan
            if math.isfinite(number):
                values[name] = number
            else:
                wrong.append(f"no reading of {name}, which is no number: {cell[:30]!r}")
        return _Line(at, values, tuple(wrong)) if values else "no value in it is a number"


def _columns(header: str) -> _Columns | str:
    """Read the header line; where it is none, say why."""
    if not header:
        return "the file has no complete header line yet"
    separator = max(";\t,", key=header.count)
    names = tuple(_cells(header, separator))
    if len(names) < 2 or not all(names):
        return "the header line does not name a time and at least one quantity"
    if any(_is_number(name, separator) for name in names[1:]):
        return "the first line holds numbers where the names of the columns should stand"
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        return f"the header line names {twice} more than once"
    return _Columns(separator, names)


def _is_number(cell: str, separator: str) -> bool:
    try:
        _number(cell, separator)
    except ValueError:
        return False
    return True


def _cells(text: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([text], delimiter=separator), [])]
    except csv.Error:
        return []


def _number(cell: str, separator: str) -> float:
    return float(cell if separator == "," else cell.replace(",", "."))


def _time(cell: str, separator: str) -> datetime | None:
    try:
        seconds = _number(cell, separator)
    except ValueError:
        return datetime.fromisoformat(cell).astimezone(UTC)
    if not math.isfinite(seconds):
        raise ValueError(f"no time: {cell}")
    return None if seconds < _OLDEST_EPOCH_S else datetime.fromtimestamp(seconds, UTC)
