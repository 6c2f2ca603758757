from __future__ import annotations

from pathlib import Path

import typer

from benchsweep.cli._lot_text import print_lot
from benchsweep.cli._options import AsJson, By, LotArchive, LotName, Quiet
from benchsweep.cli._output import progress_to_stderr

__all__ = ["close"]


def close(
    lot: LotName,
    by: By,
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Decide a lot. Nothing of it can be changed afterwards.

    Every record that counts is read again: one that is missing, was changed, corrected or withdrawn refuses.
    Exit code 0 accepted, 1 not accepted.

    Example: `benchsweep lot close 26-118 --by "R. Lind"`
    """
    from benchsweep.qualification import close_lot, exit_code_of_lot

    view = close_lot(archive, lot, by=by, progress=progress_to_stderr(quiet))
    print_lot(view, as_json=as_json)
    raise typer.Exit(exit_code_of_lot(view))
