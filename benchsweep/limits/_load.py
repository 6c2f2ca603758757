"""Read a requirement file; one with ``base`` says only what differs from another."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from benchsweep.definitions import (
    Definition,
    did_you_mean,
    find_definition,
    likeliest_first,
    read_toml_text,
    search_folders,
    validate_data,
)
from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.limits._line import LimitLine, Source, Standing, Text, worst_standing
from benchsweep.limits._origin import KIND, ReadFile, origin_notes
from benchsweep.limits._requirement import Requirement, refuse_two
from benchsweep.limits._rules import DirectCurrent, Length, Normalisation, Temperature
from benchsweep.records import Parameter

__all__ = ["parse_parameter", "read_requirement"]

_SEPARATORS = re.compile(r"[-_\s]+")


class _Variant(Definition):
    """What a file with ``base`` may hold: the keys of a `Requirement`; only a few must be there."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)

    schema_version: Literal[1] = Field(alias="schema")
    name: Text
    base: Text
    without: tuple[Parameter, ...] = ()
    title: Text | None = None
    body: Text | None = None
    edition: Text | None = None
    category: Text | None = Field(default=None, alias="class")
    configuration: Text | None = None
    rank: int | None = None
    standing: Standing | None = None
    source: Source | None = None
    contains_uncertainty: bool | None = None
    normalise: Normalisation | None = None
    temperature: Temperature | None = None
    length: Length | None = None
    lines: tuple[LimitLine, ...] = ()
    dc: tuple[DirectCurrent, ...] = ()

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        refuse_two([str(line.parameter) for line in self.lines], "line")
        refuse_two([item.quantity for item in self.dc], "dc limit")
        return self


def read_requirement(path: Path, *, by_path: bool) -> Requirement:
    """Read one file, and those that it is a variant of.

    Parameters
    ----------
    path
        The file.
    by_path
        It was asked for by its path, not by its name.

    Raises
    ------
    DefinitionError
    """
    data, files = _resolved(path, (), by_path=by_path)
    read = validate_data(data, Requirement, where=str(path))
    return read.read_from(origin_notes(files), tuple(file.text for file in files))


def _resolved(
    path: Path, above: tuple[Path, ...], *, by_path: bool
) -> tuple[dict[str, Any], tuple[ReadFile, ...]]:
    """Return what a file says together with what it takes over from its base, and which files these are."""
    here = path.resolve()
    if here in above:
        circle = " -> ".join(item.name for item in (*above[above.index(here) :], here))
        raise DefinitionError(
            f"{above[0]}: base: these requirements are variants of each other: {circle}",
            hint="Give the lines in one of the files, without base.",
        )
    data, text = read_toml_text(path)
    if "base" not in data:
        if above:  # its own mistakes are told as its own
            validate_data(data, Requirement, where=str(path))
        return data, (ReadFile(str(data.get("name", path.stem)), path, by_path, text),)
    variant = validate_data(data, _Variant, where=str(path))
    base, files = _resolved(_base_of(path, variant.base), (*above, here), by_path=_is_path(variant.base))
    return _merged(base, data, variant, path), (ReadFile(variant.name, path, by_path, text), *files)


def _is_path(base: str) -> bool:
    return base.endswith(".toml") or "/" in base or "\\" in base


def _base_of(path: Path, base: str) -> Path:
    """Return the file of a base: beside the variant when it is a path, else by name."""
    try:
        if _is_path(base):
            return find_definition(KIND, str(path.parent / base))
        if base != path.stem:
            return find_definition(KIND, base)
    except UnknownName as error:
        raise DefinitionError(f"{path}: base: {error.message}", hint=error.hint) from error
    folders = [folder.resolve() for folder in search_folders(KIND)]
    here = path.resolve().parent
    later = folders[folders.index(here) + 1 :] if here in folders else folders
    for folder in later:
        if (folder / f"{base}.toml").is_file():
            return folder / f"{base}.toml"
    raise DefinitionError(
        f"{path}: base: there is no {base!r} that this file overrules",
        hint="Name another requirement, or give every key here.",
    )


def _merged(base: Mapping[str, Any], own: Mapping[str, Any], variant: _Variant, path: Path) -> dict[str, Any]:
    there = [line["parameter"] for line in base["lines"]]
    missing = [parameter for parameter in variant.without if parameter not in there]
    if missing:
        raise DefinitionError(
            f"{path}: without: {variant.base} has no line for {missing[0]}",
            hint=f"It limits: {', '.join(there)}.",
        )
    kept = [line for line in base["lines"] if line["parameter"] not in variant.without]
    data = {key: value for key, value in base.items() if key not in ("standing", "rank")}
    data |= {key: value for key, value in own.items() if key != "without"}
    data["lines"] = _replaced(kept, own.get("lines", ()), "parameter")
    data["dc"] = _replaced(base.get("dc", ()), own.get("dc", ()), "quantity")
    if "standing" not in own:
        data["standing"] = (
            worst_standing(
                *(band.get("standing", line["standing"]) for line in data["lines"] for band in line["bands"]),
                *(line["standing"] for line in data["lines"]),
            )
            if data["lines"]
            else "from-memory"
        )
    return data


def _replaced(
    base: Iterable[Mapping[str, Any]], own: Iterable[Mapping[str, Any]], key: str
) -> list[Mapping[str, Any]]:
    """Return the base's tables, each replaced where there is an own one of the same key; new ones follow."""
    by_key = {table[key]: table for table in base}
    return list((by_key | {table[key]: table for table in own}).values())


def parse_parameter(text: str) -> Parameter:
    """Return the parameter that `text` names; case and the choice of ``-``, ``_`` or space do not matter.

    Raises
    ------
    UnknownName
        No such parameter; the message lists what there is, the likeliest first.

    Examples
    --------
    >>> parse_parameter("Return-Loss").value
    'return_loss'
    """
    try:
        return Parameter(_SEPARATORS.sub("_", text.strip().lower()))
    except ValueError:
        names = likeliest_first(text, Parameter)
        meant = did_you_mean(text, names)
        raise UnknownName(
            f"no parameter named {text!r}{f'{meant} There' if meant else '; there'} are: {', '.join(names)}",
            hint="Give one of these names.",
        ) from None
