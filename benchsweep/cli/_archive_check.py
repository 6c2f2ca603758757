from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._archive_regrade import Jobs
from benchsweep.cli._options import AsJson, MaybeRecords, Quiet
from benchsweep.cli._output import counted, print_json, print_text, say, table_width
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.cli._series import refuse_missing
from benchsweep.errors import UsageError

__all__ = ["check"]

_EVERY_S = 2.0


@chooses_records
def check(
    chosen: Chosen,
    records: MaybeRecords = None,
    every_item: Annotated[
        bool,
        typer.Option(
            "--every-item",
            help="Also open each file with HDF5 and compare every item with its own checksum, and all of"
            " them with the content hash: finds what was changed on purpose when only the sum over the file"
            " was made anew. When all checksums were, only --compare finds it. Takes some ten times as long.",
        ),
    ] = False,
    list_to: Annotated[
        Path | None,
        typer.Option(
            "--list",
            metavar="FILE.csv",
            help="Write a list of all sound files: kind, name, content hash, length, and the SHA-256 of the "
            "first 512 bytes, which hold the checksums of all the others. To be signed and kept elsewhere.",
        ),
    ] = None,
    compare: Annotated[
        Path | None,
        typer.Option(
            "--compare",
            metavar="FILE.csv",
            help="Compare with a list that was written earlier: tell what of it is missing or has other "
            "content, and how many files are new.",
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="The list may replace a file that is there.")
    ] = False,
    jobs: Jobs = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Check that nothing in an archive is damaged, and that its files fit each other. Nothing is changed.

    Every byte of every record, series, calibration, note, grading and lot is compared with its checksum.
    Then: are there two calibrations of the same name and time, is the one that was applied still the one that
    the station keeps; does this version still accept the fixture definitions and uncertainty budgets; is a
    record stored twice, or the same sweeps in two records; is what notes and gradings are about still there;
    are the records of lots there, unchanged and not withdrawn, and does each lot keep to its rules; what did
    killed runs leave. With RECORD or a selection only these records are checked.

    Checksums find what happened to a file, not that one was deleted, nor that somebody changed one and made
    all its checksums anew: such a file is sound, and its content hash another. An archive cannot tell that of
    itself, so keep a list (`--list`) where nobody changes it, and compare (`--compare`).

    In the JSON "checked" counts all files, "files" the sound ones by kind, "records" the records and series
    among these; what is damaged is in "damaged" alone.

    Exit code 0 when nothing is wrong, 1 when there is something to look at, 6 when a file is damaged or was
    written by a later version.

    Example: `benchsweep archive check --archive archive`

    Example: `benchsweep archive check --list 2026-11.csv`

    Example: `benchsweep archive check --compare 2026-11.csv`

    Example: `benchsweep archive check --archive s3://bucket/cords --since 2026 --json`
    """
    from benchsweep.qualification import (
        archive_check_document,
        check_files,
        check_whole_archive,
        exit_code_of_archive_check,
        find_records,
    )
    from benchsweep.report import archive_check_table

    if records and chosen.given:
        raise UsageError(
            "RECORD and options that choose records exclude each other", hint="Give one or the other."
        )
    if (records or chosen.given) and (list_to is not None or compare is not None):
        raise UsageError(
            "--list and --compare are about a whole archive", hint="Leave out what chooses records."
        )
    if overwrite and list_to is None:
        raise UsageError("--overwrite does nothing without --list", hint="Leave it out.")
    for path in records or ():
        refuse_missing(path)
    progress = None if quiet else _told()
    if records:
        found = check_files(records, jobs=jobs, every_item=every_item, progress=progress)
    elif chosen.given:
        selected = find_records(chosen.root, chosen.selection)
        sources = [one.source for one in (*selected, *selected.damaged)]
        found = check_files(sources, jobs=jobs, every_item=every_item, progress=progress)
    else:
        found = check_whole_archive(
            chosen.root,
            jobs=jobs,
            every_item=every_item,
            progress=progress,
            list_to=list_to,
            compare=compare,
            overwrite=overwrite,
        )
    document = archive_check_document(found)
    if as_json:
        print_json(document)
    else:
        print_text(archive_check_table(document, width=table_width()))
    raise typer.Exit(exit_code_of_archive_check(found))


def _told() -> Callable[[int, int], None]:
    """Return a callable that says now and then on stderr how far the check has come."""
    last = time.monotonic()

    def told(done: int, total: int) -> None:
        nonlocal last
        if time.monotonic() - last > _EVERY_S:
            last = time.monotonic()
            say(f"{done} of {counted(total, 'file')} checked")

    return told
