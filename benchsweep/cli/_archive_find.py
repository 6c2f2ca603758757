from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._find_text import found_text
from benchsweep.cli._options import AsJson, Quiet
from benchsweep.cli._output import print_json, print_text, progress_to_stderr, say, table_width
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.errors import UsageError

__all__ = ["CsvFile", "ParquetFile", "find", "say_damaged"]

_MOST_DAMAGED = 10

CsvFile = Annotated[
    Path | None, typer.Option("--csv", metavar="FILE", help="Also write the result as a CSV file.")
]
ParquetFile = Annotated[
    Path | None, typer.Option("--parquet", metavar="FILE", help="Also write the result as a Parquet file.")
]


@chooses_records
def find(
    chosen: Chosen,
    csv: CsvFile = None,
    parquet: ParquetFile = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """List the records of an archive that fit, oldest first, with the newest kept grading of each.

    Names are quoted shell patterns and tell capitals apart; what a correction says counts. A name that is
    given several times means any of them: `--lot T8 --lot T9`. Records that were
    withdrawn, or whose sweeps were reduced again into another record, are left out unless asked for. The time
    is that of the measurement, also of what was reduced again later; of an import when it was stored.

    A grading made before a correction of the length or of an ambient value, or before a withdrawal, is
    marked, and is no outcome for --outcome and --margin-below-db: grade it again (`archive regrade --keep`).

    Exit code 0 also when nothing fits, 6 when the archive cannot be read.

    Example: `benchsweep archive find --specimen 'reel-*' --since 2026-11 --outcome fail`

    Example: `benchsweep archive find --parameter next --margin-below-db 1 --csv near-the-limit.csv`
    """
    from benchsweep.qualification import find_document, find_records, write_found

    for path, suffix in ((csv, ".csv"), (parquet, ".parquet")):
        if path is not None and path.suffix.lower() != suffix:
            raise UsageError(f"{path}: does not end in {suffix}", hint=f"Name it {path.with_suffix(suffix)}.")
    found = find_records(chosen.root, chosen.selection, progress=progress_to_stderr(quiet))
    document = find_document(chosen.root, found)
    for path in (csv, parquet):
        if path is not None:
            write_found(found, path)
            say(f"written: {path}")
    if as_json:
        print_json(document)
    elif document["found"]:
        print_text(found_text(document, width=table_width()))
    for note in document["notes"]:
        say(note)
    if not document["found"]:
        say(f"nothing in {chosen.root} fits" if chosen.given else f"no records in {chosen.root}")
    say_damaged(document)


def say_damaged(document: dict[str, object]) -> None:
    """Warn of files that cannot be read, by name."""
    damaged = document["damaged"]
    if not isinstance(damaged, list) or not damaged:
        return
    several = len(damaged) > 1
    many = f"{len(damaged)} files of the archive" if several else "a file of the archive"
    left = "are left out" if several else "is left out"
    say(f"warning: {many} cannot be read and {left} (`archive check` tells more):")
    for item in damaged[:_MOST_DAMAGED]:
        say(f"  {item['record']}: {item['reason']}")
    if len(damaged) > _MOST_DAMAGED:
        say(f"  and {len(damaged) - _MOST_DAMAGED} more, which --json lists")
