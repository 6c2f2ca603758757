from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, By, RecordArgument
from benchsweep.cli._output import print_json, print_lines
from benchsweep.cli._series import refuse_missing
from benchsweep.errors import UsageError

__all__ = ["comment", "correct"]


def comment(
    record: RecordArgument,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is to be said of it.")],
    by: By,
    as_json: AsJson = False,
) -> None:
    """Say something of a record, for whoever looks at it later. The record itself never changes.

    Example: `benchsweep archive comment archive/20260301T101500Z-cord.h5 "is disputed" --by "R. Lind"`
    """
    from benchsweep.qualification import comment_on, note_document

    refuse_missing(record)
    path, note = comment_on(record, text, by=by)
    if as_json:
        print_json(note_document(path, note, record=record))
    else:
        print_lines([f"comment {path}"])


def correct(
    record: RecordArgument,
    by: By,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it is corrected.")],
    specimen: Annotated[
        str | None, typer.Option("--specimen", metavar="ID", help="What the specimen is called instead.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", metavar="LOT", help="Its lot instead; '' for none.")
    ] = None,
    product: Annotated[
        str | None, typer.Option("--product", metavar="NAME", help="What it is instead; '' for not known.")
    ] = None,
    length_m: Annotated[
        float | None, typer.Option("--length-m", metavar="M", help="Its length in metres instead.")
    ] = None,
    no_length: Annotated[bool, typer.Option("--no-length", help="Its length is not known.")] = False,
    description: Annotated[
        str | None, typer.Option("--description", metavar="TEXT", help="Its description instead.")
    ] = None,
    operator: Annotated[
        str | None, typer.Option("--operator", metavar="NAME", help="Who measured it instead.")
    ] = None,
    temperature_degc: Annotated[
        float | None,
        typer.Option("--temperature-degc", metavar="T", help="Temperature of the specimen in degC instead."),
    ] = None,
    no_temperature: Annotated[
        bool, typer.Option("--no-temperature", help="Its temperature is not known.")
    ] = False,
    withdraw: Annotated[
        bool,
        typer.Option(
            "--withdraw",
            help="The record is not to be used any more: what it is graded against is undecided.",
        ),
    ] = False,
    reinstate: Annotated[
        bool, typer.Option("--reinstate", help="A record that was withdrawn is to be used again.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Correct what was noted with a record, or withdraw it. What was measured cannot be corrected.

    The record itself never changes: the correction is a small file of its own, with who, when and why. From
    then on every command reads what it says in place of what the record says, and every verdict names it. Of
    several corrections the last one wins, each of the values by itself.

    Example: `benchsweep archive correct archive/20260301T101500Z-cord.h5 --lot 26-118 --reason "wrong label"
    --by "R. Lind"`
    """
    from benchsweep.qualification import correct as store
    from benchsweep.qualification import note_document

    refuse_missing(record)
    for name, one, other in (
        ("--length-m and --no-length", length_m is not None, no_length),
        ("--temperature-degc and --no-temperature", temperature_degc is not None, no_temperature),
        ("--withdraw and --reinstate", withdraw, reinstate),
    ):
        if one and other:
            raise UsageError(f"{name} contradict each other", hint="Give one of them.")
    changes: dict[str, str | float | None] = {
        key: value
        for key, value in {
            "identifier": specimen,
            "lot": lot,
            "product": product,
            "length_m": length_m,
            "description": description,
            "operator": operator,
            "ambient.temperature_degc": temperature_degc,
        }.items()
        if value is not None
    }
    changes |= {"length_m": None} if no_length else {}
    changes |= {"ambient.temperature_degc": None} if no_temperature else {}
    path, note = store(
        record, changes, by=by, reason=reason, withdrawn=True if withdraw else False if reinstate else None
    )
    if as_json:
        print_json(note_document(path, note, record=record))
    else:
        print_lines([f"correction {path}"])
