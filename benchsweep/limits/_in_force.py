"""Which requirement files are in force, which they overrule, and which are broken."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchsweep.definitions import find_definition, list_definitions, search_folders
from benchsweep.errors import DefinitionError
from benchsweep.limits._load import read_requirement
from benchsweep.limits._origin import KIND, ORIGINS, Origin, overruled_files
from benchsweep.limits._requirement import Requirement

__all__ = [
    "InForce",
    "Origin",
    "list_requirements",
    "load_requirement",
    "requirement_names",
    "requirements_in_force",
]


@dataclass(frozen=True, slots=True)
class InForce:
    """The file that a name stands for.

    Parameters
    ----------
    name, path
        The name, and the file that is used for it.
    origin
        Where it lies. The working folder wins over the data folder, that over what is shipped.
    overrules
        Files of the same name that are not used because of it.
    requirement
        What it says; None when it is broken.
    problem
        Why it cannot be used; None when it can.
    """

    name: str
    path: Path
    origin: Origin
    overrules: tuple[Path, ...]
    requirement: Requirement | None
    problem: DefinitionError | None


def requirements_in_force() -> tuple[InForce, ...]:
    """Return every requirement by name, the broken ones with what is wrong: they do not hinder the others."""
    folders = search_folders(KIND)
    claims = {folder: _claims(folder, shipped=folder == folders[-1]) for folder in folders}
    found: list[InForce] = []
    for name, path in list_definitions(KIND).items():
        requirement, problem = None, None
        try:
            requirement = _load(name, path, claims[path.parent])
        except DefinitionError as error:
            problem = error
        found.append(
            InForce(
                name=name,
                path=path,
                origin=ORIGINS[folders.index(path.parent)],
                overrules=tuple(file for _, file in overruled_files(path)),
                requirement=requirement,
                problem=problem,
            )
        )
    return tuple(found)


def requirement_names() -> tuple[str, ...]:
    """Return the name of every file in force, broken ones too; none of them is read."""
    return tuple(list_definitions(KIND))


def list_requirements() -> tuple[Requirement, ...]:
    """Return every requirement in force, by name.

    Raises
    ------
    DefinitionError
        A file is wrong; `requirements_in_force` tells which can be used all the same.
    """
    found = requirements_in_force()
    for item in found:
        if item.problem is not None:
            raise item.problem
    return tuple(item.requirement for item in found if item.requirement is not None)


def load_requirement(name: str) -> Requirement:
    """Return the requirement of that name, or of the TOML file that `name` is.

    A file in ``./requirements/`` or in the data folder wins over the shipped one of the same name. Other
    files that are wrong do no harm, except one in the same folder that claims the same name.

    A file with the key ``base`` is a variant: everything of the requirement that it names is taken over,
    except what the file gives itself. A line replaces the base's line of the same parameter, a dc limit that
    of the same quantity, a table (``[source]``, ``[temperature]``, …) the whole table; ``without`` names
    parameters whose lines are left out. `rank` is not taken over: two variants of one category would compete.
    The standing is worked out again when the file does not give it. A base of the file's own name is the file
    that it overrules.

    Raises
    ------
    UnknownName
        No such requirement; the message lists what there is.
    DefinitionError
        The file is wrong, or its base is, or the bases go round in a circle, or another file beside it has
        the same name.
    """
    path = find_definition(KIND, name)
    if path.stem != name:
        return read_requirement(path, by_path=True)
    return _load(name, path, _claims(path.parent, shipped=path.parent == search_folders(KIND)[-1]))


Claims = Mapping[str, Sequence[Path]]
"""Name, without regard to capitals, to the files of one folder that claim it."""


def _claims(folder: Path, *, shipped: bool) -> Claims:
    claims: dict[str, list[Path]] = {}
    for path in sorted(folder.glob("*.toml")) if folder.is_dir() else ():
        # The names in the files that are shipped are checked before they are.
        for name in {path.stem.casefold(), path.stem.casefold() if shipped else _claimed(path)}:
            claims.setdefault(name, []).append(path)
    return claims


def _claimed(path: Path) -> str:
    """Return the name that a file claims; that of the file where it is no TOML, which is told elsewhere."""
    try:
        name = tomllib.loads(path.read_text(encoding="utf-8")).get("name")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        name = None
    return (name if isinstance(name, str) else path.stem).casefold()


def _load(name: str, path: Path, claims: Claims) -> Requirement:
    for claimed, files in claims.items():
        if path in files and len(files) > 1:
            raise DefinitionError(
                f"{' and '.join(str(file) for file in files)}: name: {len(files)} files claim {claimed!r}",
                hint="Remove or rename all but one: a name is that of its file, and capitals make no "
                "difference.",
            )
    requirement = read_requirement(path, by_path=False)
    if requirement.name != name:
        raise DefinitionError(
            f"{path}: name: {requirement.name!r} is not the name of the file",
            hint=f"Set name = {name!r} or rename the file to {requirement.name}.toml.",
        )
    return requirement
