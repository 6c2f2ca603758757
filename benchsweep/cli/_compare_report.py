from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import TesterName
from benchsweep.cli._options import AsJson, Quiet, ReferenceArchive
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr
from benchsweep.cli._report_options import (
    AuthorisedBy,
    Customer,
    Issued,
    Language,
    Letterhead,
    Number,
    Output,
)

__all__ = ["report"]


def report(
    tester: TesterName,
    comparison: Annotated[
        int | None,
        typer.Option(
            "--comparison",
            metavar="N",
            min=1,
            help="Which comparison of its history; the last by default.",
        ),
    ] = None,
    output: Output = None,
    letterhead: Letterhead = None,
    number: Number = None,
    authorised_by: AuthorisedBy = None,
    customer: Customer = None,
    issued: Issued = None,
    language: Language = "en",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the report on a comparison of a field tester: an HTML page, a PDF, or both.

    Whether it agrees and why, every trace beside the bench, differences over frequency with their
    uncertainty, limits of agreement, what was found before, when it is due again. The exit code says whether
    the report could be written.

    Example: `benchsweep compare report FT-07 -o ft07.pdf --letterhead laboratory.toml`
    """
    from benchsweep.cli._compare_items import comparison_item
    from benchsweep.cli._report import particulars
    from benchsweep.cli._report_files import check_files, write_files
    from benchsweep.qualification.comparisons import read_tester
    from benchsweep.report import comparison_document, load_texts

    files = output or [Path("report.html")]
    check_files(files, [archive])
    texts = load_texts(language)
    stated = particulars(
        letterhead, number=number, authorised_by=authorised_by, customer=customer, issued_on=issued
    )
    progress = progress_to_stderr(quiet)
    view = read_tester(archive, tester)
    item = comparison_item(view, comparison, progress=progress)
    progress("writing the report")
    document = comparison_document(item, texts, particulars=stated)
    written = write_files(files, document)
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written[0]),
                "reports": [str(path) for path in written],
                "number": document.number,
                "tester": view.registered.tester,
                "comparison": item.number,
                "digest": view.digest,
            }
        )
    else:
        print_lines(f"report {path}" for path in written)
