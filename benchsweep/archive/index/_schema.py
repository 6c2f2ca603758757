"""The tables of an index."""

from __future__ import annotations

import zlib

from benchsweep.archive.format import VERSION
from benchsweep.records import Parameter

__all__ = ["APPLICATION", "ASKED", "FINGERPRINT", "PARAMETERS", "RECORD", "STATEMENTS", "VERDICT", "index_of"]

_NUMBER = 3
"""Number of this layout; raise it with every change of what is kept, or of what is read out of the files."""
APPLICATION = 0x62736978
"""What stands in the header of every index, so that no database of another program is taken for one."""

PARAMETERS = tuple(str(parameter) for parameter in Parameter)

RECORD = (
    "file",
    "name",
    "kind",
    "subject",
    "created_us",
    "created_at",
    "reduced_us",
    "reduced_at",
    "origin",
    "station",
    "operator",
    "specimen",
    "length_m",
    "description",
    "lot",
    "product",
    "calibration",
    "calibration_at",
    "calibration_file",
    "kit",
    "reduced_from",
    "reason",
    "points",
    "start_hz",
    "stop_hz",
    "ports",
    "hookups",
    "source_file",
    "size",
    "noted",
    "withdrawn",
    "successor",
    "comments",
    "corrections",
    "sum",
)
"""Columns of a record or series. `noted` is what the file says of all that can be corrected, as JSON;
`calibration_file` the name, without its ending, of the file in which that calibration was stored."""

VERDICT = (
    "file",
    "ordinal",
    "subject",
    "requirement",
    "edition",
    "rule",
    "outcome",
    "made_us",
    "made_at",
    "margin_db",
    "worst",
    "why",
    "parameters",
    "sum",
)
"""Columns of a verdict that are told; `parameters` is name -> outcome, worst margin, as JSON."""

ASKED = (*(f"o_{name}" for name in PARAMETERS), *(f"m_{name}" for name in PARAMETERS))
"""Columns of a verdict that are asked about: the same, outcomes then margins."""

_TYPES = {
    "file": "INTEGER PRIMARY KEY",
    **dict.fromkeys(
        (
            "subject",
            "created_us",
            "reduced_us",
            "reduced_from",
            "points",
            "ports",
            "hookups",
            "size",
            "withdrawn",
            "successor",
            "comments",
            "corrections",
            "sum",
            "made_us",
            "ordinal",
        ),
        "INTEGER NOT NULL",
    ),
    **dict.fromkeys(("length_m", "start_hz", "stop_hz", "margin_db"), "REAL"),
    **{f"o_{name}": "TEXT" for name in PARAMETERS},
    **{f"m_{name}": "REAL" for name in PARAMETERS},
}


def _columns(names: tuple[str, ...]) -> str:
    return ", ".join(f"{name} {_TYPES.get(name, 'TEXT NOT NULL')}" for name in names)


STATEMENTS = (
    # How often something was written: who finds another number than expected was not alone.
    "CREATE TABLE state (writes INTEGER NOT NULL, checked_at REAL NOT NULL, root TEXT NOT NULL)",
    # `seen_at`: when this time of change was seen first; `settled`: what was listed then can be relied on.
    "CREATE TABLE folders (path TEXT PRIMARY KEY, parent TEXT, mtime_ns INTEGER NOT NULL,"
    " inode INTEGER NOT NULL, seen_at REAL NOT NULL, settled INTEGER NOT NULL) WITHOUT ROWID",
    # Never the same number twice: who remembers one that is gone must not find another file.
    "CREATE TABLE files (id INTEGER PRIMARY KEY AUTOINCREMENT, folder TEXT NOT NULL, name TEXT NOT NULL,"
    " size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, problem TEXT NOT NULL, passing INTEGER NOT NULL,"
    " UNIQUE (folder, name))",
    "CREATE INDEX troubled ON files (folder, name) WHERE problem <> ''",
    # Every content hash that is mentioned anywhere.
    "CREATE TABLE subjects (id INTEGER PRIMARY KEY, hash BLOB NOT NULL UNIQUE)",
    f"CREATE TABLE records ({_columns(RECORD)})",
    # Holds all that is asked about, in the order in which it is told: no question reads the wide rows.
    "CREATE INDEX by_time ON records (created_us, name, withdrawn, successor, kind, subject, specimen, lot,"
    " operator, station, calibration, calibration_file, kit, origin)",
    "CREATE INDEX by_subject ON records (subject)",
    "CREATE INDEX by_specimen ON records (specimen)",
    "CREATE INDEX by_lot ON records (lot)",
    "CREATE INDEX by_origin ON records (reduced_from) WHERE reduced_from <> 0",
    "CREATE TABLE notes (file INTEGER PRIMARY KEY, name TEXT NOT NULL, subject INTEGER NOT NULL,"
    " at_us INTEGER NOT NULL, content TEXT NOT NULL, sum INTEGER NOT NULL)",
    "CREATE INDEX notes_by_subject ON notes (subject)",
    # `newest`: 1 of the last made by a requirement, 2 where a correction made it out of date, named there.
    f"CREATE TABLE verdicts (id INTEGER PRIMARY KEY, newest INTEGER NOT NULL, outdated TEXT NOT NULL,"
    f" name TEXT NOT NULL,"
    f" {_columns((*VERDICT, *ASKED)).replace('INTEGER PRIMARY KEY', 'INTEGER NOT NULL')})",
    "CREATE INDEX verdicts_by_subject ON verdicts (subject, requirement, made_us)",
    "CREATE INDEX verdicts_by_file ON verdicts (file)",
    "CREATE INDEX verdicts_by_outcome ON verdicts (outcome, requirement, margin_db, subject, newest)"
    " WHERE newest > 0",
)


def index_of(parameter: str) -> str:
    """Return the statement that makes questions about one parameter quick.

    It is run when the first is asked: most archives are asked about two or three of all parameters.
    """
    columns = f"m_{parameter}, requirement, o_{parameter}, subject, newest"
    where = f"newest > 0 AND o_{parameter} IS NOT NULL"
    return f"CREATE INDEX verdicts_by_{parameter} ON verdicts ({columns}) WHERE {where}"


# A later program may read more out of the same files, and other parameters are other columns.
FINGERPRINT = zlib.crc32(repr((_NUMBER, VERSION, STATEMENTS)).encode()) & 0x7FFFFFFF
"""Tells layouts apart; stands in the header of an index and in its name."""
