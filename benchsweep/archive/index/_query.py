"""A selection as SQL, and rows as what was found."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

from benchsweep.archive.index._database import transaction
from benchsweep.archive.index._fill import checked
from benchsweep.archive.index._found import Found, Judged, JudgedParameter
from benchsweep.archive.index._schema import RECORD, VERDICT, index_of
from benchsweep.archive.index._selection import Selection, is_hash, moment_of, wished
from benchsweep.records import Outcome, Parameter, Specimen

__all__ = ["load", "matching", "names_of"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_AT_ONCE = 500
_DIGITS = 64
_WILD = "*?["
_OUTCOMES = {str(outcome): outcome for outcome in Outcome}
_PARAMETERS = {str(parameter): parameter for parameter in Parameter}


def matching(connection: sqlite3.Connection, wanted: Selection) -> list[int]:
    """Return the numbers of the files that fit, oldest first."""
    for parameter in wished(wanted.parameter):
        _prepare(connection, parameter)
    conditions, values = _conditions(wanted)
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    found = [
        row[0]
        for row in connection.execute(f"SELECT file FROM records{where} ORDER BY created_us, name", values)
    ]
    if not wanted.identifiers:
        return found
    named = {file for identifier in wanted.identifiers for file in _named(connection, identifier)}
    return [file for file in found if file in named]


def _prepare(connection: sqlite3.Connection, parameter: str) -> None:
    there = "SELECT count(*) FROM sqlite_master WHERE name = ?"
    name = f"verdicts_by_{parameter}"
    if parameter and not connection.execute(there, (name,)).fetchone()[0]:
        with transaction(connection):
            if not connection.execute(there, (name,)).fetchone()[0]:  # another process may have been faster
                connection.execute(index_of(parameter))


def _conditions(wanted: Selection) -> tuple[list[str], list[Any]]:
    conditions: list[str] = []
    values: list[Any] = []

    def add(condition: str, *more: Any) -> None:
        conditions.append(condition)
        values.extend(more)

    for column, patterns in _patterns(wanted):
        add(*_any_like(column, patterns))
    if wanted.since:
        add("created_us >= ?", _microseconds(moment_of(wanted.since, "since")))
    if wanted.until:
        add("created_us < ?", _microseconds(moment_of(wanted.until, "until", after=True)))
    if set(wanted.kinds) != {"record", "series"}:
        add(f"kind IN ({', '.join('?' * len(wanted.kinds))})", *wanted.kinds)
    if not wanted.withdrawn:
        add("withdrawn = 0")
    if not wanted.superseded:
        add("successor = 0")
    if wanted.graded:
        # The sign keeps SQLite from looking up each of what may be half the archive.
        conditions.append(f"+subject IN (SELECT subject FROM verdicts WHERE {_graded(wanted, values)})")
    return conditions, values


def _patterns(wanted: Selection) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield column and patterns, any of which will do; an empty one means what has nothing there."""
    for column in ("specimen", "origin"):
        if wish := getattr(wanted, column):
            yield column, wished(wish)
    for column in ("lot", "product", "station", "operator", "calibration", "kit"):
        if patterns := wished(getattr(wanted, column)):
            yield column, patterns


def _any_like(column: str, patterns: Iterable[str]) -> tuple[str, ...]:
    """Return the condition that one of the patterns fits, and the values in it."""
    conditions: list[str] = []
    values: list[str] = []
    for pattern in patterns:
        condition, *more = (
            _calibrated(pattern) if column == "calibration" and pattern else _like(column, pattern)
        )
        conditions.append(condition)
        values += more
    return _any(conditions), *values


def _any(conditions: Sequence[str]) -> str:
    return conditions[0] if len(conditions) == 1 else f"({' OR '.join(conditions)})"


def _calibrated(pattern: str) -> tuple[str, ...]:
    """Return the condition on the name of the calibration or of its file, and the values in it."""
    named, *values = _like("calibration", pattern)
    stored, *more = _like("calibration_file", pattern.removesuffix(".h5"))
    return f"({named} OR {stored})", *values, *more


def _graded(wanted: Selection, values: list[Any]) -> str:
    # In these words, so that SQLite sees that the small indexes will do.
    conditions = ["newest > 0"]
    outcomes = [outcome for outcome in wished(wanted.outcome) if outcome]
    if outcomes or wanted.margin_below_db is not None:
        # What a correction made out of date says nothing of the record any more.
        conditions.append("newest = 1")
    if wanted.requirement:
        condition, *more = _any_like("requirement", wished(wanted.requirement))
        conditions.append(condition)
        values.extend(more)
    told = []
    for parameter in wished(wanted.parameter) or ("",):
        condition, more = _judged_so(parameter, outcomes, wanted.margin_below_db)
        told.append(condition)
        values.extend(more)
    if told != [""]:
        conditions.append(_any(told))
    return " AND ".join(conditions)


def _judged_so(
    parameter: str, outcomes: Sequence[str], margin_below_db: float | None
) -> tuple[str, list[Any]]:
    """Return the condition on outcome and margin, of the whole or of one parameter, and the values in it."""
    outcome, margin = (f"o_{parameter}", f"m_{parameter}") if parameter else ("outcome", "margin_db")
    conditions = [f"{outcome} IS NOT NULL"] if parameter else []
    values: list[Any] = list(outcomes)
    if outcomes:
        conditions.append(_any([f"{outcome} = ?"] * len(outcomes)))
    if margin_below_db is not None:
        conditions.append(f"{margin} < ?")
        values.append(margin_below_db)
    words = " AND ".join(conditions)
    return (f"({words})" if len(conditions) > 1 else words), values


