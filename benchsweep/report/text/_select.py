"""Which rows to show: the worst of each group, the bad ones first."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from benchsweep.records import End, LimitCurve, Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report.document import Given, Line, line
from benchsweep.report.text._texts import Texts

__all__ = [
    "ORDER",
    "bad_rows",
    "decided_elsewhere",
    "other_notes",
    "row_notes",
    "severity",
    "standings",
    "worst_row",
    "worst_rows",
]

ORDER = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL, Outcome.UNDECIDED, Outcome.CONDITIONAL_PASS, Outcome.PASS)
"""Outcomes, what matters most first."""


def severity(row: VerdictRow) -> tuple[int, float]:
    """Return a key that sorts the worst row first: by outcome, then by margin."""
    margin = row.worst_margin_db
    return ORDER.index(row.outcome), math.inf if margin is None else margin


def worst_rows(verdict: Verdict) -> tuple[VerdictRow, ...]:
    """Return the worst row of every parameter and end, in the order in which parameters are listed.

    Where some rows are decided and others are not, the worst of both: neither may hide the other.
    """
    groups: dict[tuple[Parameter, End | None, bool], VerdictRow] = {}
    for row in sorted(verdict.rows, key=severity):
        groups.setdefault((row.parameter, row.end, row.outcome is Outcome.UNDECIDED), row)
    order = list(Parameter)
    return tuple(
        sorted(groups.values(), key=lambda row: (order.index(row.parameter), row.end or "", severity(row)))
    )


def worst_row(verdict: Verdict) -> VerdictRow | None:
    """Return the row nearest to its limit, or furthest beyond it; dB before ns; None when there is none.

    A row that passes on a condition comes before those that pass without, whatever their margins.
    """
    counted = [row for row in verdict.rows if row.worst_margin_db is not None]
    failing = [row for row in counted if ORDER.index(row.outcome) < 2]
    conditional = [row for row in counted if row.outcome is Outcome.CONDITIONAL_PASS]
    chosen = failing or conditional or counted
    in_db = [row for row in chosen if row.parameter.unit == "dB"]
    return min(in_db or chosen, key=lambda row: row.worst_margin_db or 0.0, default=None)


def decided_elsewhere(row: VerdictRow) -> str:
    """Return the part of a note that tells at which other point a row was decided; empty when at none."""
    return next((part for part in row.note.split("; ") if part.startswith("decided at ")), "")


def row_notes(rows: Iterable[VerdictRow], texts: Texts) -> tuple[tuple[Parameter, Line], ...]:
    """Return the notes of decided rows, each once for its parameter (undecided rows tell theirs first).

    Notes that differ only in how many points they are about are told together.
    """
    order = list(Parameter)
    decided = [row for row in rows if row.outcome is not Outcome.UNDECIDED]
    notes: dict[tuple[Parameter, str], list[tuple[int, int]]] = {}
    for row in decided:
        for part in _general(row):
            counted = re.fullmatch(_POINTS, part)
            key = (row.parameter, part if counted is None else counted["what"])
            found = notes.setdefault(key, [])
            if counted is not None:
                found.append((int(counted["part"]), int(counted["whole"])))
    told = sorted(notes.items(), key=lambda entry: (order.index(entry[0][0]), entry[0][1]))
    return tuple((parameter, line(Given(note), _points(found, texts))) for (parameter, note), found in told)


# What `limits` notes on a row of which some points do not count.
_POINTS = r"(?P<what>.*?): (?P<part>\d+) of (?P<whole>\d+) points, .*"


def _points(found: list[tuple[int, int]], texts: Texts) -> str:
    if not found:
        return ""
    parts = sorted(part for part, _ in found)
    among = str(parts[0])
    if parts[0] != parts[-1]:
        among = texts("row_note.span", low=parts[0], high=parts[-1])
    if len(found) == 1:
        return f": {texts('row_note.points', points=among, count=found[0][1])}"
    return f": {texts('row_note.points_in_traces', points=among, whole=found[0][1], count=len(found))}"


def _general(row: VerdictRow) -> list[str]:
    """Return the parts of a note that are not about this row alone (those stand with the row)."""
    elsewhere = decided_elsewhere(row)
    rest = "; ".join(part for part in row.note.split("; ") if part != elsewhere)
    return [rest] if rest else []


def other_notes(verdict: Verdict) -> tuple[str, ...]:
    """Return the notes of a verdict but for its doubts and for those that the marks tell already."""
    told = tuple(f"limits of standing {standing}:" for standing in standings(verdict.rows))
    return tuple(note for note in verdict.notes if not note.startswith(told) and note not in verdict.doubts)


def bad_rows(verdict: Verdict) -> tuple[VerdictRow, ...]:
    """Return the rows that stand against a pass, the worst first."""
    return tuple(sorted((row for row in verdict.rows if ORDER.index(row.outcome) < 3), key=severity))


def standings(rows: Iterable[VerdictRow | LimitCurve]) -> tuple[str, ...]:
    """Return the standings in use, the weakest first."""
    used = {row.standing for row in rows}
    known = ("from-memory", "common-practice", "published")
    return tuple(name for name in known if name in used) + tuple(sorted(used.difference(known, {""})))
