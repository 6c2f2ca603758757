from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

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
    SweepNumber,
    TemperatureDegc,
)
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr
from benchsweep.cli._report_options import (
    Against,
    AuthorisedBy,
    Customer,
    FollowOrFind,
    HowMuch,
    Issued,
    Jobs,
    Language,
    Letterhead,
    Number,
    Output,
    Title,
)
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.cli._series import LeaveOutDamaged, Reading
from benchsweep.errors import ArchiveError

if TYPE_CHECKING:
    from benchsweep.cli._report_sources import Sources
    from benchsweep.cli._report_work import Reported
    from benchsweep.report import Particulars

__all__ = ["particulars", "report"]

_FULL_UP_TO = 4


@chooses_records
def report(
    context: typer.Context,
    chosen: Chosen,
    records: MaybeRecords = None,
    against: Against = None,
    output: Output = None,
    sweep: SweepNumber = None,
    parameter: FollowOrFind = None,
    reading: Reading = None,
    leave_out_damaged: LeaveOutDamaged = False,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    title: Title = None,
    letterhead: Letterhead = None,
    number: Number = None,
    authorised_by: AuthorisedBy = None,
    customer: Customer = None,
    issued: Issued = None,
    language: Language = "en",
    detail: HowMuch = None,
    jobs: Jobs = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write a report of records graded against one requirement or several: an HTML page, a PDF, or both.

    The page needs no network. A record that is graded against several is drawn once, with all their limits.
    Faults that were found are told with their place; return loss, crosstalk and impedance are drawn over the
    distance where the grid allows it. Of several records there is an overview first.

    Records are named, or chosen from an archive as `archive find` does. Of a series, finished or the folder
    of an unfinished one: its change over time, and with --against one of its sweeps graded.

    An older report is replaced, any other file never. The exit code says whether the report could be written,
    not what is in it; it is 6 also where files of the archive cannot be read that may belong in it.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html -o cords.pdf`

    Example: `benchsweep report --archive archive --lot T118 --against tia-6a-cord --number 2026-041`
    """
    from benchsweep.cli._report_files import check_files, write_files
    from benchsweep.cli._report_job import report_job
    from benchsweep.cli._report_run import report_all
    from benchsweep.cli._report_series import Following, series_items
    from benchsweep.cli._report_sources import chosen_sources
    from benchsweep.report import assembled, load_texts

    files = output or [Path("report.html")]
    progress = progress_to_stderr(quiet)
    check_files(files, records or ())
    stated = particulars(
        letterhead, number=number, authorised_by=authorised_by, customer=customer, issued_on=issued
    )
    texts = load_texts(language)
    job = report_job(
        against or (),
        decision=decision,
        length_m=length_m,
        temperature_degc=temperature_degc,
        construction=construction,
        cold_slope=cold_slope,
        budget=budget,
        sweep=sweep,
        language=language,
        detail=detail or "",
    )
    sources = chosen_sources(
        records or (),
        chosen,
        asked=_was_given(context, "archive"),
        parameters=parameter or (),
        progress=progress,
    )
    check_files(files, sources.records)
    series = series_items(
        sources.records,
        Following(parameter or (), reading, leave_out_damaged, sweep),
        graded=job is not None,
        named=bool(records),
        quiet=quiet,
    )
    found: list[Reported] = []
    if job is not None:
        if not detail:
            job = replace(job, detail="full" if len(sources.records) <= _FULL_UP_TO else "brief")
        found = report_all(job, [str(path) for path in sources.records], jobs=jobs, progress=progress)
    progress("writing the report")
    document = assembled(
        [one.part for one in found if one.part is not None],
        texts,
        title=(title or "").strip(),
        particulars=stated,
        series=series,
        detail="full" if job is None else job.detail,
    )
    _tell(write_files(files, document), sources, found, number=document.number, as_json=as_json)
    if sources.damaged:
        raise typer.Exit(ArchiveError.exit_code)


def particulars(letterhead: Path | None, *, issued_on: str | None, **stated: str | None) -> Particulars:
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


def _tell(
    written: Sequence[Path], sources: Sources, found: Sequence[Reported], *, number: str, as_json: bool
) -> None:
    verdicts = [verdict for one in found for verdict in one.verdicts]
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written[0]),
                "reports": [str(path) for path in written],
                "number": number,
                "records": [str(path) for path in sources.records],
                "outcomes": [str(verdict.outcome) for verdict in verdicts],
                "doubts": [list(verdict.doubts) for verdict in verdicts],
                "damaged": [{"record": record, "reason": reason} for record, reason in sources.damaged],
            }
        )
        return
    doubtful = [each for one in found if one.part is not None for each in one.part.summary.doubtful]
    lines = [
        f"{one.outcome}{', doubtful' if doubts else ''}: {one.specimen}, {one.requirement}, {one.record}"
        for one, doubts in zip(verdicts, doubtful, strict=True)
    ]
    print_lines((*lines, *(f"report {path}" for path in written)))
