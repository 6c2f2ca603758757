"""Entries turned into JSON and back: the same again, or refused with the name of the field."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, get_args

import pytest

from benchsweep.archive.references import decode_event, encode_event
from benchsweep.errors import ArchiveError
from benchsweep.records import (
    BenchMeasured,
    FieldTesterCompared,
    ReferenceEvent,
    SeenReference,
    StudyMeasured,
)
from tests.archive.references.entries import COMPARED, COMPARISON, EVERY, MEASURED, PLANNED, RUN


def through_json(event: ReferenceEvent) -> Any:
    return json.loads(json.dumps(encode_event(event), allow_nan=False))


def test_every_kind_of_entry_is_here() -> None:
    assert {type(event) for event in EVERY} == set(get_args(ReferenceEvent))


@pytest.mark.parametrize("event", EVERY, ids=lambda event: type(event).__name__)
def test_it_is_the_same_again(event: ReferenceEvent) -> None:
    again = decode_event(through_json(event))
    assert again == event
    assert type(again) is type(event)
    assert through_json(again) == through_json(event)


def test_numbers_that_json_has_not_are_words() -> None:
    assert through_json(MEASURED)["checks"]["skew"] == "inf"


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in an entry, outermost first."""
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield (*path, key)
        yield from places(value, (*path, key))


def changed(entry: Any, path: tuple[Any, ...], change: Callable[[Any, Any], None]) -> Any:
    copy = json.loads(json.dumps(entry))
    node = copy
    for key in path[:-1]:
        node = node[key]
    change(node, path[-1])
    return copy


# Fields that entries of earlier versions do not have, with what stands for them then.
LATER: dict[tuple[type[ReferenceEvent], tuple[str | int, ...]], object] = {
    (BenchMeasured, ("length_m",)): None,
    (BenchMeasured, ("uncertainties",)): {},
    (BenchMeasured, ("seen",)): [],
    (FieldTesterCompared, ("seen",)): [],
    (FieldTesterCompared, ("comparison", "measured_at")): "",
    (FieldTesterCompared, ("comparison", "limited")): 0,
    (FieldTesterCompared, ("comparison", "whole_band")): True,
    (StudyMeasured, ("simulated",)): False,
    (StudyMeasured, ("steps",)): {},
}


SEEING = (
    replace(MEASURED, seen=(SeenReference("tester", "FT 07", 3, "ab" * 32),)),
    replace(COMPARED, seen=(SeenReference("study", "winter", 1, "cd" * 32),)),
)


@pytest.mark.parametrize("event", SEEING, ids=lambda event: type(event).__name__)
def test_what_it_saw_is_the_same_again(event: ReferenceEvent) -> None:
    assert decode_event(through_json(event)) == event


@pytest.mark.parametrize("event", [*EVERY, *SEEING], ids=lambda event: type(event).__name__)
def test_no_field_may_miss_or_have_another_type(event: ReferenceEvent) -> None:
    entry = through_json(event)
    tried = 0
    for path in places(entry):
        of_free_mapping = path[0] in ("checks", "steps", "uncertainties", "values") and len(path) > 1
        if (type(event), path) in LATER:
            value = LATER[type(event), path]
            default = changed(entry, path, lambda node, key, value=value: node.__setitem__(key, value))
            without = changed(entry, path, lambda node, key: node.pop(key))
            assert decode_event(without) == decode_event(default)
        elif isinstance(path[-1], str) and not of_free_mapping:
            with pytest.raises(ValueError, match=r".+"):
                decode_event(changed(entry, path, lambda node, key: node.pop(key)))
        with pytest.raises(ValueError, match=r".+"):
            decode_event(changed(entry, path, lambda node, key: node.__setitem__(key, {"x": [None]})))
        tried += 1
    assert tried >= 3


def test_unknown_keys_are_refused_wherever_they_stand() -> None:
    entry = through_json(COMPARED)
    for path in [(), *places(entry)]:
        node = entry
        for key in path:
            node = node[key]
        if not isinstance(node, dict):
            continue
        wrong = changed(entry, (*path, "more"), lambda there, key: there.__setitem__(key, 1))
        with pytest.raises(ValueError, match="there is no 'more'"):
            decode_event(wrong)


def test_a_wrong_value_is_named_with_its_place() -> None:
    entry = through_json(COMPARED)
    entry["comparison"]["rows"][0]["decisive"]["bench"] = "33"
    with pytest.raises(
        ValueError, match=r"compared\.comparison\.rows\[0\]\.decisive\.bench: '33' is no number"
    ):
        decode_event(entry)
    entry = through_json(PLANNED)
    entry["design"]["kind"] = "square"
    with pytest.raises(
        ValueError, match=r"design\.kind: 'square' is none of crossed, nested, interlaboratory"
    ):
        decode_event(entry)


@pytest.mark.parametrize(
    "event",
    [
        replace(MEASURED, at="yesterday"),
        replace(MEASURED, at="2026-11-02T09:00:00"),
        replace(MEASURED, record="ab"),
        replace(COMPARED, file="AB" * 32),
        replace(COMPARED, comparison=replace(COMPARISON, record_digest="")),
        replace(RUN, digest="12"),
        replace(RUN, number=1.5),
        replace(RUN, values={"x": "1"}),
        replace(PLANNED, design=None),
    ],
)
def test_what_could_not_be_read_again_is_not_kept(event: ReferenceEvent) -> None:
    with pytest.raises(ArchiveError, match="cannot be kept"):
        encode_event(event)


def test_no_kind_of_entry_is_guessed() -> None:
    for word in (None, 1, [], "opened", "ChannelRegistered"):
        with pytest.raises(ValueError, match="is none of channel-registered"):
            decode_event({"event": word})
