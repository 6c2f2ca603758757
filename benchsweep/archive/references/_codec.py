"""Entries of the histories of reference channels, field testers and studies as JSON holds them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal, get_args

from benchsweep.archive._entries import from_json, to_json
from benchsweep.errors import ArchiveError
from benchsweep.records import (
    AccuracyDeclared,
    BenchMeasured,
    ChannelRegistered,
    FieldTesterCompared,
    FieldTesterRegistered,
    IntervalChanged,
    ReferenceEvent,
    Returned,
    StudyMeasured,
    StudyPlanned,
    Withdrawn,
)

__all__ = ["KINDS", "ReferenceKind", "decode_event", "encode_event", "first_of", "may_follow", "name_in"]

ReferenceKind = Literal["channel", "tester", "study"]
"""What a history is of."""
KINDS: tuple[ReferenceKind, ...] = get_args(ReferenceKind)
"""All of them."""

_EVENTS: dict[str, type[ReferenceEvent]] = {
    "channel-registered": ChannelRegistered,
    "measured": BenchMeasured,
    "tester-registered": FieldTesterRegistered,
    "compared": FieldTesterCompared,
    "withdrawn": Withdrawn,
    "returned": Returned,
    "interval": IntervalChanged,
    "accuracy": AccuracyDeclared,
    "study-planned": StudyPlanned,
    "run": StudyMeasured,
}
_WORD_OF = {kind: word for word, kind in _EVENTS.items()}
_FIRST: dict[ReferenceKind, type[ReferenceEvent]] = {
    "channel": ChannelRegistered,
    "tester": FieldTesterRegistered,
    "study": StudyPlanned,
}
_LATER: dict[ReferenceKind, tuple[type[ReferenceEvent], ...]] = {
    "channel": (BenchMeasured, Withdrawn, Returned, IntervalChanged),
    "tester": (FieldTesterCompared, Withdrawn, Returned, IntervalChanged, AccuracyDeclared),
    "study": (StudyMeasured,),
}
_HASH = re.compile(r"[0-9a-f]{64}")


def encode_event(event: ReferenceEvent) -> dict[str, Any]:
    """Return an entry as JSON holds it: its kind as ``event``, then its fields by name.

    Raises
    ------
    ArchiveError
        It could not be read again: a time that is none, a content hash that is none, a field of another type.
    """
    try:
        word = _WORD_OF[type(event)]
        content = to_json(event)
        _check_texts(event, word)
    except (ValueError, TypeError, KeyError) as error:
        raise ArchiveError(
            f"this entry of a history cannot be kept: {error}",
            hint="Nothing was written. This is our mistake.",
        ) from error
    return {"event": word, **content}


def decode_event(entry: Mapping[str, Any]) -> ReferenceEvent:
    """Return the entry that JSON holds.

    Raises
    ------
    ValueError
        A key is missing, unknown or of another type; the message names it.
    """
    content = dict(entry)
    word = content.pop("event", None)
    kind = _EVENTS.get(word) if isinstance(word, str) else None
    if kind is None:
        raise ValueError(f"event: {word!r} is none of {', '.join(_EVENTS)}")
    event: ReferenceEvent = from_json(kind, content, str(word))
    _check_texts(event, str(word))
    return event


def first_of(event: ReferenceEvent) -> ReferenceKind | None:
    """Return what a history is of that begins with this entry; None: none does."""
    return next((kind for kind, first in _FIRST.items() if isinstance(event, first)), None)


def may_follow(kind: ReferenceKind, event: ReferenceEvent) -> bool:
    """Tell whether an entry may stand in a history of that kind after its first one."""
    return isinstance(event, _LATER[kind])


def name_in(event: ReferenceEvent) -> str:
    """Return the name of the channel, tester or study that a first entry begins; empty for others."""
    if isinstance(event, ChannelRegistered):
        return event.channel
    if isinstance(event, FieldTesterRegistered):
        return event.tester
    return event.study if isinstance(event, StudyPlanned) else ""


def _check_texts(event: ReferenceEvent, word: str) -> None:
    """Raise `ValueError` for a time or a checksum that is none."""
    try:
        if datetime.fromisoformat(event.at).tzinfo is None:
            raise ValueError("without an offset from UTC")
    except ValueError as error:
        raise ValueError(f"{word}.at: {event.at!r} is no ISO 8601 time in UTC: {error}") from error
    for name, digest, may_be_empty in _digests(event):
        if not (may_be_empty and not digest) and not _HASH.fullmatch(digest):
            raise ValueError(f"{word}.{name}: {digest!r} is no content hash")


def _digests(event: ReferenceEvent) -> tuple[tuple[str, str, bool], ...]:
    if isinstance(event, BenchMeasured):
        return (("record", event.record, False),)
    if isinstance(event, FieldTesterCompared):
        told = event.comparison
        return (
            ("file", event.file, True),
            ("comparison.record_digest", told.record_digest, False),
            ("comparison.source_digest", told.source_digest, True),
        )
    if isinstance(event, StudyMeasured):
        return (("digest", event.digest, True),)
    return ()
