"""Options that several commands share: one spelling, one help text."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

__all__ = [
    "Address",
    "Afresh",
    "Against",
    "Ambient",
    "Archive",
    "AsJson",
    "BudgetName",
    "By",
    "CautionsReadBy",
    "ColdSlope",
    "Construction",
    "Decision",
    "Disturbing",
    "LengthM",
    "Lot",
    "LotArchive",
    "LotName",
    "MaybeRecords",
    "Operator",
    "ProductName",
    "Quiet",
    "RecordArgument",
    "Records",
    "ReferenceArchive",
    "Source",
    "SpecimenId",
    "StationDecision",
    "StationName",
    "SweepNumber",
    "SwitchAddress",
    "TemperatureDegc",
    "plain_text",
    "requirement_names",
]

if TYPE_CHECKING:
    Source = Path | str
else:
    # typer knows no unions. What comes is what `_source` gives: a path, or the text of an address.
    Source = Path


def _source(word: str | Path) -> Path | str:
    """Return an address such as ``s3://bucket/x.h5`` as it is, which a `Path` would spoil; else a path."""
    from benchsweep.archive import is_url

    return word if is_url(word) else Path(word)


def _folder_here(word: str | Path) -> Path:
    """Refuse an address where something is going to be written."""
    from benchsweep.archive import is_url

    if is_url(word):
        raise typer.BadParameter(
            f"{word}: records are written to a folder of this machine or network, and copied to a store later"
        )
    return Path(word)


def _names(kind: str, incomplete: str) -> list[str]:
    from benchsweep.definitions import list_definitions

    return [name for name in list_definitions(kind) if name.startswith(incomplete)]


def _stations(incomplete: str) -> list[str]:
    return _names("stations", incomplete)


def _budgets(incomplete: str) -> list[str]:
    return _names("budgets", incomplete)


def _rules(incomplete: str) -> list[str]:
    from benchsweep.qualification import decision_rules

    return [rule for rule in decision_rules() if rule.startswith(incomplete)]


def _constructions(incomplete: str) -> list[str]:
    return [word for word in ("screened", "unscreened") if word.startswith(incomplete)]


def requirement_names(incomplete: str) -> list[str]:
    """Return the requirements that begin so, for a shell that completes words."""
    return _names("requirements", incomplete)


StationName = Annotated[
    str,
    typer.Option(
        "--station",
        metavar="STATION",
        autocompletion=_stations,
        help="Station: a name, or the path of a .toml file. `simulated` is the embedded bench.",
    ),
]
Address = Annotated[
    str | None,
    typer.Option(
        "--address", metavar="VISA", help="VISA address of the analyzer; overrides the station file."
    ),
]
SwitchAddress = Annotated[
    str | None,
    typer.Option(
        "--switch-address",
        metavar="VISA",
        help="VISA address of the relay matrix; overrides the station file.",
    ),
]
CautionsReadBy = Annotated[
    str | None,
    typer.Option(
        "--cautions-read-by",
        metavar="NAME",
        help="Who has read the cautions and obeys them; needed where nobody can be asked.",
    ),
]
Against = Annotated[
    list[str],
    typer.Option(
        "--against",
        metavar="REQUIREMENT",
        autocompletion=requirement_names,
        help="Requirement to grade against, or a quoted pattern of names such as 'tia-*-cord'; may be given "
        "several times (see `benchsweep limits list`).",
    ),
]
SpecimenId = Annotated[
    str, typer.Option("--specimen", metavar="ID", help="What the laboratory calls the specimen.")
]
Lot = Annotated[
    str, typer.Option("--lot", metavar="LOT", help="Production lot it was drawn from, or its drum.")
]
ProductName = Annotated[
    str, typer.Option("--product", metavar="NAME", help="What it is, as its maker names it.")
]


def _lots(context: typer.Context, incomplete: str) -> list[str]:
    """Return the lots of the archive that begin so, for a shell that completes words; none on any trouble."""
    from contextlib import suppress

    with suppress(Exception):
        from benchsweep.qualification import list_lot_views

        folder = Path(context.params.get("archive") or "archive")
        return [view.name for view in list_lot_views(folder, unread=[]) if view.name.startswith(incomplete)]
    return []


