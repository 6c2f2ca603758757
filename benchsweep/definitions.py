"""Find, read and validate definition files (TOML). Knows nothing of what they define.

A definition is looked for in this order, and the first file found is used:

1. the path itself, when the name has a folder part or ends in ``.toml``;
2. the working folder: ``./<kind>/<name>.toml`` (for example ``./stations/bench-2.toml``);
3. the person's data folder (``benchsweep info`` prints it): ``<data>/<kind>/<name>.toml``;
4. what benchsweep ships.

Every error names the file and the key. Unknown keys are refused by the models (``extra="forbid"``).
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterable, Mapping
from difflib import SequenceMatcher
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar, get_args

import platformdirs
from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from benchsweep.errors import DefinitionError, UnknownName

__all__ = [
    "Definition",
    "data_folder",
    "find_definition",
    "list_definitions",
    "load_definition",
    "load_model",
    "offered",
    "read_toml",
    "search_folders",
    "validate_data",
    "validate_model",
]

_APP = "benchsweep"
_MOST_KEYS = 12
_MOST_NAMES = 24
_LIKELIEST = 8
_EXAMPLES = "The shipped files are examples; `benchsweep info` says where they stand."
# Kinds whose files stand at the top level of a checkout and under _shipped/ in a wheel.
_TOP_LEVEL = {
    "fixtures": "fixtures",
    "port-maps": "fixtures/port-maps",
    "kits": "calibrations/kits",
    "checks": "calibrations/checks",
}
# Kinds whose files are package data of a room.
_IN_PACKAGE = {
    "families": "instrument/families",
    "requirements": "limits/tables",
    "stations": "qualification/stations",
    "budgets": "uncertainty/budgets",
    "benches": "simulator/bench/benches",
    "specimens": "simulator/specimen/specimens",
}


class Definition(BaseModel):
    """Base of every model of a definition file: frozen, unknown keys refused, and inf and nan."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


Model = TypeVar("Model", bound=BaseModel)


def data_folder() -> Path:
    """Return the person's data folder (XDG base directory specification, or the platform's own)."""
    return Path(platformdirs.user_data_dir(_APP, appauthor=False))


def _shipped_folder(kind: str) -> Path:
    package = Path(str(resources.files("benchsweep")))
    if kind in _IN_PACKAGE:
        return package / _IN_PACKAGE[kind]
    shipped = package / "_shipped" / _TOP_LEVEL[kind]
    return shipped if shipped.is_dir() else package.parent / _TOP_LEVEL[kind]


def search_folders(kind: str) -> tuple[Path, ...]:
    """Return the folders searched for definitions of `kind`, first wins."""
    relative = _TOP_LEVEL.get(kind, kind)
    return (Path.cwd() / relative, data_folder() / relative, _shipped_folder(kind))


def list_definitions(kind: str) -> dict[str, Path]:
    """Return name -> file of every definition of `kind` in force, by name."""
    found: dict[str, Path] = {}
    for folder in search_folders(kind):
        if folder.is_dir():
            for path in sorted(folder.glob("*.toml")):
                found.setdefault(path.stem, path)
    return dict(sorted(found.items()))


def find_definition(kind: str, name: str) -> Path:
    """Return the file of the definition `name` of `kind`, or of the path that `name` is.

    Raises
    ------
    UnknownName
        No such file or name; the message lists what there is.
    """
    if name.endswith(".toml") or "/" in name or "\\" in name:
        path = Path(name)
        if not path.is_file():
            where = "" if path.is_absolute() else f"; looked for {path.absolute()}"
            raise UnknownName(
                f"{_singular(kind)} {name}: no such file{where}",
                hint="Check the path: a relative one begins in the working folder. A name without .toml is "
                f"looked for in {', '.join(str(folder) for folder in search_folders(kind))}.",
            )
        return path
    known = list_definitions(kind)
    if name not in known:
        looked = ", ".join(str(folder) for folder in search_folders(kind))
        raise UnknownName(
            f"no {_singular(kind)} named {name!r}; there are: {offered(name, known)}",
            hint=f"Give one of these names or the path of a .toml file. Looked in: {looked}",
        )
    return known[name]


