from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import (
    AsJson,
    BudgetName,
    ColdSlope,
    Construction,
    Decision,
    LengthM,
    MaybeRecords,
    Quiet,
    Source,
    SweepNumber,
    TemperatureDegc,
    plain_text,
    requirement_names,
)
from benchsweep.cli._output import print_json, print_text, progress_to_stderr
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.cli._series import (
    LeaveOutDamaged,
    Reading,
    progress_of,
    refuse_missing,
    refuse_series_options,
)
from benchsweep.errors import ArchiveError, UsageError

if TYPE_CHECKING:
    from benchsweep.cli._report_sources import Sources
    from benchsweep.cli._report_work import Detail, Reported
    from benchsweep.records import Parameter, Verdict
    from benchsweep.report import Particulars, SeriesItem

__all__ = ["report"]

_FULL_UP_TO = 4


class HowMuch(StrEnum):
    """How much is told of each record."""

    FULL = "full"
    BRIEF = "brief"


def _stated(name: str, words: str, metavar: str) -> Any:
    return typer.Option(name, metavar=metavar, callback=plain_text, help=words)


@chooses_records
def report(
    context: typer.Context,
    chosen: Chosen,
    records: MaybeRecords = None,
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
    output: Annotated[
        list[Path] | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Where to write it: `.html` or `.pdf`; may be given several times. report.html by default.",
        ),
    ] = None,
    sweep: SweepNumber = None,
    parameter: Annotated[
        list[str] | None,
        typer.Option(
            "--parameter",
            metavar="P",
            help="Of a series: follow the change of insertion_loss, return_loss, next, fext or tcl; "
            "repeatable. Of an archive: whose newest grading holds this one.",
        ),
    ] = None,
    reading: Reading = None,
    leave_out_damaged: LeaveOutDamaged = False,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    title: Annotated[str | None, _stated("--title", "Title of the report.", "TEXT")] = None,
    letterhead: Annotated[
        Path | None,
        typer.Option(
            "--letterhead",
            metavar="FILE",
            help="What stands at its head, as TOML: laboratory, address, location, customer, number, "
            "authorised_by, issued_on ...",
        ),
    ] = None,
    number: Annotated[
        str | None, _stated("--number", "Number of the report, the same on every page.", "TEXT")
    ] = None,
    authorised_by: Annotated[
        str | None, _stated("--authorised-by", "Who authorised the report.", "NAME")
    ] = None,
    customer: Annotated[str | None, _stated("--customer", "For whom it is.", "NAME")] = None,
    issued: Annotated[
        str | None,
        typer.Option("--issued", metavar="DATE", help="When it is issued: 2026-11-28; today by default."),
    ] = None,
    language: Annotated[
        str,
        typer.Option(
            "--language",
            metavar="NAME",
            help="Language of its words: `en`, or a translation by name or path.",
        ),
    ] = "en",
    detail: Annotated[
        HowMuch | None,
        typer.Option(
            "--detail",
            help="How much is told of each record: all, or what decides. Full up to four records by default.",
        ),
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", min=1, help="How many processes; by default as many as help."),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write a report of records graded against one requirement or several: one HTML page, one PDF, or both.

    The page needs no network. A record that is graded against several is drawn once, with all their limits.
    Faults that were found are told with their place; return loss, crosstalk and impedance are drawn over the
    distance where the grid allows it. Of several records there is an overview first.

    Records are named, or chosen from an archive as `archive find` does. Of a series, finished or the folder
    of an unfinished one: its change over time, and with --against one of its sweeps graded.

    An older report is replaced, any other file never. The exit code says whether the report could be written,
    not what is in it; 6 also where files of the archive cannot be read that may belong in it.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html -o cords.pdf`

    Example: `benchsweep report --archive archive --lot T118 --against tia-6a-cord --number 2026-041`
    """
    from benchsweep.cli._report_files import check_files, write_files
    from benchsweep.cli._report_run import report_all
    from benchsweep.cli._report_sources import chosen_sources
    from benchsweep.cli._report_work import ReportJob
    from benchsweep.qualification import (
        RegradeJob,
        check_decision_rule,
        choose_requirements,
        followed_parameters,
        is_series,
        told_conditions,
    )
    from benchsweep.report import assembled, load_texts

    files = output or [Path("report.html")]
    progress = progress_to_stderr(quiet)
    check_files(files, [path for path in records or [] if isinstance(path, Path)])
    stated = _particulars(
        letterhead, number=number, authorised_by=authorised_by, customer=customer, issued_on=issued
    )
    texts = load_texts(language)
    requirements = choose_requirements(against or [])
    rule = check_decision_rule(decision)
    conditions = told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope)
    if not requirements.requirements:
        _refuse_idle(
            length_m=length_m,
            sweep=sweep,
            budget=budget,
            decision=None if rule == "simple" else rule,
            temperature_degc=temperature_degc,
            construction=construction,
            cold_slope=cold_slope or None,
            detail=detail,
            jobs=jobs,
        )
    sources = chosen_sources(
        records or [],
        chosen,
        asked=_was_given(context, "archive"),
        parameters=parameter or [],
        progress=progress,
    )
    if not records:
        check_files(files, [path for path in sources.records if isinstance(path, Path)])
    followed = followed_parameters(parameter or [])
    _refuse_absent(sources.records, sweep)
    recorded = [path for path in sources.records if is_series(path)]
    for path in sources.records:
        if path not in recorded:
            _refuse_of_a_record(
                path,
                graded=bool(requirements.requirements),
                sweep=sweep,
                parameter=parameter if records else None,
                reading=reading,
                leave_out_damaged=leave_out_damaged,
            )
    series = [_series_item(path, followed, reading, leave_out_damaged, quiet) for path in recorded]
    found: list[Reported] = []
    told: Detail = detail.value if detail else "full" if len(sources.records) <= _FULL_UP_TO else "brief"
    if requirements.requirements:
        job = ReportJob(
            RegradeJob.asked(
                requirements.requirements,
                budget=budget,
                decision_rule=rule,
                length_m=length_m,
                conditions=conditions,
            ),
            budget=budget,
            by_pattern=tuple(requirements.by_pattern),
            sweep=sweep,
            language=language,
            detail=told,
        )
        found = report_all(job, [str(path) for path in sources.records], jobs=jobs, progress=progress)
    progress("writing the report")
    document = assembled(
        [one.part for one in found if one.part is not None],
        texts,
        title=title or "",
        particulars=stated,
        series=series,
        detail=told,
    )
    _tell(
        write_files(files, document),
        sources,
        [verdict for one in found for verdict in one.verdicts],
        number=document.number,
        as_json=as_json,
    )
    if sources.damaged:
        raise typer.Exit(ArchiveError.exit_code)


def _particulars(letterhead: Path | None, *, issued_on: str | None, **stated: str | None) -> Particulars:
    """Return what is stated at the head of the report; issued today where nothing else is said."""
    from benchsweep.report import Particulars, load_particulars

    found = Particulars() if letterhead is None else load_particulars(letterhead)
    if issued_on is None and not found.issued_on:
        issued_on = datetime.now(UTC).date().isoformat()
    return found.with_changes(issued_on=issued_on, **stated)


def _was_given(context: typer.Context, name: str) -> bool:
    """Tell whether an option was given, not left at its default."""
    source = context.get_parameter_source(name)
    return source is not None and source.name in ("COMMANDLINE", "ENVIRONMENT")


def _series_item(
    path: Source, followed: Sequence[Parameter], reading: str | None, leave_out_damaged: bool, quiet: bool
) -> SeriesItem:
    """Return the change of a series over its time, ready to be drawn."""
    from benchsweep.qualification import notes_about, series_change
    from benchsweep.records import Comment
    from benchsweep.report import SeriesItem

    shown = series_change(
        path,
        parameters=followed,
        reading=reading,
        leave_out_damaged=leave_out_damaged,
        progress=progress_of(path, quiet=quiet),
    )
    comments = [note for note in notes_about(path) if isinstance(note, Comment)]
    return SeriesItem(shown.head, shown.summary, str(path), shown.content_hash, comments)


def _tell(
    written: Sequence[Path], sources: Sources, verdicts: Sequence[Verdict], *, number: str, as_json: bool
) -> None:
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written[0]),
                "reports": [str(path) for path in written],
                "number": number,
                "records": [str(path) for path in sources.records],
                "outcomes": [str(verdict.outcome) for verdict in verdicts],
                "damaged": [{"record": record, "reason": reason} for record, reason in sources.damaged],
            }
        )
        return
    print_text("\n".join((*map(_line, verdicts), *(f"report {path}" for path in written))))


def _line(verdict: Verdict) -> str:
    return f"{verdict.outcome}: {verdict.specimen}, {verdict.requirement}, {verdict.record}"


def _refuse_of_a_record(path: Source, *, graded: bool, **given: object) -> None:
    """Refuse for a record what is of a series only, and a record without anything to grade it against."""
    refuse_series_options(path, **given)
    if not graded:
        raise UsageError(f"{path}: a record is reported against a requirement", hint="Give --against a name.")


def _refuse_idle(**given: object) -> None:
    for name, value in given.items():
        if value is not None:
            option = f"--{name.replace('_', '-')}"
            raise UsageError(
                f"{option} does nothing without --against", hint="Give --against, or leave it out."
            )


def _refuse_absent(records: Sequence[Source], sweep: int | None) -> None:
    """Refuse records and sweeps that do not exist, before a long series is read."""
    from benchsweep.qualification import is_series, series_sweep

    for path in records:
        refuse_missing(path)
        if sweep is not None and is_series(path):
            series_sweep(path, sweep)
