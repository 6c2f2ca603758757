"""The file of an index: where it is, how it is opened, what to do when it cannot be used."""

from __future__ import annotations

import fnmatch
import hashlib
import platform
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import platformdirs

from benchsweep.archive.index._schema import APPLICATION, FINGERPRINT, PARAMETERS, STATEMENTS, index_of
from benchsweep.errors import BenchsweepError

__all__ = [
    "Database",
    "Spoiled",
    "Unusable",
    "database_errors",
    "drop_until",
    "in_memory",
    "index_folder",
    "latest_number",
    "open_database",
    "transaction",
]

_WAIT_SECONDS = 5.0
"""How long another process may keep an index to itself before this once is done without it."""
# What SQLite says when its file is sound but the place is not: no room, no permission, a vanished drive,
# another process that keeps it to itself.
_PLACE = frozenset(
    {
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_NOLFS,
    }
)

# SQLite's own table for AUTOINCREMENT.
_SEQUENCE = "CREATE TABLE sqlite_sequence(name,seq)"


class Spoiled(Exception):
    """The index is damaged, foreign, or of another layout: a new one will do."""


class Unusable(Exception):
    """No index can be kept there now: no permission, no room, another process does not let go of it."""


@dataclass(frozen=True, slots=True)
class Database:
    """An open index.

    Attributes
    ----------
    connection : sqlite3.Connection
    path : Path or None
        Its file; None when it is kept in memory.
    """

    connection: sqlite3.Connection
    path: Path | None


@contextmanager
def database_errors() -> Iterator[None]:
    """Sort what SQLite raises, and whatever else comes of what a damaged index tells.

    A flipped byte makes a text that is not UTF-8, a number out of all bounds, a word that there is no such
    outcome of: many kinds of exceptions, none of which says anything of the archive.

    Raises
    ------
    Spoiled, Unusable
    BenchsweepError, OSError
        As they are: they are about the archive.
    """
    try:
        yield
    except sqlite3.Error as error:
        # The low byte is the kind of error, what is above it says more.
        code = getattr(error, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in _PLACE:
            raise Unusable(str(error)) from error
        raise Spoiled(str(error)) from error
    except (BenchsweepError, OSError, Spoiled, Unusable):
        raise
    except Exception as error:
        raise Spoiled(f"{type(error).__name__}: {error}") from error


def index_folder() -> Path:
    """Return where this person's indexes are: never in an archive, whose drive may not know locks."""
    return Path(platformdirs.user_cache_dir("benchsweep", appauthor=False)) / "index"


def _stem(archive: str) -> str:
    # A home folder may be shared by machines, and locks of SQLite do not reach from one to another.
    machine = re.sub(r"[^A-Za-z0-9]+", "-", platform.node())[:40] or "here"
    digest = hashlib.sha256(archive.encode("utf-8", "surrogatepass")).hexdigest()[:24]
    return f"{machine}-{digest}-{FINGERPRINT:08x}"


def _generations(archive: str) -> dict[int, Path]:
    """Return number -> file of the indexes that there are of `archive`; usually one."""
    found = {}
    stem = _stem(archive)
    with suppress(OSError):
        for path in index_folder().glob(f"{stem}-*.sqlite"):
            number = path.stem.rpartition("-")[2]
            if re.fullmatch(r"[0-9]{1,9}", number):
                found[int(number)] = path
    return found


def latest_number(archive: str) -> int:
    """Return the number of the index of `archive` that counts, 1 when there is none.

    A file that is in use is never replaced or made anew under its name: SQLite would join the journal of the
    old one with the new. A new one gets the next number instead, and the highest number counts.
    """
    return max(_generations(archive), default=1)


def open_database(archive: str, number: int) -> Database:
    """Open the index of that number, empty where there is none.

    Parameters
    ----------
    archive
        A resolved path or an address.

    Raises
    ------
    Spoiled, Unusable
    """
    folder = index_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise Unusable(f"{folder}: {error.strerror or error}") from error
    path = folder / f"{_stem(archive)}-{number}.sqlite"
    with database_errors():
        connection = sqlite3.connect(
            path, timeout=_WAIT_SECONDS, isolation_level=None, check_same_thread=False
        )
        try:
            _prepare(connection, archive)
        except BaseException:
            connection.close()
            raise
    return Database(connection, path)


def in_memory(archive: str) -> Database:
    """Return an index that nothing is kept of."""
    connection = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    _prepare(connection, archive)
    return Database(connection, None)


def drop_until(archive: str, number: int) -> None:
    """Drop the indexes of `archive` up to that number, as far as that is possible now."""
    for found, path in _generations(archive).items():
        if found <= number:
            for name in (path, path.with_name(path.name + "-journal")):
                # Whoever still has it open goes on with it, or on Windows keeps it.
                with suppress(OSError):
                    name.unlink()


def _prepare(connection: sqlite3.Connection, archive: str) -> None:
    """Make the tables when the file is empty; refuse any other that is not of this layout."""
    for pragma in (
        "synchronous = NORMAL",
        "cell_size_check = ON",
        "trusted_schema = OFF",
        "temp_store = MEMORY",
    ):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("PRAGMA cache_size = -65536")
    connection.create_function("fits", 2, _fits, deterministic=True)
    if not _is_ours(connection, archive):
        with transaction(connection):
            if not _is_ours(connection, archive):  # another process may have been faster
                for statement in STATEMENTS:
                    connection.execute(statement)
                connection.execute("INSERT INTO state VALUES (0, ?, ?)", (time.time(), archive))
                connection.execute(f"PRAGMA application_id = {APPLICATION}")
                connection.execute(f"PRAGMA user_version = {FINGERPRINT}")


@lru_cache(maxsize=64)
def _pattern(pattern: str) -> re.Pattern[str]:
    return re.compile(fnmatch.translate(pattern))


def _fits(pattern: str, text: str) -> bool:
    """Tell whether a text fits a shell pattern; SQLite calls it ``fits``."""
    return _pattern(pattern).match(text) is not None


def _is_ours(connection: sqlite3.Connection, archive: str) -> bool:
    """Tell an index from an empty file.

    Raises
    ------
    Spoiled
        It is neither.
    """
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    if (version, application) == (0, 0):
        if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
            return False
        raise Spoiled("a database of something else")
    if (version, application) != (FINGERPRINT, APPLICATION):
        raise Spoiled("an index of another layout")
    if connection.execute("SELECT root FROM state").fetchone() != (archive,):
        raise Spoiled("the index of another archive")
    said = {row[0] for row in connection.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")}
    if not set(STATEMENTS) <= said - {_SEQUENCE} <= {*STATEMENTS, *map(index_of, PARAMETERS)}:
        raise Spoiled("its tables are not those that were made")
    return True


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Write all or nothing, also when the process is killed."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        # After some errors SQLite has rolled back by itself.
        if connection.in_transaction:
            with suppress(sqlite3.Error):
                connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")
