"""What an archive holds, without opening any file of it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchsweep.archive.places._remote import filesystem, local_path, remote_errors
from benchsweep.archive.places._storage_errors import is_folder, storage_errors
from benchsweep.errors import ArchiveError

__all__ = ["DEEPEST", "Entry", "leads_up", "list_files", "list_folders"]

Drawer = Literal["record", "calibration", "note", "grading"]

DEEPEST = 6
"""So many folders below an archive are looked into: a year, a customer, a lot, notes, and room for more."""
_SUFFIX = ".h5"
_UNFINISHED = "unfinished"
_DRAWERS: dict[str, Drawer] = {"notes": "note", "gradings": "grading", "calibrations": "calibration"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One file of an archive.

    Parameters
    ----------
    source
        Where it is: a path of this machine, or an address that fsspec opens.
    name
        The same below the archive, parts joined by ``/``.
    size
        In bytes.
    kind
        What it should be, going by its folder: ``note`` below ``notes/``, ``grading`` below ``gradings/``,
        ``calibration`` below ``calibrations/``, else ``record``, which stands for series too.
    """

    source: Path | str
    name: str
    size: int
    kind: Drawer


def list_files(root: Path | str) -> Iterator[Entry]:
    """Yield every ``.h5`` file of an archive and its sub-folders, by name, folder by folder.

    Left out are ``unfinished`` and whatever is hidden (begins with a dot). On this machine folders are looked
    into down to the sixth below the archive; links to folders are followed, but none that leads to where the
    archive itself is in: somebody may name a folder that is no archive, such as ``/proc``, out of which links
    lead to the whole machine. A file that goes while this runs
    may be missing, one that comes may be there or not. Local folders are read one at a time; of a store the
    names of all files are in memory at once.

    Parameters
    ----------
    root
        A folder, or an address such as ``s3://bucket/prefix``.

    Raises
    ------
    ArchiveLocked
        It may not be listed.
    ArchiveUnreachable
        The store does not answer.
    ArchiveError
        There is no such folder, or it is a file.
    """
    folder = local_path(root)
    if folder is not None:
        yield from _local(folder)
    else:
        yield from _remote(str(root))


def list_folders(root: Path) -> Iterator[Path]:
    """Yield the folders of a local archive, itself first, that `list_files` looks into.

    Raises
    ------
    ArchiveLocked, ArchiveError
    """
    for folder, _ in _folders(root):
        yield folder


def _drawer(parts: tuple[str, ...]) -> Drawer:
    return next((_DRAWERS[part] for part in parts if part in _DRAWERS), "record")


def _kept(parts: tuple[str, ...]) -> bool:
    return _UNFINISHED not in parts[:-1] and not any(part.startswith(".") for part in parts)


def _local(root: Path) -> Iterator[Entry]:
    for folder, parts in _folders(root):
        files: list[Entry] = []
        with storage_errors(folder, "listing"), os.scandir(folder) as found:
            for item in found:
                if item.name.endswith(_SUFFIX) and _kept((item.name,)) and not item.is_dir():
                    size = _size(item)
                    if size is not None:
                        name = "/".join((*parts, item.name))
                        files.append(Entry(folder / item.name, name, size, _drawer(parts)))
        yield from sorted(files, key=lambda entry: entry.name)


def leads_up(item: os.DirEntry[str], root: Path) -> bool:
    """Tell whether a folder is a link to what the archive `root` is in, or to the archive itself."""
    if not item.is_symlink():
        return False
    target = os.path.realpath(item.path)
    return os.path.commonpath([target, os.path.realpath(root)]) == target


def _size(item: os.DirEntry[str]) -> int | None:
    """Return the size of a file; None when it went meanwhile, 0 of a link that leads nowhere."""
    try:
        return item.stat().st_size
    except FileNotFoundError:
        return 0 if item.is_symlink() else None


def _folders(root: Path) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """Yield (folder, its parts below the root) of all that are looked into, a folder before those in it."""
    if not is_folder(root):
        there = root.exists()
        raise ArchiveError(
            f"{root}: {'is a file, not an archive' if there else 'there is no such archive'}",
            hint="Name the folder of an archive.",
        )
    # A link to a folder is followed, but no folder is entered twice: links can lead in circles.
    entered: set[str] = set()
    waiting: list[tuple[Path, tuple[str, ...]]] = [(root, ())]
    while waiting:
        folder, parts = waiting.pop()
        real = os.path.realpath(folder)
        if real in entered:
            continue
        entered.add(real)
        yield folder, parts
        if len(parts) == DEEPEST:
            continue
        with storage_errors(folder, "listing"), os.scandir(folder) as found:
            below = sorted(item.name for item in found if item.is_dir() and not leads_up(item, root))
        inside = ((folder / name, (*parts, name)) for name in reversed(below))
        waiting += [(path, names) for path, names in inside if _kept((*names, ""))]


def _remote(root: str) -> Iterator[Entry]:
    system, top = filesystem(root)
    with remote_errors(root, "listing"):
        system.invalidate_cache()
        found = system.find(top, detail=True)
        if not found and not system.exists(top):
            raise FileNotFoundError(root)
    base = root.rstrip("/")
    sizes = {path[len(top.rstrip("/")) :].lstrip("/"): about["size"] for path, about in found.items()}
    if "" in sizes and top.endswith(_SUFFIX):
        raise ArchiveError(f"{root}: is a file, not an archive", hint="Name the folder of an archive.")
    for parts in sorted((tuple(name.split("/")) for name in sizes), key=_as_folders):
        if parts[-1].endswith(_SUFFIX) and _kept(parts):
            name = "/".join(parts)
            yield Entry(f"{base}/{name}", name, int(sizes[name] or 0), _drawer(parts[:-1]))


def _as_folders(parts: tuple[str, ...]) -> tuple[tuple[bool, str], ...]:
    """Sort as the local walk goes: the files of a folder before its sub-folders."""
    return (*((True, part) for part in parts[:-1]), (False, parts[-1]))
