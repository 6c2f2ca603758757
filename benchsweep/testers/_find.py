"""Find a definition file of this room and give its text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchsweep.definitions import find_definition, read_toml_text

__all__ = ["definition_text"]


def definition_text(kind: str, name_or_path: str | Path, folders: Sequence[Path]) -> tuple[str, str]:
    """Return the file as named in errors, and its text; `folders` are looked into first.

    Raises
    ------
    UnknownName
        No such file or name.
    DefinitionError
        It cannot be read, or is no TOML.
    """
    name = str(name_or_path)
    own = [folder / f"{name}.toml" for folder in folders if not any(mark in name for mark in "/\\")]
    path = next((file for file in own if file.is_file()), None) or find_definition(kind, name)
    return str(path), read_toml_text(path)[1]
