"""The verbs of `benchsweep compare study`: draw up, add, look, report."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import MappingName, StudyName
from benchsweep.cli._compare_text import print_study
from benchsweep.cli._options import AsJson, By, ReferenceArchive, plain_text, requirement_names
from benchsweep.cli._output import print_json, print_lines
from benchsweep.cli._report_options import (
    AuthorisedBy,
    Customer,
    Issued,
    Language,
    Letterhead,
    Number,
    Output,
)
from benchsweep.errors import UsageError

__all__ = ["app"]

app = typer.Typer(
    rich_markup_mode="markdown",
    help="Repeatability: who measures what in which order, and what follows from it.",
    no_args_is_help=True,
)


class Design(StrEnum):
    """How a study is laid out."""

    CROSSED = "crossed"
    NESTED = "nested"
    INTERLABORATORY = "interlaboratory"


class Detail(StrEnum):
    """How much a report tells."""

    FULL = "full"
    BRIEF = "brief"


@app.command("plan")
def plan(
    study: StudyName,
    subject: Annotated[
        str,
        typer.Option(
            "--subject",
            metavar="NAME",
            callback=plain_text,
            help="What is studied: `bench`, or the name of a field tester.",
        ),
    ],
    part: Annotated[
        list[str],
        typer.Option("--part", metavar="NAME", help="A channel, link or cord that is measured; repeatable."),
    ],
    operator: Annotated[
        list[str],
        typer.Option(
            "--operator", metavar="NAME", help="Who measures (or which laboratory, tester, day); repeatable."
        ),
    ],
    by: By,
    design: Annotated[
        Design,
        typer.Option(
            "--design",
            help="Everybody measures every part; levels within each other; laboratories after ISO 5725-2.",
        ),
    ] = Design.CROSSED,
    matings: Annotated[
        int, typer.Option("--matings", metavar="N", min=1, help="So many fresh matings of each part.")
    ] = 3,
    trials: Annotated[
        int, typer.Option("--trials", metavar="N", min=1, help="So many readings with the plug left in.")
    ] = 1,
    seed: Annotated[
        str | None,
        typer.Option(
            "--seed",
            metavar="TEXT",
            callback=plain_text,
            help="What the order is made from; chance by default.",
        ),
    ] = None,
    against: Annotated[
        str,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Take worst margins to this requirement from records and files; else values are typed in.",
        ),
    ] = "",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Draw up a study: who measures what in which order. The order is random, so that drift is no effect.

    Example: `benchsweep compare study plan winter --subject FT-07 --part "reference 2" --part "reference 3"
    --operator Maren --operator Ilja --matings 3 --against tia-6-channel --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import plan_study

    view = plan_study(
        archive,
        study,
        subject=subject,
        kind=design.value,
        parts=part,
        operators=operator,
        matings=matings,
        trials=trials,
        seed=seed,
        requirement=against,
        by=by,
    )
    print_study(view, every=True, as_json=as_json)


@app.command("add")
def add(
    study: StudyName,
    run: Annotated[int, typer.Argument(metavar="RUN", min=1, help="Number of the run in the design.")],
    by: By,
    source: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Record (.h5) or the tester's file; else --value."),
    ] = None,
    mapping: MappingName = None,
    value: Annotated[
        list[str] | None,
        typer.Option(
            "--value", metavar="WHAT=NUMBER", help="A value typed in, such as 'next A 36-45=3.1'; repeatable."
        ),
    ] = None,
    again: Annotated[
        str,
        typer.Option(
            "--again",
            metavar="REASON",
            callback=plain_text,
            help="Why an earlier result of the same run does not count any more.",
        ),
    ] = "",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Add the result of a run of a study.

    Example: `benchsweep compare study add winter 3 ft07-run3.csv --mapping wide-values --by Ilja`
    """
    from benchsweep.qualification.comparisons import add_study_result

    typed = {}
    for text in value or ():
        what, sign, number = text.rpartition("=")
        try:
            typed[what.strip()] = float(number)
        except ValueError:
            sign = ""
        if not sign or not what.strip():
            raise UsageError(f"--value {text!r} says no number", hint="Write 'next A 36-45=3.1'.")
    view = add_study_result(
        archive, study, run, source=source, mapping=mapping, typed=typed, again_because=again, by=by
    )
    print_study(view, as_json=as_json)


@app.command("show")
def show(
    study: StudyName,
    every: Annotated[
        bool, typer.Option("--every", help="Print every run and the evaluation of every trace.")
    ] = False,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Tell where a study stands: what comes next; of a whole one each parameter by its worst trace.

    Also what a statement takes of mating from it, and from how many traces.

    Example: `benchsweep compare study show winter`
    """
    from benchsweep.qualification.comparisons import read_study

    print_study(read_study(archive, study), every=every, as_json=as_json)


@app.command("report")
def report(
    study: StudyName,
    output: Output = None,
    letterhead: Letterhead = None,
    number: Number = None,
    authorised_by: AuthorisedBy = None,
    customer: Customer = None,
    issued: Issued = None,
    detail: Annotated[
        Detail | None,
        typer.Option(
            "--detail",
            help="With the evaluation of every trace, or each parameter by its worst one. Full up to twelve "
            "traces by default.",
        ),
    ] = None,
    language: Language = "en",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Write the report on a study: an HTML page, a PDF, or both.

    Example: `benchsweep compare study report winter -o winter.pdf`
    """
    from benchsweep.cli._compare_items import study_item
    from benchsweep.cli._report import particulars
    from benchsweep.cli._report_files import check_files, write_files
    from benchsweep.qualification.comparisons import read_study
    from benchsweep.report import load_texts, study_document

    files = output or [Path("report.html")]
    check_files(files, [archive])
    texts = load_texts(language)
    stated = particulars(
        letterhead, number=number, authorised_by=authorised_by, customer=customer, issued_on=issued
    )
    document = study_document(
        study_item(read_study(archive, study)),
        texts,
        particulars=stated,
        detail=detail.value if detail else "",
    )
    written = write_files(files, document)
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written[0]),
                "reports": [str(path) for path in written],
                "number": document.number,
                "study": study,
            }
        )
    else:
        print_lines(f"report {path}" for path in written)
