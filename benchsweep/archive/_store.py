"""Records and calibrations: written, read, checked, listed."""

from __future__ import annotations

import hashlib
from pathlib import Path

from benchsweep.archive._convert import (
    calibration_tree,
    measurement_tree,
    read_calibration_node,
    read_measurement_node,
)
from benchsweep.archive.format import check_items, content_digest, data_digest, opened, to_bytes
from benchsweep.archive.places import Source, add_file, file_stem, sort_key, storage_errors
from benchsweep.records import Calibration, Measurement

__all__ = [
    "check_record",
    "content_hash",
    "list_calibrations",
    "read_calibration",
    "read_record",
    "read_reduced",
    "sweeps_fingerprint",
    "write_calibration",
    "write_record",
]


def write_record(measurement: Measurement, folder: Path) -> Path:
    """Store a measurement as one new file of `folder` and return its path.

    The folder is made when it is missing. The file is written under another name, brought to the disc, and
    only then gets its own name; an existing file is never replaced and nothing half is left behind.

    Parameters
    ----------
    measurement
        What to store.
    folder
        The archive. The name of the file is ``<UTC time>-<specimen made safe>.h5``; when it is taken,
        ``~2``, ``~3`` … is added.

    Raises
    ------
    ArchiveLocked
        No permission to write there.
    ArchiveError
        Full disc, a place that cannot be reached, or a text that cannot be stored.
    ValueError
        The raw sweeps or the error terms were left out in reading it, see `read_reduced`.
    """
    terms = None if measurement.calibration is None else measurement.calibration.terms
    grids = [raw.sweep.frequency_hz for raw in measurement.hookups]
    if any(grid.size == 0 for grid in (*grids, *(() if terms is None else (terms.frequency_hz,)))):
        raise ValueError("a measurement without its raw sweeps or error terms is no record")
    stem = file_stem(measurement.created_at, measurement.specimen.identifier)
    return add_file(Path(folder), stem, *to_bytes("record", measurement_tree(measurement)))


def read_record(source: Source) -> Measurement:
    """Read a record after one pass over all its bytes has shown that none has changed.

    The measurement equals the one that was written, bit by bit.

    Parameters
    ----------
    source
        A local path, or an address that fsspec opens.

    Raises
    ------
    RecordDamaged
        Not a record of ours, truncated, changed, or something missing in it.
    RecordNewer
        Written by a later version of the format.
    ArchiveError
        No such file, or it cannot be read.
    """
    with opened(source, "record") as root:
        return read_measurement_node(root)


def read_reduced(source: Source) -> Measurement:
    """Read all of a record that grading needs: everything but the raw sweeps and the error terms.

    Returns
    -------
    The measurement that `read_record` returns, except that the arrays of its raw sweeps (`frequency_hz`, `s`,
    `switch_terms`) and of the error terms of its calibration have no points: shape ``(0, n, n)`` or
    ``(0, n)``. It cannot be written again. What was read has been checked, what was left out has not.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
        As `read_record`.
    """
    with opened(source, "record", whole=False) as root:
        return read_measurement_node(root, reduced=True)


def check_record(source: Source) -> None:
    """Check a record through and through: its bytes, the checksum of every item, and that nothing is missing.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
        As `read_record`; the message names what does not match.
    """
    with opened(source, "record") as root:
        check_items(root)
        read_measurement_node(root)


def content_hash(source: Source) -> str:
    """Return the hash that names the content of a record, 64 hexadecimal digits, after checking its bytes.

    Two files have the same content hash exactly when they hold the same items, however HDF5 laid them out.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with opened(source, "record", whole=False) as root:
        return content_digest(root)


def sweeps_fingerprint(measurement: Measurement) -> str:
    """Return what names the sweeps of a measurement, of an import its matrix: 64 hexadecimal digits.

    Noise makes two sweeps differ: where they are equal to the bit, one sweep was stored twice.
    """
    matrices = [raw.sweep.s for raw in measurement.hookups] or [measurement.corrected.s]
    lines = "\n".join(sorted(data_digest(s) for s in matrices))
    return hashlib.sha256(lines.encode("ascii")).hexdigest()


def write_calibration(calibration: Calibration, folder: Path) -> Path:
    """Store a calibration as one new file of `folder`, as `write_record` does, and return its path.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    stem = file_stem(calibration.created_at, calibration.identifier)
    return add_file(Path(folder), stem, *to_bytes("calibration", calibration_tree(calibration)))


def read_calibration(source: Source) -> Calibration:
    """Read a calibration and check it, as `read_record` does.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with opened(source, "calibration") as root:
        return read_calibration_node(root)


def list_calibrations(folder: Path) -> tuple[Path, ...]:
    """Return the files of `folder` that can be calibrations, newest first; none if there is no folder.

    Raises
    ------
    ArchiveLocked, ArchiveError
        The folder cannot be read.
    """
    folder = Path(folder)
    with storage_errors(folder, "listing"):
        if not folder.is_dir():
            return ()
        found = [path for path in folder.iterdir() if path.suffix == ".h5" and not path.name.startswith(".")]
    return tuple(sorted(found, key=sort_key, reverse=True))
