from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import MappingName, ResultFile, Told
from benchsweep.cli._options import AsJson, ReferenceArchive
from benchsweep.cli._output import print_json, print_text, table_width

__all__ = ["look"]


def look(
    file: ResultFile = None,
    mapping: MappingName = None,
    told: Told = None,
    channel: Annotated[
        str | None,
        typer.Option("--channel", metavar="NAME", help="Hold it against the bench record of this channel."),
    ] = None,
    every: Annotated[
        bool, typer.Option("--every", help="Print every trace and number, not only a row per parameter.")
    ] = False,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Look at what a tester's file says and whether it fits the channel; nothing is kept.

    Pairs or ends exchanged, a wrong unit or sign, margins taken for values are noticed against the bench; the
    last sentence says whether it fits and what it lacks. Exit code 3 when something does not fit.

    Example: `benchsweep compare look ft07.csv --mapping wide-values --channel "reference 2"`
    """
    from benchsweep.qualification.comparisons import look_at_result, looked_document

    found = look_at_result(archive, channel, file=file, mapping=mapping, told=told or ())
    if as_json:
        print_json(looked_document(found))
    else:
        from benchsweep.report import field_result_table

        told_table = field_result_table(
            found.result,
            found.suspicions,
            found.rows,
            closing=found.words,
            every=every,
            width=table_width(),
        )
        print_text(told_table.rstrip("\n"))
    raise typer.Exit(3 if any(each.hinders for each in found.suspicions) else 0)
