"""Plain records (frozen dataclasses) as JSON holds them and back, strictly: nothing is guessed or dropped.

Numbers that JSON does not have stand as the words ``inf``, ``-inf`` and ``nan``. Types understood: text,
numbers, truth values, `Literal` and `Enum` of text, any of them or None, tuples of one type, tuples of fixed
types, mappings from text, and dataclasses of all these. A field that came later has the metadata ``later``
and a default, which stands for what entries of earlier versions do not tell.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from numbers import Integral, Real
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

__all__ = ["from_json", "plain", "to_json"]

# JSON has no numbers for these.
_BEYOND = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}


def to_json(value: Any) -> Any:
    """Return what JSON holds of a record.

    Raises
    ------
    TypeError
        It holds something that JSON has not.
    ValueError
        It would be read as another one: a field has another type than it is declared with.
    """
    found = plain(value)
    if is_dataclass(value) and not isinstance(value, type):
        again = from_json(type(value), json.loads(json.dumps(found, allow_nan=False)))
        if plain(again) != found:
            raise ValueError("it would be read as another one")
    return found


def from_json(kind: type, raw: Any, where: str = "") -> Any:
    """Return the record of the dataclass `kind` that JSON holds; `where` names it in messages.

    Raises
    ------
    ValueError
        A key is missing, unknown or of another type, or the record refuses its fields; the message names it.
    """
    try:
        return _quick_object(kind)(raw)
    except (ValueError, TypeError, LookupError, OverflowError):  # what is wrong, and where
        return _object(kind, raw, where or kind.__name__)


def plain(value: Any) -> Any:
    """Return what JSON holds of a record, without looking whether it could be read again; see `to_json`.

    Raises
    ------
    TypeError
        It holds something that JSON has not.
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (tuple, list)):
        return [plain(each) for each in value]
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError("a mapping whose keys are no texts")
        return {str(key): plain(each) for key, each in value.items()}
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, Integral):  # of numpy, too
        return int(value)
    if isinstance(value, Real):
        number = float(value)
        return number if math.isfinite(number) else repr(number)
    raise TypeError(f"{value!r} is nothing that JSON has")


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


@cache
def _later(kind: type) -> frozenset[str]:
    """Return the fields that entries of earlier versions do not have: their default stands then."""
    return frozenset(each.name for each in fields(kind) if each.metadata.get("later"))


def _object(kind: type, raw: Any, where: str) -> Any:
    if not isinstance(raw, dict):
        raise ValueError(f"{where}: {_short(raw)} is no object")
    hints = _hints(kind)
    for name in raw:
        if name not in hints:
            raise ValueError(f"{where}: there is no {_short(name)}")
    for name in hints:
        if name not in raw and name not in _later(kind):
            raise ValueError(f"{where}: {name} is missing")
    values = {name: _slow(hint)(raw[name], f"{where}.{name}") for name, hint in hints.items() if name in raw}
    try:
        return kind(**values)
    except (ValueError, TypeError) as error:
        raise ValueError(f"{where}: {error}") from error


@cache
def _quick(hint: Any) -> Callable[[Any], Any]:
    """Return what makes a value of a type from JSON: as `_slow` does, but it tells not what is wrong.

    It is made once for each type: a thousand lots hold millions of values.
    """
    origin, options = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        (only,) = (each for each in options if each is not NoneType)
        inner = _quick(only)
        return lambda raw: None if raw is None else inner(raw)
    if origin is tuple and len(options) == 2 and options[1] is Ellipsis:
        each = _quick(options[0])
        return lambda raw: tuple([each(item) for item in _as(list, raw)])
    if origin is tuple:
        parts = [_quick(option) for option in options]
        return lambda raw: tuple([part(item) for part, item in zip(parts, _as(list, raw), strict=True)])
    if isinstance(origin, type) and issubclass(origin, Mapping):
        of_each = _quick(options[1])
        return lambda raw: {name: of_each(item) for name, item in _as(dict, raw).items()}
    if isinstance(hint, type) and is_dataclass(hint):
        return _quick_object(hint)
    if origin is Literal:
        return {word: word for word in options}.__getitem__
    if isinstance(hint, type) and issubclass(hint, Enum):
        return {member.value: member for member in hint}.__getitem__
    if hint is float:
        return lambda raw: raw if type(raw) is float and raw - raw == 0.0 else _number(raw, "")
    return lambda raw: raw if type(raw) is hint else _as(hint, raw)


