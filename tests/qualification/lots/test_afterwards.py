"""A record that is withdrawn or corrected after its lot was closed: told wherever the lot is looked at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.errors import LotRefused, UsageError
from benchsweep.qualification import (
    add_record,
    close_lot,
    correct,
    exit_code_of_lot,
    lot_document,
    process_views,
    read_lot,
)
from benchsweep.records import Parameter
from tests.qualification.lots.reels import BY, PRODUCT, measured, opened, record_of

WHY = "the reel was exchanged"
LOSS = (Parameter.INSERTION_LOSS,)


@pytest.fixture
def lot(tmp_path: Path) -> tuple[Path, dict[str, Path]]:
    """An accepted lot; one record lies in a folder of its own."""
    opened(tmp_path)
    records = {"R001": record_of(tmp_path, "R001"), "R006": record_of(tmp_path / "2026" / "03", "R006", at=1)}
    for record in records.values():
        add_record(tmp_path, "26-118", record, by=BY)
    close_lot(tmp_path, "26-118", by=BY)
    assert not any("withdrawn" in words for words in read_lot(tmp_path, "26-118").doubts)
    return tmp_path, records


@pytest.mark.parametrize("reel", ["R001", "R006"])
def test_a_withdrawal_is_the_first_thing_told(lot: tuple[Path, dict[str, Path]], reel: str) -> None:
    folder, records = lot
    correct(records[reel], {}, by="M. Olsen", reason=WHY, withdrawn=True)
    view = read_lot(folder, "26-118")
    assert view.doubts[0].startswith(f"{reel}: the record was withdrawn by M. Olsen on ")
    assert view.doubts[0].endswith(f": {WHY}; do not use it; the decision stands on it")
    assert lot_document(view)["doubts"][0] == view.doubts[0]
    assert exit_code_of_lot(view) == 0, "the decision is not changed by it"
    other = "R006" if reel == "R001" else "R001"
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert shown.reels == (other,)
    assert shown.notes[0].startswith(
        f"left out, for their records were withdrawn: {reel} of the lot 26-118 (M. Olsen"
    )
    # Used again, nothing is left of it.
    correct(records[reel], {}, by="M. Olsen", reason="it was not", withdrawn=False)
    assert not any("withdrawn" in words for words in read_lot(folder, "26-118").doubts)
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert set(shown.reels) == {"R001", "R006"}


def test_a_product_with_nothing_but_withdrawn_records(lot: tuple[Path, dict[str, Path]]) -> None:
    folder, records = lot
    for record in records.values():
        correct(record, {}, by="M. Olsen", reason=WHY, withdrawn=True)
    with pytest.raises(UsageError, match=r"left out, for their records were withdrawn: R001 .*R006"):
        process_views(folder, product=PRODUCT)


def test_a_correction_is_told_when_it_came_after_the_record_was_added(tmp_path: Path) -> None:
    opened(tmp_path)
    record = record_of(tmp_path, "R001", temperature_degc=None)
    correct(record, by=BY, reason="read from the log", changes={"ambient.temperature_degc": 20.0})
    add_record(tmp_path, "26-118", record, by=BY)
    assert not any("corrected" in words for words in read_lot(tmp_path, "26-118").doubts)
    correct(record, by="M. Olsen", reason="the tape was wrong", changes={"length_m": 99.0})
    (words,) = [words for words in read_lot(tmp_path, "26-118").doubts if "corrected" in words]
    assert words.startswith("R001: length of its record corrected by M. Olsen on ")
    assert "after it was added (the tape was wrong)" in words


def test_no_record_is_read_for_it(lot: tuple[Path, dict[str, Path]]) -> None:
    """Not even the files need be there."""
    folder, records = lot
    correct(records["R001"], {}, by="M. Olsen", reason=WHY, withdrawn=True)
    for record in records.values():
        record.unlink()
    assert "withdrawn" in read_lot(folder, "26-118").doubts[0]
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert shown.reels == ("R006",)


def test_a_correction_that_cannot_be_read_is_told_and_stops_nothing(
    lot: tuple[Path, dict[str, Path]],
) -> None:
    folder, records = lot
    correct(records["R001"], {}, by="M. Olsen", reason=WHY, withdrawn=True)
    (note,) = (folder / archive.NOTES).rglob("*.h5")
    note.write_bytes(note.read_bytes()[:-9] + b"x" * 9)
    view = read_lot(folder, "26-118")
    assert view.doubts[0].startswith(
        "R001: whether its record was withdrawn or corrected since is not known: "
    )
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert set(shown.reels) == {"R001", "R006"}
    assert "not known: R001 of the lot 26-118" in shown.notes[0]


def test_at_an_address_too(lot: tuple[Path, dict[str, Path]]) -> None:
    folder, records = lot
    correct(records["R001"], {}, by="M. Olsen", reason=WHY, withdrawn=True)
    here = [words for words in read_lot(folder, "26-118").doubts if "withdrawn" in words]
    there = [words for words in read_lot(f"file://{folder}", "26-118").doubts if "withdrawn" in words]
    assert here == there
    assert len(there) == 1


def test_a_process_takes_what_was_corrected_since_and_says_so(lot: tuple[Path, dict[str, Path]]) -> None:
    folder, records = lot
    (before,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    correct(records["R001"], {"length_m": 90.0}, by="M. Olsen", reason="mistyped")
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert shown.reels == before.reels
    assert (shown.margin == before.margin).all(), "the decision stands on these"
    (words,) = [note for note in shown.notes if "corrected since" in note]
    assert "R001 of the lot 26-118" in words


def test_a_record_that_is_gone_is_told_by_the_status(lot: tuple[Path, dict[str, Path]]) -> None:
    folder, records = lot
    records["R001"].unlink()
    view = read_lot(folder, "26-118")
    assert any(
        words.startswith("R001: its record") and "not there any more" in words for words in view.doubts
    )
    assert not any(words.startswith("R006: its record") for words in view.doubts)


def test_one_measurement_under_two_names_closes_no_lot(tmp_path: Path) -> None:
    opened(tmp_path)
    add_record(tmp_path, "26-118", record_of(tmp_path, "R001"), by=BY)
    twice = replace(measured("R001"), specimen=measured("R006").specimen)
    add_record(tmp_path, "26-118", archive.write_record(twice, tmp_path), by=BY)
    with pytest.raises(LotRefused, match="R006: its record holds the same sweeps as that of R001"):
        close_lot(tmp_path, "26-118", by=BY)
    other = record_of(tmp_path, "R006", at=1, loss=0.91)
    add_record(tmp_path, "26-118", other, by=BY, retest_reason="the file of another reel was taken")
    assert close_lot(tmp_path, "26-118", by=BY).state.closed is not None


def test_a_damaged_lot_hides_no_other_from_a_process(lot: tuple[Path, dict[str, Path]]) -> None:
    folder, _ = lot
    opened(folder, "26-119")
    (damaged,) = (folder / "lots").glob("26-119-*.txt")
    damaged.write_bytes(damaged.read_bytes().replace(b"26-119", b"26-117"))
    (shown,) = process_views(folder, product=PRODUCT, parameters=LOSS)
    assert set(shown.reels) == {"R001", "R006"}
    assert any("histories cannot be read" in note and damaged.name in note for note in shown.notes)
