from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import Against, AsJson, LengthM, Records
from benchsweep.cli._output import print_json, print_text

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
) -> None:
    """Write one self-contained HTML report of records graded against a requirement.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html`
    """
    from benchsweep.cli._items import report_items
    from benchsweep.qualification import grade_record, load_requirements
    from benchsweep.report import write_html

    requirements = load_requirements(against)
    items = []
    for path in records:
        items += report_items(grade_record(path, requirements, length_m=length_m))
    written = write_html(output, items, title=title)
    if as_json:
        print_json(
            {"schema": "benchsweep.report/1", "report": str(written), "records": [str(p) for p in records]}
        )
    else:
        print_text(f"report {written}")
