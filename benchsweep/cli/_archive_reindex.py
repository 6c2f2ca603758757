from __future__ import annotations

from benchsweep.cli._archive_find import say_damaged
from benchsweep.cli._options import AsJson, Quiet
from benchsweep.cli._output import counted, print_json, print_lines, progress_to_stderr
from benchsweep.cli._selection import ArchiveRoot

__all__ = ["reindex"]


def reindex(archive: ArchiveRoot = "archive", quiet: Quiet = False, as_json: AsJson = False) -> None:
    """Make the index of an archive anew from its files.

    The index is a file of this machine that other commands keep up to date by themselves; this is for the
    rare case that somebody changed files of the archive in their place, or that an answer looks wrong.

    Example: `benchsweep archive reindex --archive archive`
    """
    from benchsweep.qualification import find_document, reindex_archive

    found = reindex_archive(archive, progress=progress_to_stderr(quiet))
    document = find_document(archive, found, records=False)
    if as_json:
        print_json(
            {key: value for key, value in document.items() if key != "found"}
            | {"schema": "benchsweep.reindex/1"}
        )
    else:
        many = counted(document["records"], "record or series", "records and series")
        print_lines([f"{many} in {archive}"])
    say_damaged(document)
