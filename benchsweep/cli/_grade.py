from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import (
    AsJson,
    BudgetName,
    ColdSlope,
    Construction,
    Decision,
    LengthM,
    Quiet,
    RecordArgument,
    SweepNumber,
    TemperatureDegc,
    plain_text,
    requirement_names,
)
from benchsweep.cli._output import say
from benchsweep.cli._series import grade_any
from benchsweep.cli._verdicts import print_highest, print_verdicts
from benchsweep.errors import UsageError

__all__ = ["grade"]


def grade(
    record: RecordArgument,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement to grade against: a name, the path of a .toml file, or a quoted pattern of "
            "names such as 'tia-*-channel'; may be given several times (see `benchsweep limits list`).",
        ),
    ] = None,
    highest: Annotated[
        bool,
        typer.Option(
            "--highest",
            help="Tell for each family the highest category that passes and what stops the next one; without "
            "--against among all categories in force.",
        ),
    ] = False,
    sweep: SweepNumber = None,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Keep the verdicts in the archive, with the text of every requirement as used."
        ),
    ] = False,
    by: Annotated[
        str,
        typer.Option("--by", metavar="NAME", callback=plain_text, help="With --keep: who grades."),
    ] = "",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Grade a record, or grade it again against other requirements. The record itself never changes.

    Corrections (`benchsweep archive correct`) are applied, and the verdict names them; that of a record that
    was withdrawn is undecided; where the sweeps were reduced again into another record, a note names it. Of
    a series one sweep is graded, which the verdict names. A decision rule with a guard band needs an
    uncertainty budget: that of the record, or another one. What a pattern chose is undecided where it needs a
    length that nobody gave; what was named is refused. With --highest the exit code is 0 when some category
    of every family passes, 1 when all of a family fail, 3 when none of it passes and some are undecided.

    Example: `benchsweep grade archive/20260301T101500Z-cord.h5 --against 'tia-*-cord' --length-m 2`

    Example: `benchsweep grade archive/20260301T101500Z-cord.h5 --highest --against 'iso-*-channel'`
    """
    from benchsweep.qualification import (
        check_decision_rule,
        choose_requirements,
        ranked_requirements,
        tell_superseded,
        told_conditions,
    )

    if not (against or highest):
        raise UsageError(
            "nothing to grade against", hint="Give --against a requirement or a pattern, or give --highest."
        )
    if by and not keep:
        raise UsageError("--by does nothing without --keep", hint="Give --keep, or leave it out.")
    rule = check_decision_rule(decision)
    conditions = told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope)
    chosen = choose_requirements(against) if against else ranked_requirements()
    for file in () if quiet else chosen.broken:
        say(f"note: {file} is broken and takes no part; `benchsweep limits list` says what is wrong")
    result, _ = grade_any(
        record,
        chosen.requirements,
        sweep=sweep,
        length_m=length_m,
        decision_rule=rule,
        budget=budget,
        conditions=conditions,
        by_pattern=chosen.by_pattern,
    )
    result = tell_superseded(result)
    if keep:
        from benchsweep.qualification import keep_grading, record_hash, told_of

        told = told_of(length_m=length_m, conditions=conditions, budget=budget)
        result = keep_grading(result, record_hash(record), chosen.requirements, by=by, told=told)
        if not quiet:
            say(f"kept: {result.grading}")
    show = print_highest if highest else print_verdicts
    raise typer.Exit(show([result], as_json=as_json, requirements=chosen.requirements))
