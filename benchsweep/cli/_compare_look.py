from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import MappingName, ResultFile, Told
from benchsweep.cli._options import AsJson, LotArchive
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
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Look at what a tester's file says and whether it fits the channel; nothing is kept.

    Pairs or ends exchanged, a wrong unit or sign, margins taken for values are noticed against the bench.
    Exit code 3 when something does not fit.

    Example: `benchsweep compare look ft07.csv --mapping wide-values --channel "reference 2"`
    """
    from benchsweep.qualification.comparisons import look_at_result, looked_document

    found = look_at_result(archive, channel, file=file, mapping=mapping, told=told or ())
    if as_json:
        print_json(looked_document(found))
    else:
        from benchsweep.report import field_result_table

        print_text(
            field_result_table(found.result, found.suspicions, found.differences, width=table_width()).rstrip(
                "\n"
            )
        )
    raise typer.Exit(3 if any(each.hinders for each in found.suspicions) else 0)
