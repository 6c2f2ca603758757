"""Which requirement files are in force, which they overrule, and which are broken."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchsweep.definitions import find_definition, list_definitions, search_folders
from benchsweep.errors import DefinitionError
from benchsweep.limits._load import KIND, read_requirement
from benchsweep.limits._requirement import Requirement

__all__ = ["InForce", "Origin", "list_requirements", "load_requirement", "requirements_in_force"]

Origin = Literal["working folder", "data folder", "shipped"]
_ORIGINS: tuple[Origin, ...] = ("working folder", "data folder", "shipped")


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
    found: list[InForce] = []
    for name, path in list_definitions(KIND).items():
        later = folders[folders.index(path.parent) + 1 :]
        requirement, problem = None, None
        try:
            requirement = _load(name, path)
        except DefinitionError as error:
            problem = error
        found.append(
            InForce(
                name=name,
                path=path,
                origin=_ORIGINS[folders.index(path.parent)],
                overrules=tuple(file for folder in later if (file := folder / path.name).is_file()),
                requirement=requirement,
                problem=problem,
            )
        )
    return tuple(found)


def list_requirements() -> tuple[Requirement, ...]:
    """Return every requirement in force, by name.

    Raises
    ------
    DefinitionError
        A file is wrong; `requirements_in_force` tells which can be used all the same.
    """
    return tuple(_load(name, path) for name, path in list_definitions(KIND).items())


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
    return read_requirement(path) if path.stem != name else _load(name, path)


def _load(name: str, path: Path) -> Requirement:
    _refuse_a_second(name, path)
    requirement = read_requirement(path)
    if requirement.name != name:
        raise DefinitionError(
            f"{path}: name: {requirement.name!r} is not the name of the file",
            hint=f"Set name = {name!r} or rename the file to {requirement.name}.toml.",
        )
    return requirement


def _refuse_a_second(name: str, path: Path) -> None:
    """Refuse a name that two files of one folder claim, be it in another case.

    Raises
    ------
    DefinitionError
    """
    claimed = {name.casefold(), (_claimed(path) or name).casefold()}
    for other in _others(path):
        names = {other.stem.casefold()}
        # What is shipped is checked before it is shipped.
        if path.parent != search_folders(KIND)[-1]:
            names.add((_claimed(other) or other.stem).casefold())
        both = sorted(claimed & names)
        if both:
            raise DefinitionError(
                f"{path} and {other}: name: both files claim the name {both[0]!r}",
                hint="Remove or rename one of them; the name in a file is that of the file, and names that "
                "differ only in capitals are the same.",
            )


def _others(path: Path) -> Iterable[Path]:
    return (other for other in sorted(path.parent.glob("*.toml")) if other.name != path.name)


def _claimed(path: Path) -> str | None:
    """Return the name that a file claims; None where it has none or is no TOML, which is told elsewhere."""
    try:
        name = tomllib.loads(path.read_text(encoding="utf-8")).get("name")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return None
    return name if isinstance(name, str) else None
