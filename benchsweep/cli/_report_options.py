"""The options of `report` that no other command has."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import requirement_names

__all__ = [
    "Against",
    "AuthorisedBy",
    "Customer",
    "FollowOrFind",
    "HowMuch",
    "Issued",
    "Jobs",
    "Language",
    "Letterhead",
    "Number",
    "Output",
    "Title",
]


class _Detail(StrEnum):
    FULL = "full"
    BRIEF = "brief"


def _stated(context: typer.Context, parameter: typer.CallbackParam, value: str | None) -> str | None:
    """Refuse a text with nothing in it, or with a character that could only be printed as a question mark.

    Raises
    ------
    UsageError
    """
    if value is not None and not context.resilient_parsing:
        from benchsweep.report import check_stated

        check_stated(value, parameter.opts[0])
    return value


Against = Annotated[
    list[str] | None,
    typer.Option(
        "--against",
        metavar="REQUIREMENT",
        autocompletion=requirement_names,
        help="Requirement to grade against, or a quoted pattern of names such as 'tia-*-channel'; may be "
        "given several times. A series needs none.",
    ),
]
Output = Annotated[
    list[Path] | None,
    typer.Option(
        "--output",
        "-o",
        metavar="FILE",
        help="Where to write it: `.html` or `.pdf`; may be given several times. report.html by default.",
    ),
]
FollowOrFind = Annotated[
    list[str] | None,
    typer.Option(
        "--parameter",
        metavar="P",
        help="Of a series: follow the change of insertion_loss, return_loss, next, fext or tcl; repeatable. "
        "Of an archive: whose newest grading holds one of these.",
    ),
]
Title = Annotated[
    str | None, typer.Option("--title", metavar="TEXT", callback=_stated, help="Title of the report.")
]
Letterhead = Annotated[
    Path | None,
    typer.Option(
        "--letterhead",
        metavar="FILE",
        help="What stands at its head, as TOML: number, authorised_by, function, issued_on, ..., and tables "
        "laboratory and customer.",
    ),
]
Number = Annotated[
    str | None,
    typer.Option(
        "--number",
        metavar="TEXT",
        callback=_stated,
        help="Number of the report, the same on every page; else one is derived from what is in it.",
    ),
]
AuthorisedBy = Annotated[
    str | None,
    typer.Option("--authorised-by", metavar="NAME", callback=_stated, help="Who authorises the report."),
]
Customer = Annotated[
    str | None,
    typer.Option("--customer", metavar="NAME", callback=_stated, help="For whom it is."),
]
Issued = Annotated[
    str | None,
    typer.Option("--issued", metavar="DATE", help="When it is issued: 2026-11-28; today (UTC) by default."),
]
Language = Annotated[
    str,
    typer.Option(
        "--language",
        metavar="NAME",
        help="Language of its words: `en`, or a translation by its name or path.",
    ),
]
HowMuch = Annotated[
    _Detail | None,
    typer.Option(
        "--detail",
        help="How much is told of each record: all, or what it is judged by. Full up to four records by "
        "default.",
    ),
]
Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs", metavar="N", min=1, help="How many processes; by default as many as make it faster."
    ),
]
