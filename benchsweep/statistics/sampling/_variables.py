from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from benchsweep.errors import UsageError
from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling._asked import aql_column, checked_severity, code_letter
from benchsweep.statistics.sampling._distributions import estimated_share
from benchsweep.statistics.sampling._tables import ConstantsRow, variables_tables

__all__ = ["VARIABLES_LEVELS", "variables_aqls", "variables_plan"]

VARIABLES_LEVELS: tuple[str, ...] = ("I", "II", "III", "IV", "V")
"""Inspection levels of MIL-STD-414; IV is the usual one."""


def variables_aqls() -> tuple[float, ...]:
    """Return the acceptance quality limits that there are plans by variables for: 0.04 to 15 %, rising."""
    return variables_tables().aqls


def variables_plan(
    lot_size: int,
    *,
    level: str = "IV",
    aql_percent: float,
    severity: Severity = Severity.NORMAL,
    characteristics: Sequence[str],
    form: Literal["k", "M"] = "k",
) -> SamplingPlan:
    """Return the plan by variables of MIL-STD-414 for a lot: deviation unknown, single limit.

    Each characteristic is judged by itself, from the margins to its limit: Q = mean / s.

    Parameters
    ----------
    lot_size
        Units in the lot, 3 or more. A plan that asks for as many or more tests them all with its k.
    level
        One of `VARIABLES_LEVELS`; they are not those of plans by attributes.
    aql_percent
        One of `variables_aqls()`.
    severity
        Normal, or tightened: k of the next smaller AQL. There are no reduced plans here.
    characteristics
        At least one, each once.
    form
        ``k``: accepted with Q >= k. ``M``: accepted with an estimated percentage nonconforming of M or less,
        where M is that of Q = k with the units tested: both forms accept the same lots, and printed tables of
        M can differ from it by rounding.

    Raises
    ------
    UsageError
        No such level, AQL, severity or form, fewer than 3 units, no characteristic or one twice.

    Notes
    -----
    MIL-STD-414 (1957), Tables A-2 and B-1.

    Examples
    --------
    >>> plan = variables_plan(40, aql_percent=1.0, characteristics=["next"])
    >>> plan.code_letter, plan.sample_size, plan.constant_k
    ('D', 5, 1.53)
    """
    tables = variables_tables()
    constants, severity = tables.constants, checked_severity(severity)
    names = _checked_names(characteristics)
    if form not in ("k", "M"):
        raise UsageError(f"no form {form!r}", hint="There are: k, M.")
    letter = code_letter(tables.code_letters, lot_size, level)
    column = aql_column(tables.aqls, aql_percent, constants.source)
    aql = tables.aqls[column]
    row = _row(letter, _read_at(column, severity))
    count = min(row.sample_size, lot_size)
    k = _constants(row)[_read_at(column, severity)]
    assert k is not None  # noqa: S101 - `_row` found one
    return SamplingPlan(
        method="variables",
        lot_size=lot_size,
        sample_size=count,
        accept=0,
        reject=1,
        aql_percent=aql,
        level=level,
        severity=severity,
        code_letter=letter,
        plan_letter=row.letter,
        table_sample_size=row.sample_size,
        characteristics=names,
        constant_k=k,
        largest_percent=100.0 * estimated_share(k, count) if form == "M" else None,
        source=f"{tables.code_letters.source}; {constants.source}",
        standing=constants.standing,
    )


def _checked_names(characteristics: Sequence[str]) -> tuple[str, ...]:
    names = (characteristics,) if isinstance(characteristics, str) else tuple(characteristics)
    if not names or len(set(names)) < len(names):
        raise UsageError(
            "a plan by variables judges at least one characteristic, each once",
            hint="Name the parameters whose margins are judged, such as next and return_loss.",
        )
    return names


def _read_at(column: int, severity: Severity) -> int:
    """Return the column of k: for tightened inspection one to the left."""
    aql_s = variables_tables().aqls
    if severity is Severity.REDUCED:
        raise UsageError(
            "there are no reduced plans by variables here",
            hint="Use normal inspection, or sample by attributes.",
        )
    if severity is Severity.NORMAL:
        return column
    if column == 0:
        raise UsageError(
            f"there is no tightened plan by variables for {aql_s[0]:g} %, the smallest AQL of the table",
            hint=f"Take an AQL of {aql_s[1]:g} % or more, or sample by attributes.",
        )
    return column - 1


def _constants(row: ConstantsRow) -> tuple[float | None, ...]:
    """Return k of every column; None where an arrow leads down."""
    missing = len(variables_tables().aqls) - len(row.k)
    return (None,) * missing + row.k


def _row(letter: str, column: int) -> ConstantsRow:
    """Return the first row with a constant, from the one of the letter down."""
    rows = variables_tables().constants.rows
    start = [each.letter for each in rows].index(letter)
    return next(each for each in rows[start:] if _constants(each)[column] is not None)
