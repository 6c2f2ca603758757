"""Records that were made of the same sweeps: those that a record was reduced into, and that it came from.

They have the same time of measurement, and the names of their files begin with it. So they are found by their
names, without an index and without opening the rest of the archive.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from benchsweep.archive._head import Head, read_head
from benchsweep.archive.places import (
    GRADINGS,
    NOTES,
    Source,
    below,
    file_stem,
    filesystem,
    has_drawer,
    local_path,
    numbered,
    remote_errors,
    root_of,
    storage_errors,
)
from benchsweep.errors import ArchiveError, ArchiveLocked, ArchiveUnreachable

__all__ = ["of_the_same_sweeps"]

_STAMP = len("20260301T123005Z-")
_DEEP = 3
_SUFFIX = ".h5"
_NOT_THERE = (NOTES, GRADINGS, "calibrations", "unfinished")


def of_the_same_sweeps(record: Source) -> tuple[Head, tuple[tuple[Source, Head], ...]]:
    """Return what a record is about, and the other records of that moment that may be of its sweeps.

    They are looked for in its folder and, where that belongs to an archive with notes or gradings, in all of
    the archive, at most three folders deep. At an address only the names that `write_record` gives beside it
    are asked for. Files that were renamed, damaged ones, and those in folders that may not be read, are not
    found.

    Returns
    -------
    head
        Of the record itself.
    others
        Where they are and what they are about, by name; no series.

    Raises
    ------
    RecordDamaged, RecordNewer
        The record itself cannot be read.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    head = read_head(record)
    found: list[tuple[Source, Head]] = []
    for source in _candidates(record, head):
        try:
            other = read_head(source)
        except ArchiveUnreachable:
            raise
        except ArchiveError:
            continue  # damaged, locked, gone: `check` tells; here it is somebody else's
        if other.kind == "record" and other.content_hash != head.content_hash:
            found.append((source, other))
    return head, tuple(found)


def _candidates(record: Source, head: Head) -> list[Source]:
    if head.kind != "record" or not head.created_at:
        return []
    path = local_path(record)
    if path is None:
        return _at_address(str(record))
    stamp = file_stem(head.created_at, "")[:_STAMP]
    root = local_path(root_of(record)) or path.parent
    deep = _DEEP if any(has_drawer(root, name) for name in (NOTES, GRADINGS)) else 0
    return sorted(_named(root, stamp, deep))


def _named(folder: Path, stamp: str, deep: int) -> list[Path]:
    """Return the files in a folder, and in folders below it, whose names begin with `stamp`."""
    names: list[Path] = []
    with storage_errors(folder, "listing"):
        try:
            with os.scandir(folder) as found:
                for item in found:
                    name = item.name
                    if name.endswith(_SUFFIX):
                        names += [folder / name] if name.startswith(stamp) else []
                    elif deep and name[0] != "." and name not in _NOT_THERE and _is_folder(item):
                        with suppress(ArchiveLocked):  # a closed folder hides no record outside of it
                            names += _named(folder / name, stamp, deep - 1)
        except FileNotFoundError:
            return []
    return names


def _is_folder(item: os.DirEntry[str]) -> bool:
    # Not of links: they may lead in a circle.
    return item.is_dir(follow_symlinks=False)


def _at_address(record: str) -> list[Source]:
    folder, _, name = record.rpartition("/")
    stem = name.removesuffix(_SUFFIX).partition("~")[0]
    found: list[Source] = []
    serial = 1
    while True:
        other = str(below(folder, numbered(Path(), stem, serial).name))
        system, path = filesystem(other)
        with remote_errors(other, "looking for it"):
            if other != record and not system.exists(path):
                return found
        found += [other] if other != record else []
        serial += 1
