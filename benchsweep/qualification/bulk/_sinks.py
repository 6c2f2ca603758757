"""Where the verdicts of a bulk run go besides the counts."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from benchsweep import archive
from benchsweep.errors import UsageError
from benchsweep.qualification._keep import keep_verdicts, requirement_texts
from benchsweep.qualification._verdict_columns import VerdictsOfRecord, verdict_columns
from benchsweep.qualification.bulk._job import RegradeJob
from benchsweep.qualification.bulk._journal import Journal
from benchsweep.qualification.bulk._plain import from_plain
from benchsweep.qualification.bulk._regrade import Sink
from benchsweep.qualification.bulk._work import Graded

__all__ = ["keep_sink", "table_sink"]

_RECORDS_A_GRADING = 512


def table_sink(path: Path, job: RegradeJob, *, overwrite: bool = False) -> Sink:
    """Return what writes a row for each row of each verdict to a CSV or Parquet file, by its suffix.

    The columns are those of an export, see `verdict_columns`. The table is in memory while it is written:
    about 1 kB for each row.

    Parameters
    ----------
    job
        What is graded against.
    overwrite
        Replace a file that is there.

    Raises
    ------
    UsageError
        At once, before any work: another suffix, a file that is there, Parquet without its package.
    """
    archive.refuse_table(path, replace=overwrite)
    editions = [requirement.edition for requirement in job.requirements]

    def write(results: Iterator[Graded], _: Journal) -> None:
        found = (
            VerdictsOfRecord(
                verdicts=list(zip(from_plain(result.verdicts), editions, strict=True)),
                content_hash=result.item.content_hash,
                lot=result.lot,
                product=result.product,
                created_at=result.created_at,
                corrections=result.corrections,
                before=result.item.before,
            )
            for result in results
        )
        archive.write_table(verdict_columns(found), path, replace=overwrite)

    return write


def keep_sink(root: str, job: RegradeJob, *, by: str = "") -> Sink:
    """Return what keeps the verdicts in the archive, `archive.Grading` files of some hundred records each.

    Raises
    ------
    UsageError
        The archive is at an address: nothing is written there. Or two requirements have one name.
    """
    folder = archive.local_path(root)
    if folder is None:
        raise UsageError(
            f"{root}: nothing is written to an address",
            hint="Leave --keep out, or do it in the folder that the store is copied from.",
        )
    requirement_texts(job.requirements)

    def write(results: Iterator[Graded], journal: Journal) -> None:
        batch: list[Graded] = []
        for result in results:
            batch.append(result)
            if len(batch) == _RECORDS_A_GRADING:
                keep(batch, journal)
                batch = []
        if batch:
            keep(batch, journal)

    def keep(batch: list[Graded], journal: Journal) -> None:
        named = hashlib.sha256("".join(result.item.content_hash for result in batch).encode()).hexdigest()
        if journal.stepped(named):  # a run that was interrupted in the middle of this did it
            return
        graded = [
            (result.item.content_hash, verdict) for result in batch for verdict in from_plain(result.verdicts)
        ]
        keep_verdicts(graded, job.requirements, folder=folder, by=by, told=job.told)
        journal.step(named)

    return write
