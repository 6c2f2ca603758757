from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import (
    ChannelName,
    MappingName,
    ResultFile,
    Statement,
    TesterName,
    Told,
)
from benchsweep.cli._compare_text import print_comparison
from benchsweep.cli._options import AsJson, By, ReferenceArchive, plain_text

__all__ = ["add"]


def add(
    tester: TesterName,
    channel: ChannelName,
    by: By,
    file: ResultFile = None,
    mapping: MappingName = None,
    told: Told = None,
    record: Annotated[
        Path | None,
        typer.Option(
            "--record",
            metavar="RECORD",
            help="Bench record; the newest that counts of the channel by default.",
        ),
    ] = None,
    statement: Statement = None,
    measured_at: Annotated[
        str,
        typer.Option(
            "--measured-at",
            metavar="TIME",
            callback=plain_text,
            help="When the tester measured (ISO 8601), where its file does not say.",
        ),
    ] = "",
    repairs: Annotated[
        str,
        typer.Option(
            "--repairs",
            metavar="TEXT",
            callback=plain_text,
            help="What was changed on the tester before: adjusted, new plugs, new firmware.",
        ),
    ] = "",
    every: Annotated[bool, typer.Option("--every", help="Print every trace, also those that agree.")] = False,
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Compare what a field tester said of a reference channel with the bench, decide, and keep all of it.

    Exit code 0 agrees, 1 disagrees, 3 undecided: something does not fit, or an uncertainty is not known.

    Example: `benchsweep compare add FT-07 "reference 2" ft07.csv --mapping wide-values --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import compare, exit_code_of_comparison

    view = compare(
        archive,
        tester,
        channel,
        file=file,
        mapping=mapping,
        told=told or (),
        record=record,
        statement=statement,
        measured_at=measured_at,
        repairs=repairs,
        by=by,
    )
    print_comparison(view, every=every, as_json=as_json)
    raise typer.Exit(exit_code_of_comparison(view.compared[-1].comparison))
