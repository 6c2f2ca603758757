"""Find what a run that was killed had archived already."""

from __future__ import annotations

from pathlib import Path

from benchsweep.archive._convert import numbered
from benchsweep.archive._store import list_calibrations, read_calibration
from benchsweep.archive.format import opened
from benchsweep.archive.places import file_stem, storage_errors
from benchsweep.errors import ArchiveError, ArchiveUnreachable
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
            if _told(path) != (created_at, specimen, sweeps):
                continue
            # What is taken as archived is thrown away elsewhere, so it must be sound through and through.
            with opened(path, "record"):
                return path
        except ArchiveUnreachable:
            raise  # it may well be there
        except ArchiveError:
            continue
    return None


def _told(path: Path) -> tuple[str, str, tuple[str, ...]]:
    """Return when a record was made, of which specimen, and when each of its sweeps was taken."""
    with opened(path, "record", whole=False) as root:
        taken = tuple(node.text("taken_at") for node in numbered(root.child("hookups")))
        return root.text("created_at"), root.child("specimen").text("identifier"), taken


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
