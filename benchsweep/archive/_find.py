"""Find what a run that was killed had archived already."""

from __future__ import annotations

from pathlib import Path

from benchsweep.archive._files import file_stem, storage_errors
from benchsweep.archive._store import list_calibrations, read_calibration, read_record
from benchsweep.errors import ArchiveError
from benchsweep.records import Calibration

__all__ = ["find_calibration_file", "find_record"]


def find_record(folder: Path, *, created_at: str, specimen: str, sweeps: tuple[str, ...]) -> Path | None:
    """Return the record of `folder` that holds these sweeps of that specimen; None when there is none.

    Parameters
    ----------
    folder
        The archive; may be missing.
    created_at, specimen
        As in the record.
    sweeps
        When each of its sweeps was taken, in order.

    Raises
    ------
    ArchiveLocked, ArchiveError
        The folder cannot be read. A damaged record is passed over.
    """
    with storage_errors(folder, "looking for a record"):
        stem = file_stem(created_at, specimen)
        found = sorted(folder.glob(f"{stem}*.h5"))
    for path in found:
        try:
            record = read_record(path)
        except ArchiveError:
            continue
        taken = tuple(raw.sweep.taken_at for raw in record.hookups)
        if (record.created_at, record.specimen.identifier, taken) == (created_at, specimen, sweeps):
            return path
    return None


def find_calibration_file(
    folder: Path, *, created_at: str, identifier: str
) -> tuple[Calibration, Path] | None:
    """Return the calibration of that name and time with its path; None when there is none.

    Raises
    ------
    ArchiveLocked, ArchiveError
        The folder cannot be read. A damaged calibration is passed over.
    """
    for path in list_calibrations(folder):
        try:
            stored = read_calibration(path)
        except ArchiveError:
            continue
        if (stored.created_at, stored.identifier) == (created_at, identifier):
            return stored, path
    return None
