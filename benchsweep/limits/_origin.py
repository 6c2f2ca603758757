"""Where the file of a requirement lies, which files it overrules, and what a verdict says of that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchsweep.definitions import search_folders

__all__ = ["KIND", "ORIGINS", "Origin", "ReadFile", "origin_notes", "overruled_files"]

KIND = "requirements"
"""The kind of definition that requirements are."""

Origin = Literal["working folder", "data folder", "shipped"]
ORIGINS: tuple[Origin, ...] = ("working folder", "data folder", "shipped")
"""As `search_folders` gives the folders."""


@dataclass(frozen=True, slots=True)
class ReadFile:
    """A file that a requirement was read from.

    Parameters
    ----------
    name, path
        What the file calls itself, and where it lies.
    by_path
        It was asked for by its path, so that no other file is overruled by it.
    text
        What stands in it.
    """

    name: str
    path: Path
    by_path: bool
    text: str


def overruled_files(path: Path) -> list[tuple[Origin, Path]]:
    """Return the files of the same name that are not used because of a file in one of the folders."""
    folders = search_folders(KIND)
    after = folders.index(path.parent) + 1
    return [
        (origin, file)
        for origin, folder in zip(ORIGINS[after:], folders[after:], strict=True)
        if (file := folder / path.name).is_file()
    ]


def origin_notes(files: Sequence[ReadFile]) -> tuple[str, ...]:
    """Return in words which files are not the shipped ones; none for a requirement as it is shipped.

    Parameters
    ----------
    files
        The file of a requirement, then that of its base, and so on.
    """
    notes = []
    for number, file in enumerate(files):
        words = _where(file)
        if words and number:
            # A file that overrules its own base speaks of both by one name.
            notes.append(f"{files[0].name} is a variant of {file.name}, which is {words}")
        elif words:
            notes.append(f"{file.name} is {words}")
    return tuple(notes)


def _where(file: ReadFile) -> str:
    shown = f"the file {_short(file.path)}"
    if file.by_path:
        return f"{shown}, named by its path"
    place = search_folders(KIND).index(file.path.parent)
    if ORIGINS[place] == "shipped":
        return ""
    overruled = [
        "the shipped one" if origin == "shipped" else f"the one in the {origin}"
        for origin, _ in overruled_files(file.path)
    ]
    rest = f"which overrules {' and '.join(overruled)}" if overruled else "none of that name is shipped"
    return f"{shown} ({ORIGINS[place]}), {rest}"


def _short(path: Path) -> str:
    """Return the path from the working folder where it lies in there."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)
