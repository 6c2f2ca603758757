from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.cli._options import AsJson, LotArchive, LotName, Quiet
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

if TYPE_CHECKING:
    pass

__all__ = ["report"]


def report(
    lot: LotName,
    output: Output = None,
    letterhead: Letterhead = None,
    number: Number = None,
    authorised_by: AuthorisedBy = None,
    customer: Customer = None,
    issued: Issued = None,
    language: Language = "en",
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the report of a lot: an HTML page, a PDF, or both.

    The decision, the plan and why this severity, every reel, the worst traces against the limit, what the
    plan accepts, the charts of the product up to now, who did what and why, and how the draw can be checked.
    Of an open lot, too: it says so. The exit code says whether the report could be written.

    Example: `benchsweep lot report 26-118 -o 26-118.pdf`
    """
    from benchsweep.cli._lot_items import lot_item
    from benchsweep.cli._report import particulars
    from benchsweep.cli._report_files import check_files, write_files
    from benchsweep.qualification import read_lot
    from benchsweep.report import load_texts, lot_document

    files = output or [Path("report.html")]
    check_files(files, [archive])
    texts = load_texts(language)
    stated = particulars(
        letterhead, number=number, authorised_by=authorised_by, customer=customer, issued_on=issued
    )
    progress = progress_to_stderr(quiet)
    view = read_lot(archive, lot)
    item = lot_item(view, progress=progress)
    progress("writing the report")
    document = lot_document(item, texts, particulars=stated)
    written = write_files(files, document)
    if as_json:
        print_json(
            {
                "schema": "benchsweep.report/1",
                "report": str(written[0]),
                "reports": [str(path) for path in written],
                "number": document.number,
                "lot": view.name,
                "digest": view.digest,
            }
        )
    else:
        print_lines(f"report {path}" for path in written)
