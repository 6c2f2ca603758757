"""Whether an index is what was written: all of it, not only what an answer would read."""

from __future__ import annotations

import json
import sqlite3
from contextlib import suppress

from benchsweep.archive.index._database import Spoiled
from benchsweep.archive.index._fill import check_rows, checked

__all__ = ["check_index"]

# A number of a file is one more than the last: no archive has so many.
_MOST_FILES = 1 << 53


def check_index(connection: sqlite3.Connection) -> None:
    """Check the pages, every row, and that the tables agree with each other.

    Raises
    ------
    Spoiled
    """
    # As of one moment: another process may write meanwhile.
    connection.execute("BEGIN")
    try:
        _check(connection)
    finally:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")


def _check(connection: sqlite3.Connection) -> None:
    # What stands in a table and in an index of SQLite is compared: names, hashes, what is the newest.
    if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
        raise Spoiled("it is damaged")
    check_rows(connection)
    _check_folders(connection)
    _check_outdated(connection)
    (last,) = connection.execute("SELECT max(seq) FROM sqlite_sequence").fetchone()
    if not 0 <= (last or 0) < _MOST_FILES:
        raise Spoiled("its files have no numbers")


def _check_folders(connection: sqlite3.Connection) -> None:
    """A folder that is in none would count as gone, and all in it."""
    folders = connection.execute("SELECT path, parent, mtime_ns FROM folders").fetchall()
    paths = {path for path, *_ in folders}
    for path, parent, mtime_ns in folders:
        above = path.rpartition("/")[0] if path else None
        # A store, whose folders have no time, has none that holds folders only.
        if parent != above or (mtime_ns and path and parent not in paths):
            raise Spoiled("its folders are not in each other")


def _check_outdated(connection: sqlite3.Connection) -> None:
    """A verdict is out of date since a correction of that record, or not at all."""
    at: dict[int, set[str]] = {}
    for row in connection.execute("SELECT file, name, subject, at_us, content, sum FROM notes"):
        _, _, subject, _, content = checked(row)
        at.setdefault(subject, {""}).add(json.loads(content)["at"])
    for subject, newest, outdated in connection.execute("SELECT subject, newest, outdated FROM verdicts"):
        if (newest == 2) != bool(outdated) or outdated not in at.get(subject, {""}):
            raise Spoiled("a verdict is out of date since nothing")
