from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    Source,
    SweepNumber,
    TemperatureDegc,
    requirement_names,
)
from benchsweep.cli._output import print_json, print_text, progress_to_stderr
from benchsweep.cli._series import (
    Follow,
    LeaveOutDamaged,
    Reading,
    grade_any,
    progress_of,
    refuse_missing,
    refuse_series_options,
)
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.limits import Requirement
    from benchsweep.records import Parameter, Verdict
    from benchsweep.report import SeriesItem

__all__ = ["report"]


def report(
    records: Records,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement to grade against, or a quoted pattern of names such as 'tia-*-channel'; may be "
            "given several times. A series needs none.",
        ),
    ] = None,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="Where to write it.")] = Path(
        "report.html"
    ),
    sweep: SweepNumber = None,
    parameter: Follow = None,
    reading: Reading = None,
    leave_out_damaged: LeaveOutDamaged = False,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    title: Annotated[
        str, typer.Option("--title", metavar="TEXT", help="Title of the report.")
    ] = "Test report",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write one self-contained HTML report of records graded against one requirement or several.

    A record that is graded against several is drawn once, with all their limits. Faults that were found are
    told with their place; return loss, crosstalk and impedance are drawn over the distance where the grid
    allows it.

    Of a series, finished or the folder of an unfinished one: its change over time, and with --against one of
    its sweeps graded. An older report is replaced, any other file never. The exit code says whether the
    report could be written, not what is in it.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html`
    """
    from benchsweep.cli._items import report_items
    from benchsweep.qualification import (
        check_decision_rule,
        choose_requirements,
        followed_parameters,
        is_series,
        tell_superseded,
        told_conditions,
    )
    from benchsweep.report import check_target, write_html

    check_target(output, [path for path in records if isinstance(path, Path)])
    progress = progress_to_stderr(quiet)
    chosen = choose_requirements(against or [])
    requirements = chosen.requirements
    rule = check_decision_rule(decision)
    conditions = told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope)
    if not requirements:
        _refuse_idle(
            length_m=length_m,
            sweep=sweep,
            budget=budget,
            decision=None if rule == "simple" else rule,
            temperature_degc=temperature_degc,
            construction=construction,
            cold_slope=cold_slope or None,
        )
    _refuse_absent(records, sweep)
    followed = followed_parameters(parameter or [])
    items = []
    series = []
    verdicts: list[Verdict] = []
    for place, path in enumerate(records, start=1):
        progress(f"record {place} of {len(records)}: {path}")
        if is_series(path):
            series.append(_series_item(path, followed, reading, leave_out_damaged, quiet))
        else:
            refuse_series_options(
                path, sweep=sweep, parameter=parameter, reading=reading, leave_out_damaged=leave_out_damaged
            )
            _need_requirement(path, requirements)
        if requirements:
            graded, number = grade_any(
                path,
                requirements,
                sweep=sweep,
                length_m=length_m,
                decision_rule=rule,
                budget=budget,
                conditions=conditions,
                by_pattern=chosen.by_pattern,
            )
            graded = tell_superseded(graded)
            verdicts += graded.verdicts
            made = report_items(graded, requirements, conditions=conditions)
            items += [replace(item, sweep=number) for item in made]
    progress("drawing")
    written = write_html(output, items, title=title, series=series)
    _tell(written, records, verdicts, as_json=as_json)


def _series_item(
    path: Source, followed: Sequence[Parameter], reading: str | None, leave_out_damaged: bool, quiet: bool
) -> SeriesItem:
    """Return the change of a series over its time, ready to be drawn."""
    from benchsweep.qualification import series_change
    from benchsweep.report import SeriesItem

    shown = series_change(
        path,
        parameters=followed,
        reading=reading,
        leave_out_damaged=leave_out_damaged,
        progress=progress_of(path, quiet=quiet),
    )
    return SeriesItem(shown.head, shown.summary, str(path), shown.content_hash)


def _tell(written: Path, records: Sequence[Source], verdicts: Sequence[Verdict], *, as_json: bool) -> None:
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written),
                "records": [str(path) for path in records],
                "outcomes": [str(verdict.outcome) for verdict in verdicts],
            }
        )
        return
    print_text("\n".join((*map(_line, verdicts), f"report {written}")))


def _line(verdict: Verdict) -> str:
    return f"{verdict.outcome}: {verdict.specimen}, {verdict.requirement}, {verdict.record}"


def _need_requirement(path: Source, requirements: Sequence[Requirement]) -> None:
    if not requirements:
        raise UsageError(f"{path}: a record is reported against a requirement", hint="Give --against a name.")


def _refuse_idle(**given: object) -> None:
    for name, value in given.items():
        if value is not None:
            option = f"--{name.replace('_', '-')}"
            raise UsageError(
                f"{option} does nothing without --against", hint="Give --against, or leave it out."
            )


def _refuse_absent(records: list[Source], sweep: int | None) -> None:
    """Refuse records and sweeps that do not exist, before a long series is read."""
    from benchsweep.qualification import is_series, series_sweep

    for path in records:
        refuse_missing(path)
        if sweep is not None and is_series(path):
            series_sweep(path, sweep)
