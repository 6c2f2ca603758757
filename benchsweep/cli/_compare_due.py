from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, ReferenceArchive
from benchsweep.cli._output import print_json, print_text, say, table_width
from benchsweep.errors import ArchiveError

__all__ = ["due"]


def due(
    within_days: Annotated[
        float | None,
        typer.Option(
            "--within-days", metavar="DAYS", min=0.0, help="Only what is due within so many days, or overdue."
        ),
    ] = None,
    at: Annotated[
        str, typer.Option("--at", metavar="DATE", help="As on this day: 2026-11-28; today by default.")
    ] = "",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """List which channels and testers are due, and the interval that the history of each suggests.

    Suggestions follow ILAC-G24:2022 (staircase, time in use); an interval changes only by `compare interval`.
    Exit code 1 when something is overdue.

    Example: `benchsweep compare due --within-days 30`
    """
    from benchsweep.qualification.comparisons import due as found_due
    from benchsweep.qualification.comparisons import due_document

    unread: list[tuple[str | Path, ArchiveError]] = []
    found = found_due(archive, at=at, unread=unread)
    nothing = not found
    if within_days is not None:
        found = tuple(
            each
            for each in found
            if not each.withdrawn and (each.days_left is None or each.days_left <= within_days)
        )
    if as_json:
        print_json(due_document(found))
    elif found:
        from benchsweep.report import due_table

        print_text(due_table(found, width=table_width()).rstrip("\n"))
    else:
        say(f"no reference channels and no field testers in {archive}" if nothing else "nothing is due")
    for _, error in unread:
        say(f"damaged: {error.message}")
        say(f"  {error.hint}")
    if unread:
        raise typer.Exit(ArchiveError.exit_code)
    late = any(not each.withdrawn and (each.days_left is None or each.days_left < 0.0) for each in found)
    raise typer.Exit(1 if late else 0)
