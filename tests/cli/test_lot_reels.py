"""How a person names the reels of a lot."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.cli._lot_reels import reels_of
from benchsweep.errors import DataFileError, UsageError


@pytest.mark.parametrize(
    ("word", "first", "last", "count"),
    [
        ("R001..R090", "R001", "R090", 90),
        ("R1..R12", "R1", "R12", 12),
        ("R8..R101", "R8", "R101", 94),
        ("R0..R9", "R0", "R9", 10),
        ("26/118-0098..26/118-0102", "26/118-0098", "26/118-0102", 5),
        ("7A..9A", "7A", "9A", 3),
        ("Trommel Ü07 .. Trommel Ü11", "Trommel Ü07", "Trommel Ü11", 5),
        ("R5..R5", "R5", "R5", 1),
    ],
)
def test_a_range_keeps_text_and_zeros(word: str, first: str, last: str, count: int) -> None:
    found = reels_of([word])
    assert (found[0], found[-1], len(found)) == (first, last, count)
    assert len(set(found)) == count


def test_names_ranges_and_files_in_the_order_given(tmp_path: Path) -> None:
    path = tmp_path / "reels.txt"
    path.write_bytes("\ufeff# drum list\r\n\r\n  B2 \r\nreel #7\r\nC08..C10\r\n".encode())
    assert reels_of(["A 1", str(path), "Z1..Z2"]) == (
        *("A 1", "B2", "reel #7", "C08", "C09", "C10", "Z1", "Z2"),
    )


@pytest.mark.parametrize(
    ("word", "told"),
    [
        ("R09..R1", "not the same number of digits"),
        ("R1..R090", "not the same number of digits"),
        ("R9..R1", "ends before it begins"),
        ("R1..S9", "differ in more than their last number"),
        ("R1a..R9b", "differ in more than their last number"),
        ("R..S", "both ends must hold a number"),
        ("R1..", "both ends must hold a number"),
        ("R1..R2..R3", "differ in more than their last number"),
        ("R1..R99999999", "99999999 reels are too many"),
        (f"R1..R{'9' * 5000}", "too long"),
        ("", "is empty"),
        ("   ", "is empty"),
        ("missing.txt", "no such file"),
        ("../missing.csv", "no such file"),
        (".", "that is a folder"),
    ],
)
def test_nonsense_is_refused_with_words(own_home: Path, word: str, told: str) -> None:
    with pytest.raises(UsageError, match=told) as refused:
        reels_of([word])
    assert refused.value.hint


def test_a_name_that_comes_twice_is_refused_and_both_places_told(tmp_path: Path) -> None:
    path = tmp_path / "reels"
    path.write_text("R1\nR2\nR1\n", encoding="utf-8")
    with pytest.raises(UsageError, match=r"R1 is given twice: line 1 of .* and line 3 of"):
        reels_of([str(path)])
    with pytest.raises(UsageError, match=r"R5 is given twice: --reels R1\.\.R9 and --reels R5"):
        reels_of(["R1..R9", "R5"])


def test_a_file_without_names_or_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "reels.txt"
    path.write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(UsageError, match="has no reels"):
        reels_of([str(path)])
    path.write_bytes(b"R1\n\xff\xfe\n")
    with pytest.raises(DataFileError, match="no text in UTF-8"):
        reels_of([str(path)])
