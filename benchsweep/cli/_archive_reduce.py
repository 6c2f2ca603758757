from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._archive_regrade import Jobs, Scheduler, say_warnings, told_progress
from benchsweep.cli._options import AsJson, Quiet, plain_text
from benchsweep.cli._output import counted, print_json, print_text, progress_to_stderr, say
from benchsweep.cli._selection import Chosen, chooses_records

__all__ = ["reduce"]


@chooses_records
def reduce(
    chosen: Chosen,
    apply_calibration: Annotated[
        Path,
        typer.Option(
            "--apply-calibration",
            metavar="FILE",
            help="Stored calibration (.h5) to correct the raw sweeps with; --calibration chooses records.",
        ),
    ],
    reason: Annotated[
        str,
        typer.Option("--reason", metavar="TEXT", callback=plain_text, help="Why; kept in every new record."),
    ],
    fixture: Annotated[
        str | None,
        typer.Option(
            "--fixture",
            metavar="FIXTURE",
            help="Fixture in place of those of the records: a name, or the path of a .toml file.",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", metavar="DIR", help="Folder for the new records; beside the old ones by default."
        ),
    ] = None,
    jobs: Jobs = None,
    scheduler: Scheduler = "",
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Reduce the raw sweeps of many records again, with another calibration; the old records stay.

    Each new record names the one it comes from and the reason, and has the corrections of that one
    (`benchsweep archive correct`) in it, and the time of the measurement; comments and kept gradings stay
    with the old one, which is left out of selections from then on unless --superseded is given. What was
    reduced with this calibration already is passed over, so an interrupted run goes on where it stopped.

    Exit code 6 when a record, or what may be a correction of it, is damaged: such a record is not reduced.
    Else 1 when one cannot be reduced: other analyzer, grid or ports, or an imported record.

    Example: `benchsweep archive reduce --apply-calibration calibrations/20261128T080000Z-bench-2.h5 --reason
    "load standard of kit 3 was worn" --calibration 'bench-2*' --since 2026-11-20`
    """
    from benchsweep.qualification import (
        ReduceJob,
        chosen_items,
        exit_code_of_reduce,
        reduce_again,
        reduce_document,
        runner_for,
    )

    job = ReduceJob.asked(apply_calibration, fixture)
    items, damaged, warnings = chosen_items(chosen.root, chosen.selection, progress=progress_to_stderr(quiet))
    found = reduce_again(
        items,
        job,
        runner_for(len(items), jobs=jobs, scheduler=scheduler, progress=progress_to_stderr(quiet)),
        reason=reason,
        folder=output,
        damaged=damaged,
        progress=None if quiet else told_progress(),
    )
    found.warnings += warnings
    document = reduce_document(found)
    say_warnings(document)
    for problem in (*document["damaged"], *document["not_reduced"]):
        say(f"{problem['record']}: {problem['reason']}")
    if as_json:
        print_json(document)
    else:
        already = (
            f", {found.already} {'was' if found.already == 1 else 'were'} already" if found.already else ""
        )
        done = f"{len(found.written)} of {counted(found.records, 'record')} reduced again"
        print_text(f"{done} in {document['seconds']} s{already}")
    if found.written and not quiet:
        say("the new records have no kept verdict yet; to grade them: `archive regrade --against … --keep`")
    raise typer.Exit(exit_code_of_reduce(found))
