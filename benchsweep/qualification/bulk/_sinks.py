"""Where the verdicts of a bulk run go besides the counts."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from benchsweep import archive
from benchsweep.errors import UsageError
from benchsweep.qualification._keep import keep_verdicts, requirement_texts
from benchsweep.qualification.bulk._job import RegradeJob
from benchsweep.qualification.bulk._journal import Journal
from benchsweep.qualification.bulk._plain import from_plain
from benchsweep.qualification.bulk._regrade import Sink
from benchsweep.qualification.bulk._work import Graded
from benchsweep.records import Verdict, VerdictRow

__all__ = ["keep_sink", "table_sink"]

_RECORDS_A_GRADING = 512

_NUMBERS = (
    "worst_margin_db",
    "frequency_hz",
    "value",
    "limit",
    "expanded_uncertainty",
    "uncertainty_low",
    "uncertainty_high",
    "guard_band",
)
_WORDS = (
    "record",
    "content_hash",
    "specimen",
    "requirement",
    "decision_rule",
    "budget",
    "verdict",
    "parameter",
    "end",
    "pairs",
    "outcome",
    "standing",
    "note",
)


def table_sink(path: Path) -> Sink:
    """Return what writes a row for each row of each verdict to a CSV or Parquet file, by its suffix.

    A file that is there is replaced. Losses in dB, times in ns, frequencies in Hz. The table is in memory
    while it is written: about 1 kB for each row.
    """

    def write(results: Iterator[Graded], _: Journal) -> None:
        columns: dict[str, list[Any]] = {name: [] for name in (*_WORDS, *_NUMBERS)}
        for result in results:
            for verdict in from_plain(result.verdicts):
                for row in verdict.rows:
                    for name, cell in _cells(result, verdict, row).items():
                        columns[name].append(cell)
        archive.write_table(
            {
                # Not a number rather than None: a column of None alone would be one of text.
                name: np.array(cells, dtype=np.float64) if name in _NUMBERS else cells
                for name, cells in columns.items()
            },
            path,
            replace=True,
        )

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


def _cells(result: Graded, verdict: Verdict, row: VerdictRow) -> dict[str, Any]:
    return {
        "record": result.item.source,
        "content_hash": result.item.content_hash,
        "specimen": verdict.specimen,
        "requirement": verdict.requirement,
        "decision_rule": verdict.decision_rule,
        "budget": verdict.budget,
        "verdict": str(verdict.outcome),
        "parameter": str(row.parameter),
        "end": row.end or "",
        "pairs": "-".join(row.pairs),
        "outcome": str(row.outcome),
        "standing": row.standing,
        "note": row.note,
        **{name: getattr(row, name) for name in _NUMBERS},
    }
