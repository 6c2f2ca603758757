from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache
from numbers import Integral, Real
from types import NoneType, UnionType
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from benchsweep.errors import ArchiveError
from benchsweep.records import LotClosed, LotEvent, LotOpened, LotReplanned, ReelAdded, ReelExcluded

__all__ = ["VERSION", "decode_event", "encode_event"]

_KINDS: dict[str, type[LotEvent]] = {
    "opened": LotOpened,
    "added": ReelAdded,
    "excluded": ReelExcluded,
    "replanned": LotReplanned,
    "closed": LotClosed,
}
_KIND_OF = {kind: word for word, kind in _KINDS.items()}
# JSON has no numbers for these.
_BEYOND = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}
_HASH = re.compile(r"[0-9a-f]{64}")
VERSION = 2
"""Of entries that are written now: 2 keeps what other lots were, and why a record counts in two of them."""
_SINCE_2 = {"opened": ("earlier", "doubts"), "added": ("also_in", "reuse_reason")}


def encode_event(event: LotEvent, version: int = VERSION) -> dict[str, Any]:
    """Return an entry as JSON holds it: its kind as ``event``, then its fields by name.

    Numbers that JSON does not have stand as the words ``inf``, ``-inf`` and ``nan``.

    Parameters
    ----------
    version
        Of the file that it is added to; what an earlier one has no field for must be empty.

    Raises
    ------
    ArchiveError
        It could not be read again: a time that is none, a content hash that is none, a field of another type.
    """
    try:
        word = _KIND_OF[type(event)]
        whole = {"event": word, **_plain(event)}
        entry = dict(whole)
        for name in _SINCE_2.get(word, ()) if version == 1 else ():
            if entry.pop(name):
                raise ValueError(f"{name}: version 1 of the format has no place for it")
        again = decode_event(json.loads(json.dumps(entry, allow_nan=False)), version)
        if {"event": word, **_plain(again)} != whole:
            raise ValueError("it would be read as another one")
    except (ValueError, TypeError) as error:
        raise ArchiveError(
            f"this entry of a lot cannot be kept: {error}", hint="Nothing was written. This is our mistake."
        ) from error
    return entry


def decode_event(entry: Mapping[str, Any], version: int = VERSION) -> LotEvent:
    """Return the entry that JSON holds.

    Parameters
    ----------
    version
        Of the file that it stands in: what was no part of an entry then is empty.

    Raises
    ------
    ValueError
        A key is missing, unknown or of another type; the message names it.
    """
    content = dict(entry)
    word = content.pop("event", None)
    kind = _KINDS.get(word) if isinstance(word, str) else None
    if kind is None:
        raise ValueError(f"event: {word!r} is none of {', '.join(_KINDS)}")
    if version == 1:
        _fill_in(str(word), content)
    event: LotEvent
    try:
        event = _object_decoder(cast(Any, kind))(content)
    except (ValueError, TypeError, LookupError, OverflowError):  # what is wrong, and where
        event = _object(kind, content, str(word))
    _check_texts(event, str(word))
    return event


def _fill_in(word: str, content: dict[str, Any]) -> None:
    """Give an entry of version 1 the fields that it had not yet, empty."""
    for name in _SINCE_2.get(word, ()):
        if name in content:
            raise ValueError(f"{word}: there is no {name} in version 1")
        content[name] = "" if name == "reuse_reason" else []


def _check_texts(event: LotEvent, word: str) -> None:
    """Raise `ValueError` for a time or a checksum that is none."""
    try:
        if datetime.fromisoformat(event.at).tzinfo is None:
            raise ValueError("without an offset from UTC")
    except ValueError as error:
        raise ValueError(f"{word}.at: {event.at!r} is no ISO 8601 time in UTC: {error}") from error
    if isinstance(event, ReelAdded) and not _HASH.fullmatch(event.record):
        raise ValueError(f"{word}.record: {event.record!r} is no content hash")
    for seen in event.earlier if isinstance(event, LotOpened) else ():
        if seen.entries < 1 or not _HASH.fullmatch(seen.digest):
            raise ValueError(f"{word}.earlier: nothing that names a lot: {_short(seen)}")


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
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
def _decoder(hint: Any) -> Callable[[Any], Any]:
    """Return what makes a value of a type from JSON: as `_value` does, but it tells not what is wrong.

    It is made once for each type: a thousand lots hold millions of values.
    """
    origin, options = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        (only,) = (each for each in options if each is not NoneType)
        inner = _decoder(only)
        return lambda raw: None if raw is None else inner(raw)
    if origin is tuple:
        each = _decoder(options[0])
        return lambda raw: tuple([each(item) for item in _of_type(list, raw)])
    if isinstance(hint, type) and is_dataclass(hint):
        return _object_decoder(hint)
    if origin is Literal:
        return {word: word for word in options}.__getitem__
    if isinstance(hint, type) and issubclass(hint, Enum):
        return {member.value: member for member in hint}.__getitem__
    if hint is float:
        return lambda raw: raw if type(raw) is float and raw - raw == 0.0 else _number(raw, "")
    return lambda raw: raw if type(raw) is hint else _of_type(hint, raw)


@cache
def _object_decoder(kind: type) -> Callable[[Any], Any]:
    names = _hints(kind).keys()
    fields_of = [(name, _decoder(hint)) for name, hint in _hints(kind).items()]

    def decode(raw: Any) -> Any:
        if type(raw) is not dict or raw.keys() != names:
            raise TypeError(kind)
        return kind(*[field(raw[name]) for name, field in fields_of])

    return decode


def _of_type(kind: type, raw: Any) -> Any:
    if type(raw) is not kind:
        raise TypeError(kind)
    return raw


def _object(kind: type, raw: Any, where: str) -> Any:
    if not isinstance(raw, dict):
        raise ValueError(f"{where}: {_short(raw)} is no object")
    hints = _hints(kind)
    for name in raw:
        if name not in hints:
            raise ValueError(f"{where}: there is no {_short(name)}")
    for name in hints:
        if name not in raw:
            raise ValueError(f"{where}: {name} is missing")
    return kind(**{name: _value(hint, raw[name], f"{where}.{name}") for name, hint in hints.items()})


def _value(hint: Any, raw: Any, where: str) -> Any:
    origin, options = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        if raw is None and NoneType in options:
            return None
        (only,) = (each for each in options if each is not NoneType)
        return _value(only, raw, where)
    if origin is tuple:
        if not isinstance(raw, list):
            raise ValueError(f"{where}: {_short(raw)} is no list")
        return tuple(_value(options[0], each, f"{where}[{place}]") for place, each in enumerate(raw))
    if isinstance(hint, type) and is_dataclass(hint):
        return _object(hint, raw, where)
    return _leaf(hint, raw, where)


def _leaf(hint: Any, raw: Any, where: str) -> Any:
    if get_origin(hint) is Literal or (isinstance(hint, type) and issubclass(hint, Enum)):
        allowed = get_args(hint) or tuple(each.value for each in hint)
        if not isinstance(raw, str) or raw not in allowed:
            raise ValueError(f"{where}: {_short(raw)} is none of {', '.join(allowed)}")
        return hint(raw) if isinstance(hint, type) else raw
    if hint is float:
        return _number(raw, where)
    if type(raw) is not hint:
        raise ValueError(f"{where}: {_short(raw)} is no {hint.__name__}")
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
