"""The options that several commands of `benchsweep compare` share."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import plain_text

__all__ = [
    "ChannelName",
    "EveryDays",
    "Kind",
    "KindName",
    "MappingName",
    "Reason",
    "ReferenceName",
    "Remarks",
    "ResultFile",
    "Statement",
    "StudyName",
    "TesterName",
    "Told",
    "accuracy_names",
]


class Kind(StrEnum):
    """What is meant: a channel or a tester may have the same name."""

    CHANNEL = "channel"
    TESTER = "tester"


def _mappings(incomplete: str) -> list[str]:
    from benchsweep.testers import mappings

    return [name for name in mappings() if name.startswith(incomplete)]


def accuracy_names(incomplete: str) -> list[str]:
    """Return the names of accuracy files that begin so, for completion."""
    from benchsweep.testers import accuracies

    return [name for name in accuracies() if name.startswith(incomplete)]


KindName = Annotated[Kind, typer.Argument(metavar="KIND", help="`channel` or `tester`.")]
ReferenceName = Annotated[str, typer.Argument(metavar="NAME", help="As it was registered.")]
ChannelName = Annotated[
    str, typer.Argument(metavar="CHANNEL", help="The reference channel, as it was registered.")
]
TesterName = Annotated[str, typer.Argument(metavar="TESTER", help="The field tester, as it was registered.")]
StudyName = Annotated[str, typer.Argument(metavar="STUDY", help="What the study is called.")]
ResultFile = Annotated[
    Path | None,
    typer.Argument(
        metavar="FILE",
        help="What the tester wrote: a CSV file, or a Touchstone file. Left out with --told.",
    ),
]
MappingName = Annotated[
    str | None,
    typer.Option(
        "--mapping",
        metavar="NAME",
        autocompletion=_mappings,
        help="What the columns of a CSV file mean: a name (see `benchsweep compare mappings`), or a "
        ".toml file.",
    ),
]
Told = Annotated[
    list[str] | None,
    typer.Option(
        "--told",
        metavar="TEXT",
        help="A number read off the tester, such as 'next A 36-45 margin 3.2 at 233.5 MHz'; repeatable.",
    ),
]
Statement = Annotated[
    Path | None,
    typer.Option(
        "--statement",
        metavar="FILE",
        help="What mating and temperature add to the uncertainty of the difference (TOML, see README).",
    ),
]
EveryDays = Annotated[
    float,
    typer.Option("--every-days", metavar="DAYS", help="It is due again after so many days at the latest."),
]
Reason = Annotated[
    str, typer.Option("--reason", metavar="TEXT", callback=plain_text, help="Why; kept in the history.")
]
Remarks = Annotated[
    str, typer.Option("--remarks", metavar="TEXT", callback=plain_text, help="Anything else worth keeping.")
]
