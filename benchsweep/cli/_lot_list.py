from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import AsJson, LotArchive
from benchsweep.cli._output import print_json, print_text, say, table_width
from benchsweep.errors import ArchiveError

__all__ = ["list_all"]

_DAMAGED = 6


def list_all(
    supplier: Annotated[
        str | None, typer.Option("--supplier", metavar="NAME", help="Only lots of this supplier.")
    ] = None,
    product: Annotated[
        str | None, typer.Option("--product", metavar="NAME", help="Only lots of this product.")
    ] = None,
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """List the lots of an archive, oldest first, and where they stand. Exit code 0 also when there is none.

    Lots whose file cannot be read are named on stderr, or in "damaged" with --json; exit code 6 then.

    Example: `benchsweep lot list --supplier "Tollmoor Wire"`
    """
    from benchsweep.qualification import list_lot_views, lots_document

    unread: list[tuple[str | Path, ArchiveError]] = []
    views = list_lot_views(archive, supplier=supplier, product=product, unread=unread)
    if as_json:
        print_json(lots_document(views, unread))
    elif views:
        from benchsweep.report import lot_list

        print_text(lot_list([view.state for view in views], width=table_width()).rstrip("\n"))
    for _, error in unread:
        say(f"not listed, it cannot be read: {error.message}")
        say(f"  {error.hint}")
    if unread:
        raise typer.Exit(_DAMAGED)
    if not views:
        say(f"no lot in {archive} fits" if supplier or product else f"no lots in {archive}")
