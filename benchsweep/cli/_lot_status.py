from __future__ import annotations

from pathlib import Path

import typer

from benchsweep.cli._lot_text import print_lot
from benchsweep.cli._options import AsJson, LotArchive, LotName

__all__ = ["status"]


def status(lot: LotName, archive: LotArchive = Path("archive"), as_json: AsJson = False) -> None:
    """Tell where a lot stands: the decision or what is missing for it, every reel, who did what and why.

    Exit code 0 accepted, 1 not accepted (or sure not to be), 3 open.

    Example: `benchsweep lot status 26-118`
    """
    from benchsweep.qualification import exit_code_of_lot, read_lot

    view = read_lot(archive, lot)
    print_lot(view, as_json=as_json)
    raise typer.Exit(exit_code_of_lot(view))
