from __future__ import annotations

from enum import StrEnum
from pathlib import Path
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
    Records,
    SweepNumber,
    TemperatureDegc,
    requirement_names,
)
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr, say
from benchsweep.errors import UsageError

__all__ = ["export"]


class Form(StrEnum):
    """What files are made."""

    TOUCHSTONE = "touchstone"
    TOUCHSTONE_MIXED = "touchstone-mixed"
    CSV = "csv"
    PARQUET = "parquet"


class What(StrEnum):
    """What they hold."""

    TRACES = "traces"
    VERDICT = "verdict"
    MATRIX = "matrix"
    RAW = "raw"


def export(
    records: Records,
    to: Annotated[
        Form,
        typer.Option(
            "--to",
            metavar="FORM",
            help="`touchstone` (single-ended), `touchstone-mixed` (differential and common modes), `csv` or "
            "`parquet`.",
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="DIR|FILE",
            help="Folder for the files, or one file; the working folder by default.",
        ),
    ] = None,
    what: Annotated[
        What | None,
        typer.Option(
            "--what",
            metavar="WHAT",
            help="`matrix` (corrected; by default of Touchstone files), `raw` (each hookup as the analyzer"
            " gave it), `traces` (every parameter; by default of tables) or `verdict` (its rows; needs"
            " --against).",
        ),
    ] = None,
    version: Annotated[
        str | None,
        typer.Option(
            "--version",
            metavar="V",
            help="Of Touchstone: 1.0, 2.0 or 2.1; 1.0 by default, 2.0 for mixed modes.",
        ),
    ] = None,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="For --what verdict: requirement to grade against, or a quoted pattern of names; may be"
            " given several times.",
        ),
    ] = None,
    sweep: SweepNumber = None,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files that are there; otherwise they are kept.")
    ] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write records as files for other programs: Touchstone, CSV or Parquet.

    Files are named after the time and the specimen. Touchstone files keep every bit of the numbers and name
    the leg at each port, so that `benchsweep import` finds them again. In CSV files text that a spreadsheet
    would run as a formula begins with an apostrophe; numbers are never changed. Parquet needs the extra
    `tables`. The exit code says whether the files could be written, not what is in them.

    Example: `benchsweep export archive/20260301T101500Z-cord.h5 --to touchstone --version 2.0`

    Example: `benchsweep export archive/*.h5 --to csv --what verdict --against tia-6a-cord -o verdicts.csv`
    """
    from benchsweep.qualification import (
        ExportChoice,
        ExportGrading,
        check_decision_rule,
        choose_requirements,
        export_document,
        export_records,
        told_conditions,
    )

    choice = ExportChoice(to.value, None if what is None else what.value, version)
    rule = check_decision_rule(decision)
    if not against:
        _refuse_idle(
            {
                "--decision": rule != "simple",
                "--budget": budget,
                "--length-m": length_m is not None and choice.holds != "traces",
                "--temperature-degc": temperature_degc is not None,
                "--construction": construction,
                "--cold-slope": cold_slope,
            }
        )
    chosen = choose_requirements(against or [])
    written = export_records(
        records,
        choice,
        output=output,
        grading=ExportGrading(
            requirements=chosen.requirements,
            decision_rule=rule,
            length_m=length_m,
            budget=budget,
            conditions=told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope),
            by_pattern=tuple(chosen.by_pattern),
        ),
        sweep=sweep,
        overwrite=overwrite,
        progress=progress_to_stderr(quiet),
    )
    for note in dict.fromkeys(f"{one.file}: {note}" for one in written for note in one.notes):
        say(note)
    if as_json:
        print_json(export_document(written))
    else:
        print_lines(str(one.file) for one in written)


def _refuse_idle(given: dict[str, object]) -> None:
    for option, value in given.items():
        if value:
            raise UsageError(
                f"{option} does nothing for this export: nothing is graded", hint=f"Leave {option} out."
            )
