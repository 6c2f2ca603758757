"""Find, read and validate definition files (TOML). Knows nothing of what they define.

A definition is looked for in this order, and the first file found is used:

1. the path itself, when the name has a folder part or ends in ``.toml``;
2. the working folder: ``./<kind>/<name>.toml`` (for example ``./stations/bench-2.toml``);
3. the person's data folder (``benchsweep info`` prints it): ``<data>/<kind>/<name>.toml``;
4. what benchsweep ships.

Every error names the file and the key. Unknown keys are refused by the models (``extra="forbid"``).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterable, Mapping, Sequence
from difflib import SequenceMatcher
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar, get_args

import platformdirs
from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, ValidationError
from pydantic_core import CoreSchema, ErrorDetails

from benchsweep.errors import DefinitionError, UnknownName

__all__ = [
    "Definition",
    "data_folder",
    "did_you_mean",
    "find_definition",
    "likeliest_first",
    "list_definitions",
    "load_definition",
    "load_model",
    "offered",
    "read_toml",
    "read_toml_text",
    "search_folders",
    "validate_data",
    "validate_model",
]

_APP = "benchsweep"
_MOST_KEYS = 12
_MOST_NAMES = 24
_LIKELIEST = 8
# A likeness (2 M / T of difflib) from which a name is taken for a slip of another.
_LIKE = 0.6
# So many letters or more that are a part of a name are like it, too.
_SHORTEST_PART = 3
# Keys that tell one table of a list from the others, the first that is there.
_CALLED = ("parameter", "name", "quantity")
_SEPARATORS = re.compile(r"[-_\s]")
_QUOTED = re.compile(r"'([^']*)'")
_NUMBER = re.compile(r"\s*[+-]?\d+([.,]\d*)?([eE][+-]?\d+)?\s*")
# As TOML errors say it, and a number with a comma after = that no bracket made a list.
_PLACE = re.compile(r"at line (\d+), column (\d+)")
_COMMA = re.compile(r"=\s*([+-]?\d+,\d+)")
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
    "mappings": "testers/mappings",
    "accuracies": "testers/accuracies",
    "benches": "simulator/bench/benches",
    "specimens": "simulator/specimen/specimens",
    "productions": "simulator/specimen/productions",
    "texts": "report/text",
}


def _make_strict(schema: Any) -> None:
    """Let every number and truth value in a schema be of its own type; a whole number is a float, too."""
    if isinstance(schema, dict):
        if schema.get("type") in ("float", "int", "bool"):
            schema["strict"] = True
        for part in schema.values():
            _make_strict(part)
    elif isinstance(schema, list | tuple):
        for part in schema:
            _make_strict(part)


class Definition(BaseModel):
    """Base of every model of a definition file: frozen; unknown keys, inf, nan and quoted numbers refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Take numbers strictly, and only them: TOML has lists for tuples and strings for enumerations."""
        schema = handler(source)
        _make_strict(schema)
        return schema


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
    return f"{', '.join(likeliest_first(name, known)[:_LIKELIEST])} and {len(known) - _LIKELIEST} more"


def likeliest_first(wrong: str, known: Iterable[str]) -> list[str]:
    """Return the names there are, those most like a wrong one first; case, ``-`` and ``_`` do not matter."""
    return sorted(known, key=lambda name: (-_likeness(wrong, name), name))


def did_you_mean(wrong: str, known: Iterable[str]) -> str:
    """Return ``; did you mean x?`` where a known name is like a wrong one, else nothing."""
    best = max(known, key=lambda name: _likeness(wrong, name), default="")
    return f"; did you mean {best}?" if _likeness(wrong, best) >= _LIKE else ""


def _likeness(wrong: str, name: str) -> float:
    first, second = (_SEPARATORS.sub("", text.casefold()) for text in (name, wrong))
    ratio = SequenceMatcher(None, first, second).ratio()
    part = len(second) >= _SHORTEST_PART and second in first
    return _LIKE + (1.0 - _LIKE) * ratio if part else ratio


def _singular(kind: str) -> str:
    own = {
        "accuracies": "accuracy file",
        "benches": "bench",
        "families": "command family",
        "texts": "language",
    }
    return own.get(kind, kind.removesuffix("s").replace("-", " "))


def load_definition(kind: str, name: str, model: type[Model]) -> Model:
    """Find, read and validate the definition `name` of `kind`.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return load_model(find_definition(kind, name), model)


def load_model(path: Path, model: type[Model], *, hint: str = _EXAMPLES) -> Model:
    """Read and validate one TOML file; `hint` ends what is told to a person whose file is wrong.

    Raises
    ------
    DefinitionError
        Not readable, not TOML, or not as `model` wants it; the message names file and key.
    """
    return validate_data(read_toml(path), model, where=str(path), hint=hint)


def read_toml(path: Path) -> dict[str, Any]:
    """Return what a TOML file holds, not validated.

    Raises
    ------
    DefinitionError
        Not readable, or not TOML.
    """
    return read_toml_text(path)[0]


