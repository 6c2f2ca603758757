"""Which rows to show: the worst of each group, the bad ones first."""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchsweep.records import End, Outcome, Parameter, Verdict, VerdictRow

__all__ = ["bad_rows", "severity", "standings", "worst_row", "worst_rows"]

_ORDER = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL, Outcome.UNDECIDED, Outcome.CONDITIONAL_PASS, Outcome.PASS)


def severity(row: VerdictRow) -> tuple[int, float]:
    """Return a key that sorts the worst row first: by outcome, then by margin."""
    margin = row.worst_margin_db
    return _ORDER.index(row.outcome), math.inf if margin is None else margin


def worst_rows(verdict: Verdict) -> tuple[VerdictRow, ...]:
    """Return the worst row of every parameter and end, in the order in which parameters are listed."""
    groups: dict[tuple[Parameter, End | None], VerdictRow] = {}
    for row in sorted(verdict.rows, key=severity):
        groups.setdefault((row.parameter, row.end), row)
    order = list(Parameter)
    return tuple(sorted(groups.values(), key=lambda row: (order.index(row.parameter), row.end or "")))


def worst_row(verdict: Verdict) -> VerdictRow | None:
    """Return the row nearest to its limit, or furthest beyond it; dB before ns; None when there is none."""
    counted = [row for row in verdict.rows if row.worst_margin_db is not None]
    in_db = [row for row in counted if row.parameter.unit == "dB"]
    return min(in_db or counted, key=severity, default=None)


def bad_rows(verdict: Verdict) -> tuple[VerdictRow, ...]:
    """Return the rows that stand against a pass, the worst first."""
    return tuple(sorted((row for row in verdict.rows if _ORDER.index(row.outcome) < 3), key=severity))


def standings(rows: Iterable[VerdictRow]) -> tuple[str, ...]:
    """Return the standings in use, the weakest first."""
    used = {row.standing for row in rows}
    known = ("from-memory", "common-practice", "published")
    return tuple(name for name in known if name in used) + tuple(sorted(used.difference(known, {""})))
