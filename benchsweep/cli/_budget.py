"""What `show --budget` prints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from benchsweep.cli._options import Source
from benchsweep.cli._output import print_json, print_text, table_width
from benchsweep.cli._series import grade_any, refuse_missing

if TYPE_CHECKING:
    from benchsweep.limits import Requirement

__all__ = ["show_budgets"]


def show_budgets(
    records: Sequence[Source],
    requirements: Sequence[Requirement],
    *,
    parameters: Sequence[str],
    sweep: int | None,
    length_m: float | None,
    budget: str | None,
    as_json: bool,
) -> None:
    """Print one budget for each record and requirement, or for each record where there is no requirement.

    Raises
    ------
    ArchiveError, UsageError, LimitNotDefined, DefinitionError
    """
    from benchsweep.qualification import about_record, budget_document, budget_parameters, budget_rows
    from benchsweep.report import budget_table

    wanted = budget_parameters(parameters)
    documents: list[dict[str, Any]] = []
    texts: list[str] = []
    for path in records:
        refuse_missing(path)
        graded, number = grade_any(path, requirements, sweep=sweep, length_m=length_m, budget=budget)
        record = str(path) if number is None else f"{path}, sweep {number}"
        for verdict in graded.verdicts or (None,):
            with about_record(path):
                rows = budget_rows(graded.evaluation, verdict, parameters=wanted)
            requirement = None if verdict is None else verdict.requirement
            documents.append(budget_document(rows, graded.evaluation, record=record, requirement=requirement))
            table = budget_table(rows, record=record, requirement=requirement, width=table_width())
            texts.append(table.rstrip())
    if as_json:
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        print_text("\n\n".join(texts))