def offered(name: str, known: Collection[str]) -> str:
    """Return the names there are, for a message about `name`: where they are many only the likeliest."""
    if len(known) <= _MOST_NAMES:
        return ", ".join(known) or "none"
    likely = sorted(known, key=lambda item: -SequenceMatcher(None, item, name).ratio())[:_LIKELIEST]
    return f"{', '.join(likely)} and {len(known) - _LIKELIEST} more"


def _singular(kind: str) -> str:
    return {"benches": "bench", "families": "command family"}.get(
        kind, kind.removesuffix("s").replace("-", " ")
    )


def load_definition(kind: str, name: str, model: type[Model]) -> Model:
    """Find, read and validate the definition `name` of `kind`.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return load_model(find_definition(kind, name), model)


def load_model(path: Path, model: type[Model]) -> Model:
    """Read and validate one TOML file.

    Raises
    ------
    DefinitionError
        Not readable, not TOML, or not as `model` wants it; the message names file and key.
    """
    return validate_data(read_toml(path), model, where=str(path))


def read_toml(path: Path) -> dict[str, Any]:
    """Return what a TOML file holds, not validated.

    Raises
    ------
    DefinitionError
        Not readable, or not TOML.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DefinitionError(
            f"{path}: cannot be read: {error}", hint="Check the path and the encoding (UTF-8)."
        ) from error
    return _parsed(text, str(path))


def validate_model(text: str, model: type[Model], *, where: str) -> Model:
    """Validate TOML `text`; `where` names it in errors.

    Raises
    ------
    DefinitionError
    """
    return validate_data(_parsed(text, where), model, where=where)


def _parsed(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DefinitionError(
            f"{where}: not valid TOML: {error}", hint="Correct the file at that line."
        ) from error


def validate_data(data: Mapping[str, Any], model: type[Model], *, where: str) -> Model:
    """Validate what a TOML file holds; `where` names it in errors.

    Raises
    ------
    DefinitionError
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        lines = [
            f"{_key(item['loc'])}{_words(item['type'], item['msg'])}{_known_here(model, item)}"
            for item in error.errors()
        ]
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        others = "; ".join(lines[1:5])
        raise DefinitionError(
            f"{where}: {lines[0]}{more}", hint=f"{others}. {_EXAMPLES}".lstrip(". ")
        ) from error


def _key(location: Iterable[int | str]) -> str:
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else str(part))
    return f"{text}: " if text else ""


def _known_here(model: type[BaseModel], item: ErrorDetails) -> str:
    """Return which keys there are in place of one that is unknown, the likeliest first."""
    if item["type"] != "extra_forbidden":
        return ""
    *way, wrong = item["loc"]
    found = [model]
    for part in way:
        if isinstance(part, int):
            continue
        below = [inner for one in found if part in _fields(one) for inner in _models(_fields(one)[part])]
        # No key: what chooses among several tables, such as the kind of a term; or a name of one's own.
        found = below or [one for one in found if _may_be(one, part)] or found
    names = sorted({name for one in found for name in _fields(one)})
    names.sort(key=lambda name: -SequenceMatcher(None, name, str(wrong)).ratio())
    more = f" and {len(names) - _MOST_KEYS} more" if len(names) > _MOST_KEYS else ""
    return f"; known here: {', '.join(names[:_MOST_KEYS])}{more}"


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field.annotation for name, field in model.model_fields.items()}


def _models(annotation: Any) -> list[type[BaseModel]]:
    """Return the models in an annotation, however it wraps them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models(part)]


def _may_be(model: type[BaseModel], tag: str) -> bool:
    return any(tag in get_args(annotation) for annotation in _fields(model).values())


def _words(kind: str, message: str) -> str:
    plain = {
        "extra_forbidden": "unknown key",
        "missing": "this key is missing",
        "finite_number": "must be a finite number, not inf or nan",
    }
    message = message.removeprefix("Value error, ")
    return plain.get(kind, message[0].lower() + message[1:])
