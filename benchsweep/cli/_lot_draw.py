from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, LotArchive, LotName
from benchsweep.cli._output import print_json, print_text, say, table_width

__all__ = ["draw"]


def draw(
    lot: LotName,
    output: Annotated[
        list[Path] | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Also write it to print: `.html` or `.pdf`; may be given several times.",
        ),
    ] = None,
    language: Annotated[
        str,
        typer.Option(
            "--language", metavar="NAME", help="Language of what is printed: `en`, or a translation."
        ),
    ] = "en",
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Print which reels are to be fetched, in the order of the draw, and which come next.

    The draw was made when the lot was opened; this prints it again, what is tested ticked.

    Example: `benchsweep lot draw 26-118 -o pick.pdf`
    """
    from benchsweep.qualification import lot_document, read_lot

    files = output or []
    if files:
        from benchsweep.cli._report_files import check_files

        check_files(files, [archive])
    view = read_lot(archive, lot)
    if files:
        from benchsweep.cli._report_files import write_files
        from benchsweep.report import load_texts, pick_list_document

        for path in write_files(files, pick_list_document(view.state, load_texts(language))):
            say(f"written: {path}")
    if as_json:
        print_json(lot_document(view))
        return
    from benchsweep.report import pick_list

    print_text(pick_list(view.state, width=table_width()).rstrip("\n"))
