"""Put what was read of files into the index, and draw the conclusions."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from benchsweep.archive._head import Head
from benchsweep.archive.index._database import Spoiled
from benchsweep.archive.index._read import Content, GradedRecord, Problem, calibration_file, microseconds
from benchsweep.archive.index._scan import FileState
from benchsweep.archive.index._schema import ASKED, PARAMETERS, RECORD, VERDICT
from benchsweep.records import Comment, Correction, Note, corrections_in_force

__all__ = ["Filler", "check_rows", "checked", "sum_of"]

_RECORD = f"INSERT INTO records VALUES ({', '.join('?' * len(RECORD))})"
_VERDICT = f"INSERT INTO verdicts VALUES (NULL, 0, '', ?, {', '.join('?' * len((*VERDICT, *ASKED)))})"
_ADJUSTED = ("operator", "specimen", "length_m", "description", "lot", "product")
_CONCLUDED = (*_ADJUSTED, "withdrawn", "successor", "comments", "corrections", "sum")
_UPDATE = f"UPDATE records SET {', '.join(f'{name} = ?' for name in _CONCLUDED)} WHERE file = ?"
_KEPT = ("record", "series")


def sum_of(values: Sequence[Any]) -> int:
    """Return a checksum of a row, so that a flipped byte of the index is not told to a person."""
    return zlib.crc32(repr(tuple(values)).encode("utf-8", "surrogatepass"))


def checked(row: Sequence[Any]) -> Sequence[Any]:
    """Return `row` without its checksum, which is the last.

    Raises
    ------
    Spoiled
        It does not match.
    """
    if sum_of(row[:-1]) != row[-1]:
        raise Spoiled("a row does not match its checksum")
    return row[:-1]


def _json(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))


def asked_of(outcomes: Mapping[str, str], margins: Mapping[str, float | None]) -> tuple[Any, ...]:
    """Return the columns `ASKED` of a verdict."""
    return (*map(outcomes.get, PARAMETERS), *map(margins.get, PARAMETERS))


def check_rows(connection: sqlite3.Connection) -> None:
    """Check all rows, and what is asked about against what is told.

    Raises
    ------
    Spoiled
    """
    for row in connection.execute(f"SELECT {', '.join(RECORD)} FROM records"):
        checked(row)
    for row in connection.execute(f"SELECT {', '.join((*ASKED, *VERDICT))} FROM verdicts"):
        asked, told = row[: len(ASKED)], dict(zip(VERDICT, checked(row[len(ASKED) :]), strict=False))
        items = json.loads(told["parameters"]).items()
        outcomes, margins = ({name: item[place] for name, item in items} for place in (0, 1))
        if asked != asked_of(outcomes, margins):
            raise Spoiled("a verdict is not filed as what it is")


class Filler:
    """Changes the index within one transaction; `conclude` at its end makes it whole.

    Parameters
    ----------
    connection
        In a transaction.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.touched: set[int] = set()

    def put(self, folder: str, name: str, state: FileState, content: Content) -> None:
        """Put a file in, in place of what was known of it."""
        try:
            self._put(folder, name, state, content)
        except UnicodeEncodeError:
            self._put(folder, name, state, Problem("holds text that is not UTF-8", passing=False))

    def _put(self, folder: str, name: str, state: FileState, content: Content) -> None:
        query = "SELECT id, size, mtime_ns FROM files WHERE folder = ? AND name = ?"
        known = self.connection.execute(query + " AND problem = ''", (folder, name)).fetchone()
        if known is not None and FileState(*known[1:]) == state:
            # Another process has read it meanwhile. Whoever has its number already can go on with it.
            return
        self.drop(row[0] for row in self.connection.execute(query, (folder, name)).fetchall())
        problem = content if isinstance(content, Problem) else Problem("", passing=False)
        row = (folder, name, state.size, state.mtime_ns, problem.reason, int(problem.passing))
        file = self.connection.execute("INSERT INTO files VALUES (NULL, ?, ?, ?, ?, ?, ?)", row).lastrowid
        within = f"{folder}/{name}" if folder else name
        if isinstance(content, Head):
            if content.kind in _KEPT:
                self._record(file, within, content)
        elif isinstance(content, Comment | Correction):
            self._note(file, within, content)
        elif isinstance(content, tuple):
            for ordinal, verdict in enumerate(content):
                self._verdict(file, within, ordinal, verdict)

    def drop(self, files: Iterable[int]) -> None:
        """Take files out."""
        for file in files:
            for table in ("records", "notes", "verdicts"):
                self.touched.update(self._ids(f"SELECT subject FROM {table} WHERE file = ?", file))
                if table == "records":
                    self.touched.update(self._ids("SELECT reduced_from FROM records WHERE file = ?", file))
                self.connection.execute(f"DELETE FROM {table} WHERE file = ?", (file,))
            self.connection.execute("DELETE FROM files WHERE id = ?", (file,))

    def conclude(self) -> None:
        """Work out what corrections, later reductions and gradings mean for the records they are of."""
        self.touched.discard(0)
        # What a record was reduced from depends on whether that record is withdrawn.
        origins: set[int] = set()
        for subject in self.touched:
            self._apply_notes(subject)
            self._mark_newest(subject)
            origins.update(self._ids("SELECT reduced_from FROM records WHERE subject = ?", subject))
        for subject in (self.touched | origins) - {0}:
            self._apply_successor(subject)
        self.touched.clear()

    def _ids(self, query: str, *values: Any) -> list[int]:
        return [row[0] for row in self.connection.execute(query, values)]

    def _subject(self, content_hash: str) -> int:
        """Return the number of a content hash, 0 of none."""
        if not content_hash:
            return 0
        try:
            key = bytes.fromhex(content_hash)
        except ValueError:
            key = content_hash.encode("utf-8", "surrogatepass")
        for _ in range(2):
            found = self._ids("SELECT id FROM subjects WHERE hash = ?", key)
            if found:
                return found[0]
            self.connection.execute("INSERT INTO subjects VALUES (NULL, ?)", (key,))
        raise Spoiled("a row that was written is not there")

    def _record(self, file: int | None, name: str, head: Head) -> None:
        specimen = head.specimen
        noted = {
            "operator": head.operator,
            "specimen": specimen.identifier if specimen else "",
            "length_m": specimen.length_m if specimen else None,
            "description": specimen.description if specimen else "",
            "lot": specimen.lot if specimen else "",
            "product": specimen.product if specimen else "",
        }
        values: dict[str, Any] = {
            **noted,
            "file": file,
            "name": name,
            "kind": head.kind,
            "subject": self._subject(head.content_hash),
            "created_us": microseconds(head.created_at),
            "created_at": head.created_at,
            # The first ones that were reduced again have that time as the time of creation.
            "reduced_us": microseconds(head.reduced_at or head.created_at),
            "reduced_at": head.reduced_at,
            "origin": head.origin,
            "station": head.station,
            "calibration": head.calibration,
            "calibration_at": head.calibration_created_at,
            "calibration_file": calibration_file(head),
            "kit": head.kit,
            "reduced_from": self._subject(head.reduced_from),
            "reason": head.reason,
            "points": head.points,
            "start_hz": head.start_hz,
            "stop_hz": head.stop_hz,
            "ports": head.ports,
            "hookups": head.hookups,
            "source_file": head.source_file,
            "size": head.size,
            "noted": _json(noted),
            "withdrawn": 0,
            "successor": 0,
            "comments": 0,
            "corrections": 0,
        }
        row = [values[column] for column in RECORD[:-1]]
        self.connection.execute(_RECORD, (*row, sum_of(row)))
        self.touched |= {values["subject"], values["reduced_from"]}

    def _note(self, file: int | None, name: str, note: Note) -> None:
        said: dict[str, Any] = {"record": note.record, "by": note.by, "at": note.at}
        if isinstance(note, Correction):
            said |= {"changes": dict(note.changes), "withdrawn": note.withdrawn}
        subject = self._subject(note.record)
        row = (file, name, subject, microseconds(note.at), _json(said))
        self.connection.execute("INSERT INTO notes VALUES (?, ?, ?, ?, ?, ?)", (*row, sum_of(row)))
        self.touched.add(subject)

    def _verdict(self, file: int | None, name: str, ordinal: int, verdict: GradedRecord) -> None:
        subject = self._subject(verdict.record)
        margin, worst = verdict.worst
        row = (
            file,
            ordinal,
            subject,
            verdict.requirement,
            verdict.edition,
            verdict.decision_rule,
            verdict.outcome,
            microseconds(verdict.made_at),
            verdict.made_at,
            margin,
            worst,
            verdict.why,
            _json({of: (outcome, verdict.margins.get(of)) for of, outcome in verdict.outcomes.items()}),
        )
        asked = asked_of(verdict.outcomes, verdict.margins)
        self.connection.execute(_VERDICT, (name, *row, sum_of(row), *asked))
        self.touched.add(subject)

    def _notes(self, subject: int) -> list[Note]:
        rows = self.connection.execute(
            "SELECT file, name, subject, at_us, content, sum FROM notes WHERE subject = ?"
            " ORDER BY at_us, name",
            (subject,),
        )
        notes: list[Note] = []
        for row in rows:
            said = json.loads(checked(row)[-1])
            if "changes" in said:
                notes.append(Correction(**said, reason=""))
            else:
                notes.append(Comment(**said, text=""))
        return notes

    def _rows(self, subject: int) -> list[dict[str, Any]]:
        rows = self.connection.execute(
            f"SELECT {', '.join(RECORD)} FROM records WHERE subject = ?", (subject,)
        )
        return [dict(zip(RECORD, checked(row), strict=False)) for row in rows]

    def _apply_notes(self, subject: int) -> None:
        notes = self._notes(subject)
        said = "SELECT file FROM records WHERE subject = ? AND (comments OR corrections)"
        if not notes and not self._ids(said, subject):
            return
        in_force = corrections_in_force(notes)
        corrections = sum(isinstance(note, Correction) for note in notes)
        for values in self._rows(subject):
            noted = json.loads(values["noted"])
            for name in _ADJUSTED:
                key = "identifier" if name == "specimen" else name
                values[name] = in_force.value(key, noted[name])
            values["withdrawn"] = int(in_force.withdrawn is not None)
            values["comments"], values["corrections"] = len(notes) - corrections, corrections
            self._update(values)

    def _update(self, values: dict[str, Any]) -> None:
        values["sum"] = sum_of([values[column] for column in RECORD[:-1]])
        self.connection.execute(_UPDATE, (*(values[name] for name in _CONCLUDED), values["file"]))

    def _apply_successor(self, subject: int) -> None:
        # A withdrawn one takes the place of nothing. That it is not 0 says that the small index will do.
        newest = self._ids(
            "SELECT subject FROM records WHERE reduced_from = ? AND reduced_from <> 0 AND NOT withdrawn"
            " ORDER BY reduced_us DESC, name DESC LIMIT 1",
            subject,
        )
        successor = newest[0] if newest else 0
        if self._ids("SELECT file FROM records WHERE subject = ? AND successor <> ?", subject, successor):
            for values in self._rows(subject):
                values["successor"] = successor
                self._update(values)

    def _mark_newest(self, subject: int) -> None:
        """Of the verdicts on a record by one requirement the last made counts, unless it is out of date."""
        last: dict[str, tuple[int, int]] = {}
        marks: dict[int, tuple[int, str]] = {}
        for key, requirement, made_us, *mark in self.connection.execute(
            "SELECT id, requirement, made_us, newest, outdated FROM verdicts WHERE subject = ?"
            " ORDER BY made_us, name, ordinal",
            (subject,),
        ):
            last[requirement] = (key, made_us)
            marks[key] = tuple(mark)
        if not marks:
            return
        wanted = dict.fromkeys(marks, (0, ""))
        weighty = [
            (microseconds(note.at), note.at)
            for note in self._notes(subject)
            if isinstance(note, Correction) and note.weighty
        ]
        for key, made_us in last.values():
            later = [at for at_us, at in weighty if at_us > made_us]
            wanted[key] = (2, later[0]) if later else (1, "")
        changes = [(*mark, key) for key, mark in wanted.items() if mark != marks[key]]
        self.connection.executemany("UPDATE verdicts SET newest = ?, outdated = ? WHERE id = ?", changes)
