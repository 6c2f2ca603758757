from __future__ import annotations

import math
from collections.abc import Sequence

from benchsweep.definitions import did_you_mean
from benchsweep.errors import UsageError
from benchsweep.records import Severity
from benchsweep.statistics.sampling._tables import CodeLetters

__all__ = ["aql_column", "checked_percent", "checked_risk", "checked_severity", "checked_size", "code_letter"]


_LARGEST = 10_000_000
"""Units of a lot: above the last class of every table, and curves are still exact and quick."""


def code_letter(letters: CodeLetters, lot_size: int, level: str) -> str:
    """Return the code letter of a lot size and level, both checked.

    Raises
    ------
    UsageError
        No such level, or a lot smaller than the table begins with.
    """
    checked_size(lot_size, letters.smallest_lot, letters.source)
    if level not in letters.levels:
        raise UsageError(
            f"no inspection level {level!r} in {letters.source}{did_you_mean(level, letters.levels)}",
            hint=f"There are: {', '.join(letters.levels)}.",
        )
    return letters.letter(lot_size, level)


def checked_size(lot_size: int, smallest: int, source: str) -> int:
    """Return the number of units of a lot, or raise `UsageError`."""
    if isinstance(lot_size, bool) or not isinstance(lot_size, int):
        raise UsageError(f"a lot has a whole number of units, not {lot_size!r}", hint="Count the units.")
    if lot_size < smallest:
        begins = f"; {source} begins with {smallest}" if lot_size > 0 else ""
        raise UsageError(
            f"a lot of {lot_size} cannot be sampled{begins}",
            hint="Test every unit by itself, or put the units of more than one delivery into a lot."
            if lot_size > 0
            else "A lot has one unit or more.",
        )
    if lot_size > _LARGEST:
        raise UsageError(
            f"a lot of {_shown(lot_size)} units is too large: there are plans for up to {_LARGEST}",
            hint="Check the number, or split the lot.",
        )
    return lot_size


def _shown(count: int) -> str:
    """Return a number of any length in few digits; the longest ones Python does not even print."""
    return str(count) if count < 10**15 else "more than 10^15"


def aql_column(aqls: Sequence[float], aql_percent: float, source: str) -> int:
    """Return the column of an AQL.

    Raises
    ------
    UsageError
        The table has no such AQL; the hint names the nearest ones.
    """
    for column, each in enumerate(aqls):
        if math.isclose(each, aql_percent, rel_tol=1e-9):
            return column
    if not (math.isfinite(aql_percent) and aql_percent > 0.0):
        raise UsageError(
            f"an AQL of {aql_percent:g} % makes no sense",
            hint=f"There are: {', '.join(f'{each:g}' for each in aqls)}.",
        )
    all_of_them = ", ".join(f"{each:g}" for each in aqls)
    smaller = [each for each in aqls if each < aql_percent]
    larger = [each for each in aqls if each > aql_percent]
    near = " and ".join(f"{each:g}" for each in (*smaller[-1:], *larger[:1])) or f"{aqls[0]:g}"
    raise UsageError(
        f"{source} has no AQL of {aql_percent:g} %; nearest: {near}", hint=f"There are: {all_of_them}."
    )


def checked_severity(severity: Severity) -> Severity:
    """Return a severity given as such or by its name, or raise `UsageError`."""
    try:
        return Severity(severity)
    except ValueError as error:
        raise UsageError(
            f"no severity {str(severity)!r}", hint=f"There are: {', '.join(each.value for each in Severity)}."
        ) from error


def checked_percent(value: float, what: str) -> float:
    """Return a share in percent that is above 0 and not above 100, or raise `UsageError`."""
    if not 0.0 < value <= 100.0:
        raise UsageError(f"{what} of {value:g} % makes no sense", hint="Give one above 0 and up to 100 %.")
    return value


def checked_risk(value: float, what: str) -> float:
    """Return a probability between 0 and 1, or raise `UsageError`."""
    if not 0.0 < value < 1.0:
        raise UsageError(
            f"{what} of {value:g} makes no sense", hint="Give one above 0 and below 1, such as 0.1."
        )
    return value
