"""Which series are unfinished in an archive."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchsweep import archive
from benchsweep.errors import ArchiveError, RecordDamaged
from benchsweep.records import UnfinishedSeries

__all__ = ["unfinished_document", "unfinished_series"]


def unfinished_series(folder: Path) -> tuple[UnfinishedSeries, ...]:
    """Return what is unfinished in `folder`: an archive, or the folder ``unfinished`` of one.

    Raises
    ------
    ArchiveError
        The folder cannot be listed.
    """
    return tuple(_told(path) for path in archive.list_unfinished(folder))


def _told(path: Path) -> UnfinishedSeries:
    try:
        with archive.open_series(path) as reader:
            last_at = ""
            if reader.numbers:
                with suppress(RecordDamaged):
                    last_at = reader.sweep(reader.numbers[-1]).sweep.taken_at
            head = reader.head
            return UnfinishedSeries(
                folder=str(path),
                specimen=head.specimen.identifier,
                station=head.station,
                description=head.description,
                began_at=head.started_at,
                last_at=last_at,
                sweeps=len(reader.numbers),
                ended="" if reader.ending is None else reader.ending.reason,
            )
    except ArchiveError as error:
        return UnfinishedSeries(folder=str(path), trouble=error.message)


def unfinished_document(folder: Path, found: Sequence[UnfinishedSeries]) -> dict[str, Any]:
    """Return ``benchsweep.unfinished/1``."""
    return {
        "schema": "benchsweep.unfinished/1",
        "folder": str(folder),
        "series": [asdict(one) for one in found],
    }
