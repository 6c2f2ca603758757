from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import Against, AsJson, BudgetName, Decision, LengthM, SweepNumber
from benchsweep.cli._series import grade_any
from benchsweep.cli._verdicts import print_verdicts

__all__ = ["grade"]


def grade(
    record: Annotated[
        Path,
        typer.Argument(metavar="RECORD", help="Record or series (.h5, or the folder of an unfinished one)."),
    ],
    against: Against,
    sweep: SweepNumber = None,
    length_m: LengthM = None,
    decision: Decision = "simple",
    budget: BudgetName = None,
    as_json: AsJson = False,
) -> None:
    """Grade a record, or grade it again against another requirement. The record itself never changes.

    Of a series one sweep is graded, which the verdict names. A decision rule with a guard band needs an
    uncertainty budget: that of the record, or another one.

    Example: `benchsweep grade archive/20260301T101500Z-cord.h5 --against tia-6-cord --decision guard-band`
    """
    from benchsweep.qualification import check_decision_rule, load_requirements

    rule = check_decision_rule(decision)
    requirements = load_requirements(against)
    result, _ = grade_any(
        record, requirements, sweep=sweep, length_m=length_m, decision_rule=rule, budget=budget
    )
    raise typer.Exit(print_verdicts([result], as_json=as_json))
