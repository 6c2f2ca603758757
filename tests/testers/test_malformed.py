"""Files that are damaged or not as the mapping says: a named error with its place, never a wrong number."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.errors import DataFileError
from benchsweep.testers import load_mapping, mapping_text, read_mapping, read_results
from tests.testers.shapes import COMMA, LONG, WIDE, WORST

TEXTS = {
    "wide-values": WIDE,
    "long-values": LONG,
    "long-margins-decimal-comma": COMMA,
    "worst-margins": WORST,
}

# Shape, what is replaced by what, and what the error must say.
DAMAGE = [
    ("wide-values", "Frequency (MHz)", "Frequency", "line 8: the column 'Frequency (MHz)' is missing"),
    ("wide-values", ",", ";", "delimiter is the comma; the file seems to have the semicolon"),
    ("wide-values", "(dB),PS", "(dBm),PS", "line 8, column 2: unknown unit 'dBm'"),
    (
        "wide-values",
        "insertion_loss A 12 (dB)",
        "insertion_loss A 12 (ns)",
        "line 9, column 2: insertion loss in",
    ),
    ("wide-values", "PS NEXT B 36", "insertion_loss  A 12", "line 8, column 3: the heading"),
    (
        "wide-values",
        "PS NEXT B 36",
        "insertion_loss A 1-2",
        "line 9, column 3: insertion loss A 12 has two values",
    ),
    ("wide-values", "\n100.0,", "\n100000000,", "line 10, column 1: 100000000 MHz is no frequency"),
    ("wide-values", "\n100.0,", "\n1.0,", "line 10, column 2: insertion loss A 12 has two values at 1 MHz"),
    ("wide-values", "\n100.0,", "\n,", "line 10, column 1: a number without a frequency"),
    ("wide-values", "21.25", "-21.25", "line 10, column 2: insertion loss of -21.25 dB: losses are positive"),
    ("wide-values", "495.1", "-495.1", "line 10, column 6: delay of -495.1 ns"),
    ("wide-values", "21.25", "=1+20", "line 10, column 2: '=1+20' is a formula"),
    ("wide-values", "21.25", '"21,25"', "line 10, column 2: '21,25' has the decimal mark"),
    ("wide-values", "21.25", "21,25", "line 10, column 7: has 7 cells where the header has 6"),
    ("wide-values", "21.25", "21.25 ns", "line 10, column 2: '21.25 ns': the unit 'ns' does not fit"),
    ("wide-values", "21.25", "2_1.25", "line 10, column 2: '2_1.25'"),
    ("wide-values", "21.25", "\u0662\u0661", "line 10, column 2"),
    ("wide-values", "21.25", "nan", "line 10, column 2: 'nan' is no number"),
    ("wide-values", "21.25", "inf", "line 10, column 2: 'inf' is no number"),
    ("wide-values", "21.25", "1e999", "line 10, column 2: '1e999' is too large"),
    ("wide-values", "21.25", "21\0.25", "line 10, column 2: holds a NUL"),
    ("wide-values", "21.25", '"21.25', "line 10: cannot be cut into cells"),
    ("wide-values", "21.25", '"21"x', "line 10: cannot be cut into cells"),
    ("wide-values", "44.6,-0.5,495.1\n", "44.6", "line 10, column 4: has 4 cells where the header has 6"),
    ("wide-values", "2026-11-20T", "20.11.2026 ", "line 1, column 2: '20.11.2026 10:15:00' is no time"),
    (
        "long-values",
        "NEXT,A,12-36,1000000,",
        "NXT,A,12-36,1000000,",
        "line 3, column 4: no parameter is called 'NXT'",
    ),
    (
        "long-values",
        "NEXT,A,12-36,1000000,",
        "NEXT,C,12-36,1000000,",
        "line 3, column 5: no end is called 'C'",
    ),
    ("long-values", "NEXT,A,12-36,1000000,", "NEXT,,12-36,1000000,", "line 3, column 6: NEXT needs an end"),
    ("long-values", "NEXT,A,12-36,1000000,", "NEXT,A,12,1000000,", "line 3, column 6: NEXT needs two pairs"),
    (
        "long-values",
        "NEXT,A,12-36,1000000,",
        "NEXT,A,12-12,1000000,",
        "line 3, column 6: the pair is named twice",
    ),
    (
        "long-values",
        "NEXT,A,12-36,1000000,",
        "NEXT,A,12-63,1000000,",
        "line 3, column 6: no pair is called '12-63'",
    ),
    (
        "long-values",
        "NEXT,A,12-36,1000000,",
        "NEXT,A,12-36,1,",
        "line 3, column 7: 1e-06 MHz is no frequency",
    ),
    ("long-values", "74.2,65.0,dB", "74.2,65.0,ns", "line 3, column 10: NEXT in 'ns'"),
    ("long-values", "74.2,65.0,dB", "74.2,-65.0,dB", "line 3, column 9: NEXT of -65 dB"),
    ("long-values", ":01,FT-3", ":01,FT-4", "line 3, column 2: says 'FT-4' where line 2 says 'FT-3'"),
    ("long-margins-decimal-comma", "31,25", "31.25", "line 5, column 5: '31.25' has the decimal mark"),
    ("long-margins-decimal-comma", "31,25", "1.031,25", "line 5, column 5: '1.031,25' is no number"),
    ("long-margins-decimal-comma", ";3,6;31", ";3,7;31", "line 5, column 4: no pair is called '3,7'"),
    ("worst-margins", "Delay,,12,40.1,", "NEXT,A,36-12,2.8,233.5", "line 4: NEXT A"),
]


@pytest.mark.parametrize(("shape", "old", "new", "said"), DAMAGE)
def test_damage_is_named_with_its_place(shape: str, old: str, new: str, said: str):
    assert old in TEXTS[shape]
    with pytest.raises(DataFileError) as caught:
        read_results("r.csv", load_mapping(shape), content=TEXTS[shape].replace(old, new).encode())
    assert caught.value.message.startswith("r.csv")
    assert said in f"{caught.value.message} {caught.value.hint}"


def test_the_hint_on_a_sign_says_what_to_write():
    text = WIDE.replace("2.1,", "-2.1,")
    with pytest.raises(DataFileError) as caught:
        read_results("r.csv", load_mapping("wide-values"), content=text.encode())
    assert 'sign = "negative"' in caught.value.hint


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", "Date,2026-11-20\n", WIDE[: WIDE.index("\n1.0,")]])
def test_files_without_numbers(text: str):
    with pytest.raises(DataFileError, match=r"empty|missing|no number"):
        read_results("r.csv", load_mapping("wide-values"), content=text.encode())


def test_utf_16_without_a_mark_is_named():
    with pytest.raises(DataFileError, match="line 1, column 1: holds a NUL") as caught:
        read_results("r.csv", load_mapping("wide-values"), content=WIDE.encode("utf-16-le"))
    assert "utf-16-le" in caught.value.hint


def test_a_quotation_mark_that_swallows_the_rest_ends_after_some_lines():
    text = WIDE.replace("21.25", '"21.25') + "1,2,3,4,5,6\n" * 5000
    with pytest.raises(DataFileError, match="line 10: a quotation mark is not closed within 100 lines"):
        read_results("r.csv", load_mapping("wide-values"), content=text.encode())


def test_places_are_not_files(tmp_path: Path):
    mapping = load_mapping("wide-values")
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(DataFileError, match="no such file"):
            read_results(path, mapping)


def test_pairs_of_the_mapping_that_are_none_are_named_with_the_number():
    mapping = mapping_text("worst-margins").replace('pairs = { column = "Pairs" }', 'pairs = { text = "13" }')
    with pytest.raises(DataFileError, match="line 3, column 4: no pair is called '13'"):
        read_results("r.csv", read_mapping(mapping), content=WORST.encode())


def test_more_names_than_there_can_be(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("benchsweep.testers._block.MOST_NAMES", 2)
    with pytest.raises(DataFileError, match="more than 2 different names"):
        read_results("r.csv", load_mapping("long-values"), content=LONG.encode())


def test_two_testers_above_the_table_are_refused() -> None:
    mapping = load_mapping("wide-values")
    text = "Tester,FT-1\nTester,FT-2\nFrequency (MHz),delay 12 (ns)\n1,500\n2,500\n"
    with pytest.raises(DataFileError, match=r"line 2.*says 'FT-2' where line 1 says 'FT-1'"):
        read_results("told.csv", mapping, content=text.encode())
