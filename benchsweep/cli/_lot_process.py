from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, LotArchive, requirement_names
from benchsweep.cli._output import print_json, print_text, say, table_width
from benchsweep.errors import UsageError

__all__ = ["process"]


class Ends(StrEnum):
    """Which margin of a reel is charted."""

    WORST = "worst"
    A = "A"
    B = "B"
    BOTH = "both"


def _parameters(incomplete: str) -> list[str]:
    from benchsweep.records import Parameter

    return [str(parameter) for parameter in Parameter if parameter.startswith(incomplete)]


def process(
    product: Annotated[str, typer.Option("--product", metavar="NAME", help="What the reels are of.")],
    supplier: Annotated[
        str, typer.Option("--supplier", metavar="NAME", help="Only lots of this supplier; all by default.")
    ] = "",
    against: Annotated[
        str,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Only lots that were graded against it.",
        ),
    ] = "",
    parameter: Annotated[
        list[str] | None,
        typer.Option(
            "--parameter",
            metavar="PARAMETER",
            autocompletion=_parameters,
            help="Draw every chart of this parameter, for example next; repeatable. Without it: a line for "
            "each parameter, and the charts that have a signal.",
        ),
    ] = None,
    ends: Annotated[
        Ends, typer.Option("--ends", help="The worst of both ends of a reel, one of them, or each by itself.")
    ] = Ends.WORST,
    baseline: Annotated[
        int | None,
        typer.Option(
            "--baseline",
            metavar="N",
            min=2,
            help="The first N reels set centre and limits of the charts; all by default.",
        ),
    ] = None,
    output: Annotated[
        list[Path] | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Also write a report: `.html` or `.pdf`; may be given several times.",
        ),
    ] = None,
    language: Annotated[
        str,
        typer.Option("--language", metavar="NAME", help="Language of the report: `en`, or a translation."),
    ] = "en",
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Follow a product over its lots: margins of every reel, capability with its bound, control charts.

    A signal is a point beyond the control limits of a chart of single values or means, or of an EWMA chart,
    which sees slow drift. Run rules are told for information: with all of them false alarms are four times as
    frequent. A signal asks for a look, it is no failure: the exit code stays 0, --json tells each.

    Example: `benchsweep lot process --product C6-23 --parameter next`
    """
    from benchsweep.qualification import process_document, process_views
    from benchsweep.records import Parameter

    wanted = []
    for word in parameter or ():
        try:
            wanted.append(Parameter(word))
        except ValueError:
            raise UsageError(
                f"{word!r} is no parameter", hint=f"There are {', '.join(map(str, Parameter))}."
            ) from None
    files = output or []
    if files:
        from benchsweep.cli._report_files import check_files

        check_files(files, [archive])
    views = process_views(
        archive,
        product=product,
        supplier=supplier,
        requirement=against,
        parameters=tuple(wanted),
        ends=ends.value,
        baseline=baseline,
    )
    if files:
        from benchsweep.cli._report_files import write_files
        from benchsweep.qualification import practice_of
        from benchsweep.report import load_texts, process_report_document

        document = process_report_document(views, load_texts(language), practice=practice_of(archive, views))
        for path in write_files(files, document):
            say(f"written: {path}")
    if as_json:
        print_json(process_document(views))
    else:
        from benchsweep.cli._worst_trace import plain_terminal
        from benchsweep.report import process_list, process_table

        width, ascii_only = table_width(), plain_terminal()
        told = [process_list(views, width=width)]
        told += [
            process_table(view, width=width, ascii_only=ascii_only, signalled_only=not wanted)
            for view in views
            if wanted or any(signal.decisive for chart in view.charts for signal in chart.signals)
        ]
        print_text("\n".join(told).rstrip("\n"))
        if not wanted:
            say("--parameter draws every chart of one parameter")