LotName = Annotated[
    str, typer.Argument(metavar="LOT", autocompletion=_lots, help="The lot, as it was named when opened.")
]


def plain_text(context: typer.Context, parameter: typer.CallbackParam, value: str | None) -> str | None:
    """Refuse control characters in what a person says of themselves or of a reason: it is kept and printed.

    Raises
    ------
    UsageError
    """
    if value and not context.resilient_parsing:
        from benchsweep.qualification import check_text

        check_text(value, parameter.opts[0], may_be_empty=True)
    return value


By = Annotated[
    str, typer.Option("--by", metavar="NAME", callback=plain_text, help="Who says so; kept with it.")
]
LengthM = Annotated[
    float | None,
    typer.Option("--length-m", metavar="M", help="Length of the specimen in metres; cord limits need it."),
]
Ambient = Annotated[
    list[str] | None,
    typer.Option(
        "--ambient",
        metavar="NAME=VALUE",
        help="Ambient reading typed in, e.g. temperature_degc=21.5; repeatable.",
    ),
]
Disturbing = Annotated[
    int | None,
    typer.Option(
        "--disturbing",
        metavar="N",
        help="Number of cables beside the specimen in its bundle; limits of alien crosstalk need it.",
    ),
]
TemperatureDegc = Annotated[
    float | None,
    typer.Option(
        "--temperature-degc",
        metavar="T",
        help="Temperature of the specimen in degC, for cable; that noted in the record by default.",
    ),
]
Construction = Annotated[
    str | None,
    typer.Option(
        "--construction",
        metavar="WORD",
        autocompletion=_constructions,
        help="`screened` or `unscreened`: how insertion loss changes with temperature.",
    ),
]
ColdSlope = Annotated[
    bool,
    typer.Option(
        "--cold-slope",
        help="Below the reference temperature extend the slope above it, which no standard states.",
    ),
]
Archive = Annotated[
    Path,
    typer.Option(
        "--archive", metavar="DIR", parser=_folder_here, help="Folder that the record is written to."
    ),
]
LotArchive = Annotated[
    Path,
    typer.Option(
        "--archive", metavar="DIR", parser=_folder_here, help="The archive with the lots and their records."
    ),
]
ReferenceArchive = Annotated[
    Path,
    typer.Option(
        "--archive",
        metavar="DIR",
        parser=_folder_here,
        help="The archive with the channels, the testers and the bench records.",
    ),
]
Operator = Annotated[
    str,
    typer.Option("--operator", metavar="NAME", callback=plain_text, help="Who measures; kept in the record."),
]
Decision = Annotated[
    str,
    typer.Option(
        "--decision",
        metavar="RULE",
        autocompletion=_rules,
        help="Decision rule: `simple`, `guard-band` or `four-way`; the last two with a factor as in "
        "`guard-band 0.83`.",
    ),
]
BudgetName = Annotated[
    str | None,
    typer.Option(
        "--budget",
        metavar="NAME",
        autocompletion=_budgets,
        help="Uncertainty budget instead of the record's own: a name, or the path of a .toml file.",
    ),
]
StationDecision = Annotated[
    str | None,
    typer.Option(
        "--decision",
        metavar="RULE",
        help="Decision rule, as for `grade`; what the station says by default.",
    ),
]
SweepNumber = Annotated[
    int | None,
    typer.Option("--sweep", metavar="N", min=1, help="Of a series: this sweep; the last by default."),
]
_RECORDS = typer.Argument(
    metavar="RECORD...",
    parser=_source,
    help="Records and series (.h5), or the folder of an unfinished series; also addresses such as "
    "s3://bucket/record.h5.",
)
Records = Annotated[list[Source], _RECORDS]
MaybeRecords = Annotated[list[Source] | None, _RECORDS]
RecordArgument = Annotated[
    Source,
    typer.Argument(
        metavar="RECORD",
        parser=_source,
        help="Record or series (.h5, or the folder of an unfinished one), or the address of one such as "
        "s3://bucket/record.h5.",
    ),
]
Afresh = Annotated[
    bool, typer.Option("--afresh", help="Forget an interrupted run of the same work and begin anew.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No progress lines on stderr.")]