@cache
def _quick_object(kind: type) -> Callable[[Any], Any]:
    names = _hints(kind).keys()
    fields_of = [(name, _quick(hint)) for name, hint in _hints(kind).items()]

    def decode(raw: Any) -> Any:
        if type(raw) is not dict or raw.keys() != names:
            raise TypeError(kind)
        return kind(*[field(raw[name]) for name, field in fields_of])

    return decode


def _as(kind: type, raw: Any) -> Any:
    if type(raw) is not kind:
        raise TypeError(kind)
    return raw


def _slow(hint: Any) -> Callable[[Any, str], Any]:
    """Return what makes a value of a type from JSON, and names the place of what is none."""
    origin, options = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        (only,) = (each for each in options if each is not NoneType)
        inner = _slow(only)
        return lambda raw, where: None if raw is None else inner(raw, where)
    if origin is tuple:
        return _tuple(options)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return _mapping(_slow(options[1]))
    if isinstance(hint, type) and is_dataclass(hint):
        return lambda raw, where: _object(hint, raw, where)
    if origin is Literal or (isinstance(hint, type) and issubclass(hint, Enum)):
        return _choice(hint)
    return _number if hint is float else _exactly(hint)


def _tuple(options: tuple[Any, ...]) -> Callable[[Any, str], Any]:
    if len(options) == 2 and options[1] is Ellipsis:
        each = _slow(options[0])
        return lambda raw, where: tuple(
            each(item, f"{where}[{place}]") for place, item in enumerate(_of_type(list, raw, where, "list"))
        )
    parts = [_slow(option) for option in options]

    def decode(raw: Any, where: str) -> Any:
        items = _of_type(list, raw, where, "list")
        if len(items) != len(parts):
            raise ValueError(f"{where}: has {len(items)} items, not {len(parts)}")
        return tuple(
            part(item, f"{where}[{place}]")
            for place, (part, item) in enumerate(zip(parts, items, strict=True))
        )

    return decode


def _mapping(inner: Callable[[Any, str], Any]) -> Callable[[Any, str], Any]:
    def decode(raw: Any, where: str) -> Any:
        items = _of_type(dict, raw, where, "object").items()
        return {name: inner(item, f"{where}[{_short(name)}]") for name, item in items}

    return decode


def _choice(hint: Any) -> Callable[[Any, str], Any]:
    made = {each: each for each in get_args(hint)} or {each.value: each for each in hint}

    def decode(raw: Any, where: str) -> Any:
        if not isinstance(raw, str) or raw not in made:
            raise ValueError(f"{where}: {_short(raw)} is none of {', '.join(map(str, made))}")
        return made[raw]

    return decode


def _exactly(hint: type) -> Callable[[Any, str], Any]:
    return lambda raw, where: _of_type(hint, raw, where, hint.__name__)


def _of_type(kind: type, raw: Any, where: str, called: str) -> Any:
    if type(raw) is not kind:
        raise ValueError(f"{where}: {_short(raw)} is no {called}")
    return raw


def _number(raw: Any, where: str) -> float:
    if isinstance(raw, str) and raw in _BEYOND:
        return _BEYOND[raw]
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        try:
            if math.isfinite(number := float(raw)):
                return number
        except OverflowError:
            pass
    raise ValueError(f"{where}: {_short(raw)} is no number")


def _short(raw: Any) -> str:
    text = repr(raw)
    return text if len(text) <= 40 else f"{text[:39]}…"
