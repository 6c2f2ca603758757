from __future__ import annotations

import fnmatch
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from benchsweep.archive._files import storage_errors
from benchsweep.archive._seal import kind_of
from benchsweep.archive._store import content_hash, read_record
from benchsweep.archive.index._found import Damaged, Found
from benchsweep.archive.index._selection import Selection, moment_of
from benchsweep.errors import ArchiveError

__all__ = ["FoundRecords", "find"]


class FoundRecords:
    """What fits a selection, oldest first.

    Attributes
    ----------
    damaged : tuple of Damaged
        Files of the archive that cannot be read, whatever they hold.
    """

    def __init__(self, found: tuple[Found, ...], damaged: tuple[Damaged, ...]) -> None:
        self._found = found
        self.damaged = damaged

    def __len__(self) -> int:
        return len(self._found)

    def __iter__(self) -> Iterator[Found]:
        return iter(self._found)


def find(root: Path | str, selection: Selection | None = None) -> FoundRecords:
    """Return the records of the archive `root` and its sub-folders that fit.

    Raises
    ------
    ArchiveError
        There is no such folder, or it cannot be read.
    """
    folder = Path(root)
    wanted = selection or Selection()
    found: list[Found] = []
    damaged: list[Damaged] = []
    with storage_errors(folder, "listing"):
        if not folder.is_dir():
            raise ArchiveError(f"{folder}: no such folder", hint="Name the folder of an archive.")
        paths = sorted(folder.rglob("*.h5"))
    for path in paths:
        name = path.relative_to(folder)
        if any(part.startswith(".") or part == "unfinished" for part in name.parts):
            continue
        try:
            if kind_of(path) != "record":
                continue
            one = _read(path, name.as_posix())
        except ArchiveError as error:
            damaged.append(Damaged(str(path), name.as_posix(), error.message))
            continue
        if _fits(one, wanted):
            found.append(one)
    found.sort(key=lambda one: (datetime.fromisoformat(one.created_at), one.name))
    return FoundRecords(tuple(found), tuple(damaged))


def _read(path: Path, name: str) -> Found:
    record = read_record(path)
    grid = record.corrected.frequency_hz
    used = record.calibration
    return Found(
        source=str(path),
        name=name,
        kind="record",
        content_hash=content_hash(path),
        created_at=record.created_at,
        specimen=record.specimen,
        origin=record.origin,
        station=record.station,
        operator=record.operator,
        calibration=used.identifier if used else "",
        calibration_at=used.created_at if used else "",
        kit=used.kit if used else "",
        reduced_from="",
        reason="",
        points=grid.size,
        start_hz=float(grid[0]),
        stop_hz=float(grid[-1]),
        ports=len(record.corrected.ports),
        hookups=len(record.hookups),
        source_file=record.source_file,
        size=path.stat().st_size,
    )


def _fits(one: Found, wanted: Selection) -> bool:
    texts = (
        (one.specimen.identifier, wanted.specimen),
        (one.station, wanted.station),
        (one.operator, wanted.operator),
        (one.calibration, wanted.calibration),
        (one.kit, wanted.kit),
        (one.origin, wanted.origin),
    )
    if wanted.graded or not all(not pattern or fnmatch.fnmatchcase(text, pattern) for text, pattern in texts):
        return False
    at = datetime.fromisoformat(one.created_at)
    if wanted.since and at < moment_of(wanted.since, "since"):
        return False
    return not wanted.until or at < moment_of(wanted.until, "until", after=True)
