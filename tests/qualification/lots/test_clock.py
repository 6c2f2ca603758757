"""Clocks that go back: refused when an entry is added, told where a history has it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import CLOCKS_APART_S, check_clock, clock_doubts
from benchsweep.qualification import (
    add_record,
    archive_check_document,
    check_whole_archive,
    close_lot,
    exclude_reel,
    read_lot,
    replan_lot,
)
from benchsweep.records import LotEvent
from tests.lots.entries import AT, added, excluded, lot
from tests.qualification.lots.reels import BY, opened, record_of, result, told

ORDER = lot().order
NOW = datetime.now(UTC)


def at(event: LotEvent, seconds: float) -> LotEvent:
    moment = datetime.fromisoformat(AT) + timedelta(seconds=seconds)
    return replace(event, at=moment.isoformat())


@pytest.mark.parametrize(
    ("back", "is_refused"), [(0, False), (119, False), (120, False), (121, True), (-1e6, False)]
)
def test_two_minutes_are_allowed_between_two_stations(back: float, is_refused: bool) -> None:
    assert CLOCKS_APART_S == 120
    events = (lot().opened, at(excluded(ORDER[0]), 0.0))
    new = at(added(ORDER[1]), -back)
    if is_refused:
        with pytest.raises(LotRefused, match="the clock was set back"):
            check_clock(events, new)
    else:
        check_clock(events, new)
    assert bool(clock_doubts((*events, new))) is is_refused


def test_small_steps_back_do_not_add_up_unseen() -> None:
    events: list[LotEvent] = [lot().opened]
    for number in range(1, 4):
        new = at(added(ORDER[number]), -50.0 * number)
        if number < 3:
            check_clock(events, new)
        events.append(new)
    with pytest.raises(LotRefused, match="set back"):
        check_clock(events[:-1], events[-1])
    assert len(clock_doubts(events)) == 1


def test_offsets_from_utc_are_no_steps() -> None:
    there = replace(added(ORDER[1]), at="2026-11-02T03:16:00-05:00")  # a minute later
    check_clock((lot().opened,), there)
    assert clock_doubts((lot().opened, there)) == ()


def test_every_way_to_add_an_entry_refuses_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    view = opened(tmp_path)
    for reel in view.state.sample:
        add_record(tmp_path, "26-118", record_of(tmp_path, reel), by=BY)
    before = LotFile(tmp_path, "26-118").digest()
    past = (NOW - timedelta(days=3)).isoformat(timespec="microseconds")
    for name in ("_add", "_change", "_close"):
        monkeypatch.setattr(f"benchsweep.qualification.lots.{name}.utc_now", lambda *_: past)
    again = record_of(tmp_path, "R001", at=5)
    for act in (
        lambda: add_record(tmp_path, "26-118", again, by=BY, retest_reason="loose"),
        lambda: exclude_reel(tmp_path, "26-118", "R001", by=BY, reason="crushed"),
        lambda: replan_lot(tmp_path, "26-118", by=BY, reason="more", aql_percent=1.5),
        lambda: close_lot(tmp_path, "26-118", by=BY),
    ):
        with pytest.raises(LotRefused, match="the clock was set back") as caught:
            act()
        assert "Set the clock right" in caught.value.hint
    assert LotFile(tmp_path, "26-118").digest() == before


def test_a_history_that_has_it_stays_readable_and_tells(tmp_path: Path) -> None:
    """As an earlier version wrote it."""
    opened(tmp_path)
    file = LotFile(tmp_path, "26-118")
    told(tmp_path, "26-118", [result()], close=False)
    past = (NOW - timedelta(days=3)).isoformat(timespec="microseconds")
    file.append(excluded_at("R006", past), lambda _: None)
    (words,) = [words for words in read_lot(tmp_path, "26-118").doubts if "clock" in words]
    assert words.startswith("a clock was set back: entry 3 is of ")
    document = archive_check_document(check_whole_archive(tmp_path, jobs=1))
    assert ("lot-doubtful", words) in [(each["finding"], each["reason"]) for each in document["findings"]]


def excluded_at(reel: str, moment: str) -> LotEvent:
    return replace(excluded(reel), at=moment)


def test_a_lot_before_that_was_closed_later_than_now(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened(tmp_path, "first")
    told(tmp_path, "first", [result(), result()])
    opened(tmp_path, "other", supplier="Another")
    told(tmp_path, "other", [result(), result()])
    for apart, doubtful in ((timedelta(seconds=90), False), (timedelta(days=2), True)):
        moment = (datetime.now(UTC) - apart).isoformat(timespec="microseconds")
        monkeypatch.setattr("benchsweep.qualification.lots._open.utc_now", lambda *_, moment=moment: moment)
        view = opened(tmp_path, f"after {apart}")
        words = [words for words in view.doubts if "clock" in words]
        assert bool(words) is doubtful
        assert view.state.opened.severity_because.endswith("1 lot before it)"), "it counts all the same"
    mine, words = words
    assert words.startswith("a clock was wrong: the lot first has an entry of ")
    assert "later than now; its place in the order of lots is in doubt, and so is the severity" in words
    assert "the lot after 0:01:30" in mine, "of the same series, and open"
    assert not any("the lot other" in each for each in view.doubts)


def test_a_lot_before_that_was_closed_before_it_was_opened(tmp_path: Path) -> None:
    opened(tmp_path, "first")
    file = LotFile(tmp_path, "first")
    told(tmp_path, "first", [result(), result()])
    (*_, last) = file.read()
    path = Path(str(file.path))
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    file.append(replace(last, at=(NOW - timedelta(days=9)).isoformat()), lambda _: None)
    view = opened(tmp_path, "second")
    (words,) = [words for words in view.doubts if "clock" in words]
    assert words.startswith("a clock was wrong: the lot first was closed on ")
    assert "before an earlier entry of it" in words


def test_a_lot_whose_time_is_before_one_that_it_saw(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened(tmp_path)
    told(tmp_path, "26-118", [result(), result()])
    # The clock was a day slow when the second lot was opened and closed; the third has the right time again.
    early = (datetime.now(UTC) - timedelta(days=1)).isoformat()
    opening = "benchsweep.qualification.lots._open.utc_now"
    monkeypatch.setattr(opening, lambda *_: early)
    view = opened(tmp_path, "26-119")
    monkeypatch.undo()
    assert any("26-118" in words for words in view.doubts)
    third = opened(tmp_path, "26-120")
    (words,) = [each for each in third.doubts if "26-119" in each]
    assert "was opened on" in words
    assert "before the lot 26-118, which was there already" in words
