from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from benchsweep.archive._entries import from_json, plain
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
        whole = {"event": word, **plain(event)}
        entry = dict(whole)
        for name in _SINCE_2.get(word, ()) if version == 1 else ():
            if entry.pop(name):
                raise ValueError(f"{name}: version 1 of the format has no place for it")
        again = decode_event(json.loads(json.dumps(entry, allow_nan=False)), version)
        if {"event": word, **plain(again)} != whole:
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
    event: LotEvent = from_json(kind, content, str(word))
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


def _short(raw: Any) -> str:
    text = repr(raw)
    return text if len(text) <= 40 else f"{text[:39]}…"