def read_toml_text(path: Path) -> tuple[dict[str, Any], str]:
    """Return what a TOML file holds, as `read_toml`, and its text.

    Raises
    ------
    DefinitionError
        Not readable, or not TOML.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise DefinitionError(
            f"{path}: cannot be read: no such file",
            hint="Check the path: a relative one begins in the working folder.",
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise DefinitionError(
            f"{path}: cannot be read: {error}", hint="Check the path and the encoding (UTF-8)."
        ) from error
    return _parsed(text, str(path)), text


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
            f"{where}: not valid TOML: {error}",
            hint=_decimal_comma(text, str(error)) or "Correct the file at that line.",
        ) from error


def _decimal_comma(text: str, message: str) -> str:
    """Return the hint to write a point where a number with a comma made a mistake, else nothing."""
    place = _PLACE.search(message)
    lines = text.split("\n")
    if place is None or int(place[1]) > len(lines):
        return ""
    line, column = lines[int(place[1]) - 1], int(place[2]) - 1
    for found in _COMMA.finditer(line):
        rest = line[found.end() :]
        if found.start(1) <= column <= found.end() + len(rest) - len(rest.lstrip()):
            return f"Write numbers with a point: {found[1].replace(',', '.')} in place of {found[1]}."
    return ""


def validate_data(data: Mapping[str, Any], model: type[Model], *, where: str, hint: str = _EXAMPLES) -> Model:
    """Validate what a TOML file holds; `where` names it in errors, `hint` ends what is told of them.

    Raises
    ------
    DefinitionError
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        lines = [_told(item, data, model) for item in _own_mistakes(error.errors())]
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        others = "; ".join(lines[1:5])
        raise DefinitionError(f"{where}: {lines[0]}{more}", hint=f"{others}. {hint}".lstrip(". ")) from error


def _own_mistakes(items: Sequence[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out that a list is too short where it is only because its items are wrong."""
    return [
        item
        for item in items
        if item["type"] != "too_short"
        or not any(
            other["loc"][: len(item["loc"])] == item["loc"] and len(other["loc"]) > len(item["loc"])
            for other in items
        )
    ]


def _told(item: ErrorDetails, data: Mapping[str, Any], model: type[BaseModel]) -> str:
    """Return one mistake with its key."""
    way, places = _way(item, data)
    words = _words(item)
    if item["type"] == "extra_forbidden":
        words += _known_here(model, item)
    if item["type"] in ("union_tag_invalid", "union_tag_not_found"):
        way = [*way, item["ctx"]["discriminator"].strip("'")]
    key = _key(way)
    return f"{key}: {words}{places}" if key else words


def _way(item: ErrorDetails, data: Any) -> tuple[list[int | str], str]:
    """Return the keys and places down to a mistake as they stand in the file, and the places in words."""
    way: list[int | str] = []
    places: list[str] = []
    here = data
    for number, part in enumerate(item["loc"]):
        if isinstance(part, int) and isinstance(here, Sequence) and part < len(here):
            here = here[part]
            if way and isinstance(way[-1], str):
                places.append(f"no. {part + 1} of {way[-1]}{_called(here)}")
        elif isinstance(part, str) and isinstance(here, Mapping) and part in here:
            here = here[part]
        elif item["type"] != "missing" or number < len(item["loc"]) - 1:
            continue  # no key of the file: what chose among several tables or types
        way.append(part)
    return way, f" ({'; '.join(places)})" if places else ""


def _called(table: Any) -> str:
    names = (table.get(key) for key in _CALLED) if isinstance(table, Mapping) else ()
    name = next((name for name in names if isinstance(name, str)), "")
    return f", {name}" if name else ""


def _key(location: Iterable[int | str]) -> str:
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else str(part))
    return text


def _known_here(model: type[BaseModel], item: ErrorDetails) -> str:
    """Return which keys there are in place of one that is unknown, the likeliest first."""
    *way, wrong = item["loc"]
    found = [model]
    for part in way:
        if isinstance(part, int):
            continue
        below = [inner for one in found if part in _fields(one) for inner in _models(_fields(one)[part])]
        # No key: what chooses among several tables, such as the kind of a term; or a name of one's own.
        found = below or [one for one in found if _may_be(one, part)] or found
    names = likeliest_first(str(wrong), {name for one in found for name in _fields(one)})
    more = f" and {len(names) - _MOST_KEYS} more" if len(names) > _MOST_KEYS else ""
    known = f"nown here: {', '.join(names[:_MOST_KEYS])}{more}"
    meant = did_you_mean(str(wrong), names)
    return f"{meant} K{known}" if meant else f"; k{known}"


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field.annotation for name, field in model.model_fields.items()}


def _models(annotation: Any) -> list[type[BaseModel]]:
    """Return the models in an annotation, however it wraps them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models(part)]


def _may_be(model: type[BaseModel], tag: str) -> bool:
    return any(tag in get_args(annotation) for annotation in _fields(model).values())


def _words(item: ErrorDetails) -> str:
    kind, given = item["type"], item["input"]
    plain = {
        "extra_forbidden": "unknown key",
        "missing": "this key is missing",
        "union_tag_not_found": "this key is missing",
        "finite_number": "must be a finite number, not inf or nan",
    }
    if kind in plain:
        return plain[kind]
    context = item.get("ctx", {})
    expected = context.get("expected_tags", context.get("expected", ""))
    choices = _QUOTED.findall(str(expected))
    if kind in ("union_tag_invalid", "enum", "literal_error") and choices:
        wrong = str(context["tag"] if kind == "union_tag_invalid" else given)
        names = ", ".join(likeliest_first(wrong, choices))
        return f"{wrong!r} is none of {names}{did_you_mean(wrong, choices)}"
    if kind in ("float_type", "int_type") and isinstance(given, str) and _NUMBER.fullmatch(given):
        return f"must be a number; write {given.strip().replace(',', '.')} without quotes"
    message = item["msg"].removeprefix("Value error, ")
    return message[0].lower() + message[1:]
