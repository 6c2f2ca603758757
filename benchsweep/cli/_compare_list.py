from __future__ import annotations

from pathlib import Path

import typer

from benchsweep.cli._options import AsJson, ReferenceArchive
from benchsweep.cli._output import print_json, print_text, say, table_width
from benchsweep.errors import ArchiveError

__all__ = ["list_all"]

_DAMAGED = 6


def list_all(archive: ReferenceArchive = Path("archive"), as_json: AsJson = False) -> None:
    """List reference channels, field testers and studies, and where they stand.

    Those whose history cannot be read are named on stderr, or in "damaged" with --json; exit code 6 then.

    Example: `benchsweep compare list`
    """
    from benchsweep.qualification.comparisons import list_references, references_document

    unread: list[tuple[str | Path, ArchiveError]] = []
    rows = list_references(archive, unread=unread)
    if as_json:
        print_json(references_document(rows, unread))
    elif rows:
        from benchsweep.report import reference_list

        print_text(reference_list([row.words for row in rows], width=table_width()).rstrip("\n"))
    for _, error in unread:
        say(f"damaged: {error.message}")
        say(f"  {error.hint}")
    if unread:
        raise typer.Exit(_DAMAGED)
    if not rows:
        say(f"no reference channels and no field testers in {archive}")
