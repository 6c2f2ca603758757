from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import Against, AsJson, LengthM, Quiet, Records
from benchsweep.cli._output import print_json, print_text, progress_to_stderr

if TYPE_CHECKING:
    from benchsweep.records import Verdict

__all__ = ["report"]


def report(
    records: Records,
    against: Against,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="Where to write it.")] = Path(
        "report.html"
    ),
    length_m: LengthM = None,
    title: Annotated[
        str, typer.Option("--title", metavar="TEXT", help="Title of the report.")
    ] = "Test report",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write one self-contained HTML report of records graded against a requirement.

    The exit code says whether the report could be written, not what is in it.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html`
    """
    from benchsweep.cli._items import report_items
    from benchsweep.qualification import grade_record, load_requirements
    from benchsweep.report import write_html

    progress = progress_to_stderr(quiet)
    requirements = load_requirements(against)
    items = []
    verdicts: list[Verdict] = []
    for number, path in enumerate(records, start=1):
        progress(f"record {number} of {len(records)}: {path}")
        graded = grade_record(path, requirements, length_m=length_m)
        verdicts += graded.verdicts
        items += report_items(graded)
    progress("drawing")
    written = write_html(output, items, title=title)
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
    for verdict in verdicts:
        print_text(f"{verdict.outcome}: {verdict.specimen}, {verdict.requirement}, {verdict.record}")
    print_text(f"report {written}")
