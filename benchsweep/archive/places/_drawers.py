"""Notes and gradings within an archive, local or at an address: which files there are, where they belong."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from benchsweep.archive.places._remote import filesystem, local_path, remote_errors
from benchsweep.archive.places._source import Source
from benchsweep.archive.places._storage_errors import storage_errors

__all__ = ["GRADINGS", "NOTES", "below", "files_in", "has_drawer", "root_of"]

NOTES = "notes"
"""Folder of the notes within an archive."""
GRADINGS = "gradings"
"""Folder of the gradings within an archive."""
_DRAWERS = (NOTES, GRADINGS)
_SUFFIX = ".h5"
# Two digits of a hash, or a file.
_OURS = re.compile(r"[0-9a-f]{2}|[^.].*\.h5")
_UP = 3


def below(root: Source, *parts: str) -> Source:
    """Return the place of that name below a folder or an address."""
    folder = local_path(root)
    return "/".join((str(root).rstrip("/"), *parts)) if folder is None else folder.joinpath(*parts)


def files_in(place: Source, start: str = "", *, deep: bool = False, suffix: str = _SUFFIX) -> list[Source]:
    """Return the files of a folder whose names begin with `start`, by name; none without a folder.

    Parameters
    ----------
    deep
        Those of the folders in it, too.
    suffix
        What their names end in.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    folder = local_path(place)
    if folder is not None:
        with storage_errors(folder, "listing"):
            names = _names(folder, deep=deep)
    else:
        system, top = filesystem(str(place))
        with remote_errors(str(place), "listing"):
            system.invalidate_cache()
            paths = system.find(top, maxdepth=None if deep else 1)
        names = [path[len(top.rstrip("/")) :].lstrip("/") for path in paths]
    # Whatever is hidden is not ours: files being written begin with a dot.
    own = (name for name in names if name.endswith(suffix) and not name.rpartition("/")[2].startswith("."))
    return [below(place, name) for name in sorted(own) if name.startswith(start)]


def _names(folder: Path, *, deep: bool) -> list[str]:
    names: list[str] = []
    try:
        with os.scandir(folder) as found:
            for item in found:
                if deep and item.is_dir():
                    names += [f"{item.name}/{name}" for name in _names(Path(item.path), deep=True)]
                else:
                    names.append(item.name)
    except FileNotFoundError:
        return []
    return names


def root_of(record: Source) -> Source:
    """Return the archive that a record is in.

    The nearest folder above it, at most three up from its own, that has notes or gradings of ours; its own
    where none has.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
    """
    path = local_path(record)
    if path is not None:
        # As it was named, as far up as the name goes, for whoever reads it in a message.
        named, full = path.parents, path.absolute().parents
        places = [named[k] if k < len(named) - 1 or path.is_absolute() else full[k] for k in range(len(full))]
        own = path.parent
        near = [own, *places[1 : _UP + 1]]
        return next((place for place in near if any(has_drawer(place, n) for n in _DRAWERS)), own)
    address = up = str(record).rpartition("/")[0]
    for _ in range(_UP + 1):
        if up.endswith(("/", ":")):  # nothing but the kind of address is left
            break
        if any(has_drawer(up, name) for name in _DRAWERS):
            return up
        up = up.rpartition("/")[0]
    return address


def has_drawer(root: Source, name: str) -> bool:
    """Tell whether there is a folder `NOTES` or `GRADINGS` of ours in an archive.

    A folder that merely has the name, with other things in it, is not ours: many people have their own notes.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    place = below(root, name)
    folder = local_path(place)
    if folder is not None:
        with storage_errors(folder, "listing"), suppress(FileNotFoundError, NotADirectoryError):
            with os.scandir(folder) as found:
                return any(_OURS.fullmatch(item.name) for item in found)
        return False
    system, path = filesystem(str(place))
    with remote_errors(str(root), f"looking for {name}"):
        try:
            names = system.ls(path, detail=False)
        except FileNotFoundError:
            return False
    return any(_OURS.fullmatch(str(item).rstrip("/").rpartition("/")[2]) for item in names)
