"""What the index keeps of one file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from benchsweep.archive._head import Head, read_head
from benchsweep.archive.notes import read_grading, read_note
from benchsweep.archive.places import Source, file_stem
from benchsweep.errors import ArchiveError, ArchiveUnreachable, RecordDamaged, RecordNewer
from benchsweep.records import Grading, Note, Outcome, Parameter

__all__ = ["Content", "GradedRecord", "Problem", "calibration_file", "microseconds", "read_content"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_RECORDS = ("record", "series")
_NOTES = ("comment", "correction")
_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.UNDECIDED,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)


_rank = _WORST_FIRST.index


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a file cannot be read; `passing` when it may be another time although the file stays the same."""

    reason: str
    passing: bool


@dataclass(frozen=True, slots=True)
class GradedRecord:
    """One verdict of a grading, in short.

    Parameters
    ----------
    record
        Content hash.
    requirement, edition, decision_rule, outcome, made_at
        See `Judged`.
    outcomes
        Parameter -> the worst outcome of its rows.
    margins
        Parameter -> the smallest margin of its rows, in the unit of the parameter.
    why
        See `Judged`.
    """

    record: str
    requirement: str
    edition: str
    decision_rule: str
    outcome: str
    made_at: str
    outcomes: dict[str, str]
    margins: dict[str, float]
    why: str = ""

    @property
    def worst(self) -> tuple[float | None, str]:
        """The smallest margin in dB with its parameter."""
        in_db = [(margin, name) for name, margin in self.margins.items() if Parameter(name).unit == "dB"]
        return min(in_db, default=(None, ""))


Content = Head | Note | tuple[GradedRecord, ...] | Problem | None
"""What a file turned out to be; None: it is gone, or of a kind that is not looked for."""


def read_content(source: Source, name: str) -> Content:
    """Read what the index keeps of a file.

    Parameters
    ----------
    name
        Path within the archive; its folder tells what to try first.

    Raises
    ------
    ArchiveUnreachable
        The drive or store does not answer: nothing is known of the file.
    """
    try:
        return _read(source, name.split("/")[:-1])
    except (RecordDamaged, RecordNewer) as error:
        return Problem(_without(error.message, source), passing=False)
    except ArchiveUnreachable:
        raise
    except ArchiveError as error:
        return None if _gone(error) else Problem(_without(error.message, source), passing=True)


def _read(source: Source, folders: list[str]) -> Content:
    for folder, kind in (("notes", "comment"), ("gradings", "grading")):
        if folder in folders:
            # Nearly always what the folder says: a store is asked for the file once and not twice.
            with suppress(RecordDamaged):
                return _of_kind(source, kind)
    head = read_head(source)
    if head.kind in _RECORDS or head.kind == "calibration":
        microseconds(head.created_at)
        microseconds(head.reduced_at or head.created_at)
        return head
    return _of_kind(source, head.kind)


def _of_kind(source: Source, kind: str) -> Content:
    if kind in _NOTES:
        return _with_time(read_note(source))
    return _graded(read_grading(source)) if kind == "grading" else None


def _with_time(note: Note) -> Note:
    microseconds(note.at)
    return note


def _gone(error: ArchiveError) -> bool:
    """Tell whether the file went between listing and reading it."""
    return isinstance(error.__cause__, FileNotFoundError)


def _without(message: str, source: Source) -> str:
    """Leave out the name of the file, which stands beside the reason."""
    return message.removeprefix(f"{source}: ")


def calibration_file(head: Head) -> str:
    """Return the name, without its ending, of the file that a calibration was stored in; empty without one.

    Two calibrations of one station have the same identifier, and names of files that differ.
    """
    try:
        return file_stem(head.calibration_created_at, head.calibration) if head.calibration else ""
    except ArchiveError:
        return ""


def microseconds(at: str) -> int:
    """Return an ISO 8601 time as microseconds since 1970, UTC where it has no offset.

    Raises
    ------
    RecordDamaged
        It is no such time.
    """
    try:
        moment = datetime.fromisoformat(at)
        moment = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
        return (moment - _EPOCH) // timedelta(microseconds=1)
    except (ValueError, OverflowError) as error:
        raise RecordDamaged(f"{at[:40]!r} is no time", hint="Restore the file from a copy.") from error


def _graded(grading: Grading) -> tuple[GradedRecord, ...]:
    microseconds(grading.made_at)
    return tuple(_verdicts(grading))


def _verdicts(grading: Grading) -> Iterator[GradedRecord]:
    editions = {requirement.name: requirement.edition for requirement in grading.requirements}
    outcomes = tuple(Outcome)
    parameters = tuple(trace.parameter for trace in grading.traces)
    columns, rows, words = grading.verdicts, grading.rows, grading.words
    ends = np.cumsum(columns.rows, dtype=np.int64)
    doubts = np.cumsum(columns.doubts, dtype=np.int64)
    traces, verdicts, margins = rows.trace.tolist(), rows.outcome.tolist(), rows.worst_margin_db.tolist()
    for place, end in enumerate(ends.tolist()):
        span = range(end - int(columns.rows[place]), end)
        found: dict[str, list[Outcome]] = {}
        least: dict[str, float] = {}
        for row in span:
            name = str(parameters[traces[row]])
            found.setdefault(name, []).append(outcomes[verdicts[row]])
            if not math.isnan(margins[row]):
                least[name] = min(margins[row], least.get(name, math.inf))
        requirement = words[columns.requirement[place]]
        outcome = outcomes[columns.outcome[place]]
        told = grading.doubts[doubts[place] - int(columns.doubts[place]) : doubts[place]]
        in_rows = min((verdict for of in found.values() for verdict in of), key=_rank, default=None)
        yield GradedRecord(
            record=words[columns.record[place]],
            requirement=requirement,
            edition=editions.get(requirement, ""),
            decision_rule=words[columns.decision_rule[place]],
            outcome=str(outcome),
            made_at=grading.made_at,
            outcomes={name: str(min(of, key=_rank)) for name, of in found.items()},
            margins=least,
            why=""
            if outcome is in_rows
            else _why(outcome, grading, int(columns.wiring[place]), [words[doubt] for doubt in told]),
        )


def _why(outcome: Outcome, grading: Grading, wiring: int, doubts: list[str]) -> str:
    """Return in words what makes the whole another outcome than that of the worst row."""
    findings = () if wiring < 0 else grading.wirings[wiring].findings
    wrong = [finding.words for finding in findings if finding.kind != "unclear"]
    unclear = [finding.words for finding in findings if finding.kind == "unclear"]
    reasons = [*wrong, *doubts] if outcome is Outcome.FAIL else [*doubts, *wrong, *unclear]
    return "; ".join(reasons)
