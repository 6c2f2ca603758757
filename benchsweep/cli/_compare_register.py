from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._compare_options import EveryDays, Remarks, accuracy_names
from benchsweep.cli._compare_text import print_channel, print_tester
from benchsweep.cli._lot_options import one_requirement
from benchsweep.cli._options import AsJson, By, ReferenceArchive, plain_text, requirement_names

__all__ = ["channel", "field_tester"]


def channel(
    name: Annotated[
        str,
        typer.Argument(metavar="CHANNEL", help="What it is called: the specimen that its records must name."),
    ],
    against: Annotated[
        str,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement that margins are counted against.",
        ),
    ],
    by: By,
    part: Annotated[
        list[str] | None,
        typer.Option(
            "--part",
            metavar="TEXT",
            callback=lambda context, parameter, value: [
                plain_text(context, parameter, each) for each in value or ()
            ],
            help="What it is made of, from end A on; repeatable.",
        ),
    ] = None,
    length_m: Annotated[
        float | None, typer.Option("--length-m", metavar="M", help="Its length in metres.")
    ] = None,
    every_days: EveryDays = 180.0,
    remarks: Remarks = "",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Register a reference channel: a link kept for comparing, measured on the bench again and again.

    Example: `benchsweep compare channel "reference 2" --part "2 m cord" --part "90 m cable" --part "5 m cord"
    --length-m 97 --against tia-6-channel --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import register_channel

    view = register_channel(
        archive,
        name,
        parts=tuple(part or ()),
        length_m=length_m,
        requirement=one_requirement(against),
        every_days=every_days,
        by=by,
        remarks=remarks,
    )
    print_channel(view, as_json=as_json)


def field_tester(
    name: Annotated[
        str, typer.Argument(metavar="TESTER", help="What the laboratory calls it, an inventory number.")
    ],
    by: By,
    accuracy: Annotated[
        str,
        typer.Option(
            "--accuracy",
            metavar="NAME",
            autocompletion=accuracy_names,
            help="Its declared accuracy: a name, or a .toml file that the laboratory filled. Without it "
            "nothing can be decided.",
        ),
    ] = "",
    every_days: EveryDays = 90.0,
    remarks: Remarks = "",
    archive: ReferenceArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Register a field tester with the accuracy that is declared for it.

    Example: `benchsweep compare tester FT-07 --accuracy demonstration --by "I. Vogt"`
    """
    from benchsweep.qualification.comparisons import register_tester

    view = register_tester(archive, name, accuracy=accuracy, every_days=every_days, by=by, remarks=remarks)
    print_tester(view, as_json=as_json)