def _like(column: str, pattern: str) -> tuple[str, ...]:
    if not any(sign in pattern for sign in _WILD):
        return f"{column} = ?", pattern
    if pattern[0] in _WILD:
        column = f"+{column}"  # no index helps where the beginning is not known
    if "[" not in pattern:
        return f"({column} = ? OR {column} GLOB ?)", pattern, pattern
    # Sets of SQLite differ from those of a shell: it finds what begins alike, the rest is compared as a shell
    # does.
    begins = f"{re.split(r'[*?[]', pattern, maxsplit=1)[0]}*"
    return f"({column} = ? OR ({column} GLOB ? AND fits(?, {column})))", pattern, begins, pattern


def _microseconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _named(connection: sqlite3.Connection, identifier: str) -> list[int]:
    """Return the files that a content hash, its beginning, or a file name means."""
    found: list[int] = []
    if is_hash(identifier):
        low = bytes.fromhex(identifier.ljust(_DIGITS, "0"))
        high = bytes.fromhex(identifier.ljust(_DIGITS, "f"))
        query = (
            "SELECT file FROM records WHERE subject IN (SELECT id FROM subjects WHERE hash BETWEEN ? AND ?)"
        )
        found += [row[0] for row in connection.execute(query, (low, high))]
    for name in (identifier, f"{identifier}.h5"):
        for pattern in (name, f"*/{name}"):
            condition, *values = _like("name", pattern)
            found += [
                row[0] for row in connection.execute(f"SELECT file FROM records WHERE {condition}", values)
            ]
    return found


def names_of(connection: sqlite3.Connection, files: Sequence[int]) -> dict[int, str]:
    """Return file -> path within the archive; those that are gone meanwhile are missing."""
    found: dict[int, str] = {}
    for part in _parts(files):
        query = f"SELECT file, name FROM records WHERE file IN ({', '.join('?' * len(part))})"
        found.update(connection.execute(query, part).fetchall())
    return found


def _parts(items: Sequence[int]) -> Iterable[Sequence[int]]:
    return (items[start : start + _AT_ONCE] for start in range(0, len(items), _AT_ONCE))


def load(connection: sqlite3.Connection, base: str, files: Sequence[int]) -> list[Found]:
    """Return what was found, in the order of `files`; those that are gone meanwhile are missing.

    Parameters
    ----------
    base
        What stands before a path within the archive to make it one that can be read.

    Raises
    ------
    Spoiled
        A row does not match its checksum.
    """
    found: dict[int, Found] = {}
    for part in _parts(files):
        marks = ", ".join("?" * len(part))
        rows = connection.execute(f"SELECT {', '.join(RECORD)} FROM records WHERE file IN ({marks})", part)
        records = [dict(zip(RECORD, checked(row), strict=False)) for row in rows]
        numbers = {record[key] for record in records for key in ("subject", "reduced_from", "successor")}
        hashes = _hashes(connection, sorted(numbers - {0}))
        judged = _judged(connection, sorted({record["subject"] for record in records} - {0}))
        for record in records:
            found[record["file"]] = _found(record, base, hashes, judged.get(record["subject"], ()))
    return [found[file] for file in files if file in found]


def _hashes(connection: sqlite3.Connection, subjects: list[int]) -> dict[int, str]:
    hashes = {0: ""}
    for part in _parts(subjects):
        query = f"SELECT id, hash FROM subjects WHERE id IN ({', '.join('?' * len(part))})"
        hashes.update((key, value.hex()) for key, value in connection.execute(query, part))
    return hashes


def _judged(connection: sqlite3.Connection, subjects: list[int]) -> dict[int, tuple[Judged, ...]]:
    judged: dict[int, list[Judged]] = {}
    for part in _parts(subjects):
        query = (
            f"SELECT {', '.join((*VERDICT, 'outdated'))} FROM verdicts WHERE newest > 0"
            f" AND subject IN ({', '.join('?' * len(part))}) ORDER BY requirement"
        )
        for *row, outdated in connection.execute(query, part):
            verdict = dict(zip(VERDICT, checked(row), strict=False))
            judged.setdefault(verdict["subject"], []).append(_one_judged(verdict, outdated))
    return {subject: tuple(items) for subject, items in judged.items()}


def _one_judged(verdict: dict[str, Any], outdated: str) -> Judged:
    return Judged(
        requirement=verdict["requirement"],
        edition=verdict["edition"],
        decision_rule=verdict["rule"],
        outcome=_OUTCOMES[verdict["outcome"]],
        made_at=verdict["made_at"],
        outdated=outdated,
        worst_margin_db=verdict["margin_db"],
        worst_parameter=verdict["worst"],
        why=verdict["why"],
        parameters=MappingProxyType(
            {
                _PARAMETERS[name]: JudgedParameter(_OUTCOMES[outcome], margin)
                for name, (outcome, margin) in json.loads(verdict["parameters"]).items()
            }
        ),
    )


def _found(record: dict[str, Any], base: str, hashes: dict[int, str], judged: tuple[Judged, ...]) -> Found:
    specimen = Specimen(
        record["specimen"],
        record["length_m"],
        record["description"],
        lot=record["lot"],
        product=record["product"],
    )
    same = (
        "name kind created_at origin station operator calibration calibration_at calibration_file kit reason "
        "reduced_at points start_hz stop_hz ports hookups source_file size comments corrections"
    ).split()
    return Found(
        source=f"{base}{record['name']}",
        content_hash=hashes[record["subject"]],
        specimen=specimen,
        reduced_from=hashes[record["reduced_from"]],
        superseded_by=hashes[record["successor"]],
        withdrawn=bool(record["withdrawn"]),
        judged=judged,
        **{name: record[name] for name in same},
    )
