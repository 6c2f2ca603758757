from __future__ import annotations

from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling._asked import aql_column, checked_severity, code_letter
from benchsweep.statistics.sampling._tables import SeverityTable, attributes_tables

__all__ = ["LEVELS", "aqls", "attributes_plan", "counts_nonconformities"]

LEVELS: tuple[str, ...] = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
"""Inspection levels of MIL-STD-105E and ISO 2859-1: special ones, then general ones; II is the usual one."""


def aqls() -> tuple[float, ...]:
    """Return the acceptance quality limits that there are plans by attributes for, rising, from 0.01 to 1000.

    Percent nonconforming up to 10, nonconformities per hundred units above (`counts_nonconformities`).
    """
    return attributes_tables().aqls


def counts_nonconformities(plan: SamplingPlan) -> bool:
    """Tell whether a plan counts nonconformities per hundred units, of which a unit can have many.

    So do the plans of an AQL above 10; everything below counts nonconforming units. Such a plan says nothing
    about a lot of which only nonconforming units are counted.
    """
    limit = attributes_tables().largest_percent_nonconforming
    return plan.method == "attributes" and plan.aql_percent is not None and plan.aql_percent > limit


def attributes_plan(
    lot_size: int, *, level: str = "II", aql_percent: float, severity: Severity = Severity.NORMAL
) -> SamplingPlan:
    """Return the single sampling plan of MIL-STD-105E for a lot.

    An arrow of the master table leads to another plan with its sample size: `plan_letter`. A plan that asks
    for as many units as the lot has, or more, tests the whole lot with the acceptance number of the table.

    Parameters
    ----------
    lot_size
        Units in the lot, 2 or more.
    level
        One of `LEVELS`.
    aql_percent
        One of `aqls()`.
    severity
        Normal, tightened or reduced inspection. A count between Ac and Re, which reduced plans leave room
        for, accepts the lot and ends reduced inspection.

    Raises
    ------
    UsageError
        No such level, AQL or severity, or a lot of fewer than 2 units.

    Notes
    -----
    MIL-STD-105E (1989), Tables I, II-A, II-B, II-C. Normal and tightened plans are those of ISO 2859-1 too.

    Examples
    --------
    >>> plan = attributes_plan(90, aql_percent=0.65)
    >>> plan.code_letter, plan.plan_letter, plan.sample_size, plan.accept, plan.reject
    ('E', 'F', 20, 0, 1)
    """
    tables = attributes_tables()
    severity = checked_severity(severity)
    table = tables.of(severity)
    letter = code_letter(tables.code_letters, lot_size, level)
    column = aql_column(tables.aqls, aql_percent, table.source)
    row, (size, cell) = _plan_cell(table, tables.letters.index(letter), column)
    accept, reject = map(int, cell.split("/"))
    aql = tables.aqls[column]
    per_hundred = ", nonconformities per hundred units" if aql > tables.largest_percent_nonconforming else ""
    return SamplingPlan(
        method="attributes",
        lot_size=lot_size,
        sample_size=min(size, lot_size),
        accept=accept,
        reject=reject,
        aql_percent=aql,
        level=level,
        severity=severity,
        code_letter=letter,
        plan_letter=row,
        table_sample_size=size,
        source=f"{tables.code_letters.source}; {table.source}{per_hundred}",
        standing=table.standing,
    )


def _plan_cell(table: SeverityTable, row: int, column: int) -> tuple[str, tuple[int, str]]:
    """Return letter, sample size and cell of the plan that a row and column lead to, along the arrows."""
    tables = attributes_tables()
    letters = [*tables.letters, *(each.letter for each in table.below)]
    while True:
        size, cell = _cell(table, letters[row], column)
        if cell == "down":
            row += 1
        elif cell == "up":
            row -= 1
        else:
            return letters[row], (size, cell)


def _cell(table: SeverityTable, letter: str, column: int) -> tuple[int, str]:
    """Return sample size and cell of the master table as printed: ``Ac/Re``, ``up`` or ``down``."""
    tables = attributes_tables()
    aql = tables.aqls[column]
    for below in table.below:
        if below.letter == letter and below.aql == aql:
            return below.sample_size, below.cell
    row = tables.letters.index(letter)
    size = table.sample_sizes[row]
    for excepted in table.excepted:
        if excepted.letter == letter and excepted.aql == aql:
            return size, excepted.cell
    cells, step = table.ladder_of(letter), row + column - table.first
    if step < 0:
        return size, "down"
    return size, cells[step] if step < len(cells) else "up"
