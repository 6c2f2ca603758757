"""One record counts in one lot: in a second one with a reason alone, which both of them tell."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep.archive._history_lines import HistoryFormat
from benchsweep.archive.lots import LotFile, encode_event
from benchsweep.errors import LotRefused
from benchsweep.qualification import (
    add_record,
    archive_check_document,
    check_whole_archive,
    close_lot,
    lot_document,
    process_views,
    read_lot,
)
from benchsweep.records import LotClosed, LotOpened, Parameter, ReelAdded
from tests.qualification.lots.reels import BY, PRODUCT, opened, record_of, result, told

WHY = "the same reel came back untouched"


@pytest.fixture
def shared(tmp_path: Path) -> tuple[Path, Path]:
    """Two lots of the same seed and names of reels, and a record that counts in the first."""
    for lot in ("first", "second"):
        assert opened(tmp_path, lot).state.sample == ("R001", "R006")
    record = record_of(tmp_path, "R001")
    add_record(tmp_path, "first", record, by=BY)
    return tmp_path, record


def findings(folder: Path) -> list[tuple[str, str]]:
    """Return what a check finds, but for what was told when the second lot was opened."""
    document = archive_check_document(check_whole_archive(folder, jobs=1))
    return [
        (each["finding"], each["reason"])
        for each in document["findings"]
        if each["finding"] != "lot-doubtful"
    ]


def test_it_is_refused_and_the_lot_named(shared: tuple[Path, Path]) -> None:
    folder, record = shared
    before = LotFile(folder, "second").digest()
    with pytest.raises(LotRefused, match=r"counts already, as the result of R001 in the lot first") as caught:
        add_record(folder, "second", record, by=BY)
    assert "--reuse" in caught.value.hint
    # Under another name of the file, too: its content names it.
    copy = folder / "elsewhere" / "copy.h5"
    copy.parent.mkdir()
    copy.write_bytes(record.read_bytes())
    with pytest.raises(LotRefused, match="the lot first"):
        add_record(folder, "second", copy, by=BY)
    assert LotFile(folder, "second").digest() == before
    for lot in ("first", "second"):
        assert not any("counts in" in words for words in read_lot(folder, lot).doubts)
    # Another measurement of the reel is what is asked for.
    add_record(folder, "second", record_of(folder, "R001", at=1), by=BY)


def test_with_a_reason_both_lots_tell_and_so_does_the_check(shared: tuple[Path, Path]) -> None:
    folder, record = shared
    view, event = add_record(folder, "second", record, by=BY, reuse_reason=WHY)
    assert (event.also_in, event.reuse_reason) == (("first",), WHY)
    assert view.doubts[0] == f"R001: its record counts in the lot first, too: {WHY}"
    assert lot_document(read_lot(folder, "second"))["doubts"][0] == view.doubts[0]
    assert read_lot(folder, "first").doubts[0] == f"R001: its record counts in the lot second, too: {WHY}"
    (entry,) = [each for each in lot_document(view)["history"] if each["what"] == "added"]
    assert (entry["also_in"], entry["reuse_reason"]) == (["first"], WHY)
    assert findings(folder) == [
        (
            "lot-record-twice",
            f"the record {record.name} counts as R001, and in the lot first as R001; the reason given: {WHY}",
        )
    ]
    (told_of,) = process_views(folder, product=PRODUCT, parameters=(Parameter.INSERTION_LOSS,))
    assert (told_of.lots, told_of.reels) == (("first",), ("R001",))
    assert told_of.notes[0] == (
        "taken once, for one record counts in several lots: R001 of the lot second is R001 of the lot first"
    )


def test_a_reason_without_need_is_refused(shared: tuple[Path, Path]) -> None:
    folder, _ = shared
    with pytest.raises(LotRefused, match="counts in no other lot"):
        add_record(folder, "second", record_of(folder, "R006"), by=BY, reuse_reason=WHY)


def test_what_does_not_count_there_any_more_is_free(shared: tuple[Path, Path]) -> None:
    folder, record = shared
    add_record(folder, "first", record_of(folder, "R001", at=1), by=BY, retest_reason="the plug was loose")
    view, event = add_record(folder, "second", record, by=BY)
    assert event.also_in == ()
    assert not any("counts in" in words for words in view.doubts)


def test_a_resubmission_is_no_exception(tmp_path: Path) -> None:
    opened(tmp_path, "first")
    record = record_of(tmp_path, "R001")
    add_record(tmp_path, "first", record, by=BY)
    add_record(tmp_path, "first", record_of(tmp_path, "R006", loss=1.05), by=BY)
    assert close_lot(tmp_path, "first", by=BY).state.closed.accepted is False  # type: ignore[union-attr]
    opened(tmp_path, "again", resubmission_of="first", reason="tested whole and sorted")
    with pytest.raises(LotRefused, match="in the lot first"):
        add_record(tmp_path, "again", record, by=BY)
    assert add_record(tmp_path, "again", record, by=BY, reuse_reason="not touched by the sorting")


def test_two_lots_of_before_there_was_a_rule_are_told(shared: tuple[Path, Path]) -> None:
    """An entry without a reason, as an earlier version or another program took it."""
    folder, record = shared
    first = read_lot(folder, "first").state.counting["R001"]
    file = LotFile(folder, "second")
    file.append(ReelAdded(first.at, BY, "", "R001", first.record, record.name, first.result), lambda _: None)
    for lot, other in (("first", "second"), ("second", "first")):
        words = f"R001: its record counts in the lot {other}, too: no reason was given"
        assert read_lot(folder, lot).doubts[0] == words
    assert [kind for kind, _ in findings(folder)] == ["lot-record-twice"]


def test_a_lot_that_cannot_be_read_stops_nothing_and_is_told(shared: tuple[Path, Path]) -> None:
    folder, _ = shared
    opened(folder, "third")
    spoilt = Path(str(LotFile(folder, "first").path))
    spoilt.write_bytes(spoilt.read_bytes().replace(b'"seed":"the', b'"seed":"The'))
    view, _ = add_record(folder, "second", record_of(folder, "R006", at=3), by=BY)
    assert not any("cannot be read and was not looked at" in words for words in view.doubts), (
        "names no record of it"
    )
    record = record_of(folder, "R001", at=4)
    add_record(folder, "third", record, by=BY)
    third = Path(str(LotFile(folder, "third").path))
    third.write_bytes(third.read_bytes().replace(b'"seed":"the', b'"seed":"The'))
    view, _ = add_record(folder, "second", record, by=BY)
    (words,) = [words for words in view.doubts if "was not looked at" in words]
    assert str(third) in words


def test_process_takes_results_of_other_records_as_before(tmp_path: Path) -> None:
    for lot in ("first", "second"):
        opened(tmp_path, lot)
        told(tmp_path, lot, [result(), result()])
    view = next(iter(process_views(tmp_path, product=PRODUCT)))
    assert len(view.reels) == 4
    assert not any("taken once" in note or "left out" in note for note in view.notes)
    assert isinstance(LotFile(tmp_path, "first").read()[-1], LotClosed)


def test_a_lot_of_version_1_has_no_place_for_the_reason(shared: tuple[Path, Path]) -> None:
    folder, record = shared
    file = LotFile(folder, "second")
    (first,) = file.read()
    assert isinstance(first, LotOpened)
    old = HistoryFormat("lot", chained=True, version=1)
    data, _ = old.lines([encode_event(replace(first, earlier=(), doubts=()), 1)])
    Path(str(file.path)).write_bytes(data)
    with pytest.raises(LotRefused, match="opened by an earlier version") as caught:
        add_record(folder, "second", record, by=BY, reuse_reason=WHY)
    assert "Measure the reel again" in caught.value.hint
    assert Path(str(file.path)).read_bytes() == data
    add_record(folder, "second", record_of(folder, "R001", at=7), by=BY)
    assert Path(str(file.path)).read_bytes().startswith(data)
