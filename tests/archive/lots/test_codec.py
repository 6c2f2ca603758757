"""Entries of a lot as JSON: everything comes back, and whatever is not as it was written is named."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.archive.lots import decode_event, encode_event
from benchsweep.errors import ArchiveError
from benchsweep.records import (
    LotClosed,
    LotEvent,
    LotOpened,
    LotReplanned,
    Outcome,
    ReelAdded,
    ReelConstants,
    ReelExcluded,
    SeenLot,
)
from tests.lots.entries import added, attributes, closed, excluded, judged, opened, replanned, result

FULL: tuple[LotEvent, ...] = (
    opened(
        attributes(characteristics=("next", "fext"), constant_k=1.5, limiting_percent=8.0),
        earlier=(SeenLot("another", 3, "ab" * 32), SeenLot("Prüfung", 1, "cd" * 32)),
        doubts=("a lot is not there any more",),
    ),
    added(
        "R001",
        result(
            Outcome.FAIL,
            failing=("NEXT 12-36 at A",),
            doubts=("a doubt",),
            notes=("a note",),
            constants=(ReelConstants("B", "45", 0.68, 101.5, 100.2, 24.5, 3.1e8, 4.8),),
            skew_ns_per_100m=12.5,
            measured_at="2026-11-02T08:00:00+00:00",
        ),
    ),
    excluded("R002"),
    replanned(attributes(8)),
    closed(False, ("R001",), variables=(judged(False),)),
)
TIMES = st.datetimes(timezones=st.just(UTC)).map(lambda moment: moment.isoformat())
HASHES = st.binary(min_size=32, max_size=32).map(bytes.hex)
SEEN = st.lists(st.builds(SeenLot, st.text(), st.integers(1, 10**6), HASHES), max_size=3).map(tuple)
KINDS = (LotOpened, ReelAdded, ReelExcluded, LotReplanned, LotClosed)


def any_event() -> st.SearchStrategy[LotEvent]:
    def of(kind: type) -> st.SearchStrategy[Any]:
        fixed: dict[str, Any] = {"at": TIMES} | ({"record": HASHES} if kind is ReelAdded else {})
        fixed |= {"earlier": SEEN} if kind is LotOpened else {}
        rest = {field.name: ... for field in fields(kind) if field.name not in fixed}
        return st.builds(kind, **fixed, **rest)

    return st.sampled_from(KINDS).flatmap(of)


@given(any_event())
@settings(max_examples=60, deadline=None)
def test_whatever_an_entry_holds_comes_back(event: LotEvent) -> None:
    text = json.dumps(encode_event(event), allow_nan=False)
    again = decode_event(json.loads(text))
    assert json.dumps(encode_event(again)) == text
    if "nan" not in repr(event):
        assert again == event
        assert type(again) is type(event)


@pytest.mark.parametrize("event", FULL, ids=lambda event: type(event).__name__)
def test_types_come_back_too(event: LotEvent) -> None:
    again = decode_event(encode_event(event))
    assert again == event
    assert repr(again) == repr(event)  # 1 and 1.0, "a" and a member of an enumeration differ there


@pytest.mark.parametrize("value", [math.inf, -math.inf, np.float64(2.5), np.float32(0.5), 3])
def test_numbers_that_json_has_not(value: float) -> None:
    event = closed(True, variables=(judged(True, count=np.int64(4)),))  # type: ignore[arg-type]
    object.__setattr__(event.variables[0], "quality", value)
    again = decode_event(json.loads(json.dumps(encode_event(event), allow_nan=False)))
    assert again.variables[0].quality == float(value)
    assert type(again.variables[0].quality) is float
    assert type(again.variables[0].count) is int


def test_version_1_has_no_place_for_what_came_later() -> None:
    for event, new in ((FULL[0], "earlier"), (added("R001"), "also_in")):
        plain = replace(event, **({"earlier": (), "doubts": ()} if new == "earlier" else {}))
        old = encode_event(plain, 1)
        assert new not in old
        assert decode_event(old, 1) == plain
        with pytest.raises(ValueError, match=f"there is no {new} in version 1"):
            decode_event(old | {new: []}, 1)
        with pytest.raises(ValueError, match=f"{new} is missing"):
            decode_event(old)
    for event in (FULL[0], replace(added("R001"), also_in=("x",), reuse_reason="y")):
        with pytest.raises(ArchiveError, match="version 1 of the format has no place for it"):
            encode_event(event, 1)


@pytest.mark.parametrize("seen", [SeenLot("x", 0, "ab" * 32), SeenLot("x", 1, "ab" * 31)])
def test_what_names_no_lot_is_refused(seen: SeenLot) -> None:
    with pytest.raises(ArchiveError, match="names a lot"):
        encode_event(opened(earlier=(seen,)))


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value inside."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in items:
        yield (*path, key)
        yield from places(each, (*path, key))


def at(value: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        value = value[key]
    return value


EVERY_PLACE = [(event, path) for event in FULL for path in places(encode_event(event))]


def test_every_key_is_needed_no_other_is_known_and_no_other_type_is_taken() -> None:
    assert len(EVERY_PLACE) > 100
    for event, path in EVERY_PLACE:
        whole = encode_event(event)
        if isinstance(path[-1], str):
            less = copy.deepcopy(whole)
            del at(less, path[:-1])[path[-1]]
            with pytest.raises(ValueError, match=str(path[-1])):
                decode_event(less)
        if isinstance(at(whole, path), dict):
            more = copy.deepcopy(whole)
            at(more, path)["surplus"] = 1
            with pytest.raises(ValueError, match="surplus"):
                decode_event(more)
        for wrong in ([[]], {"x": 1}, True, "1e5", 10**400):
            old = at(whole, path)
            if type(old) is type(wrong) and not isinstance(old, (list, dict)) and path[-1] != "event":
                continue  # a text in place of another, true in place of false
            if isinstance(wrong, str) and isinstance(at(whole, path), str):
                continue
            other = copy.deepcopy(whole)
            at(other, path[:-1])[path[-1]] = wrong
            with pytest.raises(ValueError):  # noqa: PT011 - the place differs
                decode_event(other)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("event", "burnt", "'burnt' is none of opened, added"),
        ("event", None, "None is none of"),
        ("event", ["added"], "is none of"),
        ("at", "yesterday", "no ISO 8601 time"),
        ("at", "2026-11-02T08:15:00", "without an offset"),
        ("record", "A" * 64, "is no content hash"),
        ("record", "", "is no content hash"),
    ],
)
def test_other_values_that_cannot_be(key: str, value: object, words: str) -> None:
    entry = encode_event(FULL[1]) | {key: value}
    with pytest.raises(ValueError, match=words):
        decode_event(entry)


def test_enumerations_and_words_are_held_to_theirs() -> None:
    margin = ("result", "margins", 0)
    for path in (("result", "outcome"), (*margin, "parameter"), (*margin, "end")):
        entry = encode_event(FULL[1])
        at(entry, path[:-1])[path[-1]] = "C"
        with pytest.raises(ValueError, match="'C' is none of"):
            decode_event(entry)


def test_an_entry_that_could_not_be_read_again_is_not_written() -> None:
    for wrong in (
        added("R1", record="abc"),
        excluded("R1", 5),  # type: ignore[arg-type]
        opened(at="now"),
        opened(seed_given="yes"),
    ):
        with pytest.raises(ArchiveError, match="cannot be kept"):
            encode_event(wrong)
