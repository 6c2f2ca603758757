from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson, LengthM, Quiet, Records, SweepNumber, requirement_names
from benchsweep.cli._output import print_json, print_text, progress_to_stderr
from benchsweep.cli._series import Follow, Reading, grade_any, progress_of, refuse_sweep
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.records import Verdict

__all__ = ["report"]


def report(
    records: Records,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement to grade against; may be given several times. A series needs none.",
        ),
    ] = None,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="Where to write it.")] = Path(
        "report.html"
    ),
    sweep: SweepNumber = None,
    parameter: Follow = None,
    reading: Reading = None,
    length_m: LengthM = None,
    title: Annotated[
        str, typer.Option("--title", metavar="TEXT", help="Title of the report.")
    ] = "Test report",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write one self-contained HTML report of records graded against a requirement.

    Of a series: its change over time, and with --against one of its sweeps graded. The exit code says whether
    the report could be written, not what is in it.

    Example: `benchsweep report archive/*.h5 --against tia-6a-cord -o cords.html`
    """
    from benchsweep.cli._items import report_items
    from benchsweep.qualification import followed_parameters, is_series, load_requirements, series_change
    from benchsweep.report import SeriesItem, check_target, write_html

    check_target(output, records)
    progress = progress_to_stderr(quiet)
    requirements = load_requirements(against or [])
    followed = followed_parameters(parameter or [])
    items = []
    series = []
    verdicts: list[Verdict] = []
    for number, path in enumerate(records, start=1):
        progress(f"record {number} of {len(records)}: {path}")
        if is_series(path):
            shown = series_change(
                path, parameters=followed, reading=reading, progress=progress_of(path, quiet=quiet)
            )
            series.append(SeriesItem(shown.head, shown.summary, str(path), shown.content_hash))
        else:
            refuse_sweep(path, sweep)
            if not requirements:
                raise UsageError(
                    f"{path}: a record is reported against a requirement", hint="Give --against a name."
                )
        if requirements:
            graded = grade_any(path, requirements, sweep=sweep, length_m=length_m)
            verdicts += graded.verdicts
            items += report_items(graded)
    progress("drawing")
    written = write_html(output, items, title=title, series=series)
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
