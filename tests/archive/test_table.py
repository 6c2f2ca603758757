"""Tables for other programs: read back by csv, pandas and pyarrow, none of which is ours."""

from __future__ import annotations

import csv
import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from benchsweep.archive import harmless, refuse_table, store_file, write_table
from benchsweep.errors import ArchiveError, UsageError

COLUMNS = {
    "specimen": ["cord 7", 'Kabel, Ü "neu"', None, ""],
    "worst_margin_db": [-1.25, 0.1, None, float("nan")],
    "points": [1001, -3, None, 0],
    "kept": [True, False, None, True],
}
# What OWASP lists for CSV injection (from memory), and what hides such a beginning.
FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "  =1",
    "\u00a0=1",
    "\ufeff=1",
    "\u200b-1",
    "\x00=1",
    '=HYPERLINK("http://x","y")',
    "\uff1d1+1",
    "'=1",
    "''=1",
    "-0.5",
    "\tx",
    "\rx",
]


def rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


def test_csv_is_read_back_by_others(tmp_path: Path) -> None:
    path = write_table(COLUMNS, tmp_path / "new" / "table.csv")
    assert rows(path) == [
        ["specimen", "worst_margin_db", "points", "kept"],
        ["cord 7", "-1.25", "1001", "true"],
        ['Kabel, Ü "neu"', "0.1", "-3", "false"],
        ["", "", "", ""],
        ["", "", "0", "true"],
    ]
    read = pd.read_csv(path, dtype={"points": "Int64", "kept": "boolean"})
    assert read["worst_margin_db"].tolist()[:2] == [-1.25, 0.1]
    assert read["points"].tolist()[:2] == [1001, -3]
    assert path.read_bytes().endswith(b'"",,0,true\r\n')  # empty text is not no text


def test_numbers_keep_every_bit_in_both_forms(tmp_path: Path) -> None:
    values = np.random.default_rng(3).normal(size=5000) * 10.0 ** np.linspace(-150, 150, 5000)
    values[:4] = np.inf, -np.inf, -0.0, 5e-324
    for suffix in (".csv", ".parquet"):
        path = write_table(
            {"value": values, "index": np.arange(5000, dtype=np.int32)}, tmp_path / f"t{suffix}"
        )
        if suffix == ".csv":
            read = np.array([[float(cell) for cell in row] for row in rows(path)[1:]]).T
        else:
            read = pd.read_parquet(path).to_numpy().T
        assert np.ascontiguousarray(read[0]).tobytes() == values.tobytes()
        assert read[1].tolist() == list(range(5000))


def test_parquet_has_types_and_nulls(tmp_path: Path) -> None:
    table = parquet.read_table(
        write_table(COLUMNS | {"formula": ["=1", "-", "+x", "@"]}, tmp_path / "t.parquet")
    )
    assert [str(field.type) for field in table.schema] == ["string", "double", "int64", "bool", "string"]
    assert table["specimen"].to_pylist() == COLUMNS["specimen"]
    assert table["points"].to_pylist() == [1001, -3, None, 0]
    margins = table["worst_margin_db"].to_pylist()
    assert margins[2] is None
    assert np.isnan(margins[3])
    assert table["formula"].to_pylist() == ["=1", "-", "+x", "@"]  # a typed file runs nothing


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_or_heading_is_a_formula(tmp_path: Path, text: str) -> None:
    path = write_table({text: [text, "x"], "number": [-1.0, +2.0]}, tmp_path / "t.csv")
    heading, first, second = rows(path)
    assert heading[0] == first[0] == harmless(text)
    assert first[0].startswith("'")
    assert re.sub(r"(?<=[\t\r\n])'", "", first[0][1:]) == text
    assert second[0] == "x"
    assert [first[1], second[1]] == ["-1.0", "2.0"]


@pytest.mark.parametrize("separator", [";", "|", "\t", "\n", "\r\n", "; "])
def test_another_separator_begins_no_formula(tmp_path: Path, separator: str) -> None:
    path = write_table({"text": [f"a{separator}=1+1"]}, tmp_path / "t.csv")
    cells = re.split(r"[;|\t\r\n]", path.read_text(encoding="utf-8").replace('"', ""))
    assert not [cell for cell in cells if cell.lstrip().startswith("=")]


def test_ordinary_text_stays_as_it_is() -> None:
    for text in ("cord 7", "12-36", "a=b", "3 @ 20 degC", "worst, -3 dB", "'quoted'", "Ü", ""):
        assert harmless(text) == text


@given(st.text())
def test_one_apostrophe_taken_away_brings_the_text_back(text: str) -> None:
    text = text.replace(";", "").replace("|", "").replace("\t", "").replace("\n", "").replace("\r", "")
    safe = harmless(text)
    if re.match(r"'+[\s\W]*[=+\-@\uff1d\uff0b\uff0d\uff20]", safe) and safe != text:
        assert safe[1:] == text
    else:
        assert safe == text
    bare = safe.strip().lstrip("\ufeff\u200b\x00")
    assert bare[:1] not in tuple("=+-@")


def test_text_that_no_encoding_knows_is_spelled_out(tmp_path: Path) -> None:
    for suffix in (".csv", ".parquet"):
        path = write_table({"file": ["a\udc80"]}, tmp_path / f"t{suffix}")
        read = pd.read_csv(path) if suffix == ".csv" else pd.read_parquet(path)
        assert read["file"].tolist() == ["a\\udc80"]


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_nothing_is_overwritten_unasked(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"t{suffix}"
    path.write_text("mine")
    with pytest.raises(UsageError, match="exists already"):
        write_table({"a": [1]}, path)
    assert path.read_text() == "mine"
    write_table({"a": [1]}, path, replace=True)
    assert path.read_bytes() != b"mine"
    assert [one.name for one in tmp_path.iterdir()] == [path.name]
    dangling = tmp_path / f"link{suffix}"
    dangling.symlink_to(tmp_path / "nowhere")
    with pytest.raises(UsageError, match="exists already"):
        write_table({"a": [1]}, dangling)
    assert not (tmp_path / "nowhere").exists()


def test_a_file_that_comes_up_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.csv"
    monkeypatch.setattr("os.path.lexists", lambda _: False)
    path.write_text("theirs")
    with pytest.raises(UsageError, match="exists already"):
        write_table({"a": [1]}, path)
    assert path.read_text() == "theirs"


def test_a_failure_in_the_middle_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(ArchiveError, match="disc is full"):
        write_table({"a": [1.0] * 10}, tmp_path / "t.csv")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"a": [1], "b": [1, 2]}, "different lengths: a 1, b 2"),
        ({"a": [1, "x"]}, "int, str in one column"),
        ({"a": [1, True]}, "bool, int in one column"),
        ({"a": [1j]}, "complex in one column"),
        ({"a": np.array([1j])}, "complex in one column"),
        ({"a": np.zeros((2, 2))}, "one dimension"),
        ({"": [1]}, "no heading"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, columns: dict[str, list[object]], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        write_table(columns, tmp_path / "t.csv")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["t.xlsx", "t", "sub.csv/t.CSV.txt", "s3://bucket/t.csv"])
def test_other_suffixes_and_places_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError):
        write_table({"a": [1]}, Path(name))


def test_without_the_extra_parquet_says_what_to_install_and_csv_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError) as raised:
        write_table({"a": [1]}, tmp_path / "t.parquet")
    assert "benchsweep[tables]" in raised.value.hint
    assert not list(tmp_path.iterdir())
    assert write_table({"a": [1]}, tmp_path / "t.csv").read_bytes() == b"a\r\n1\r\n"


def test_whole_numbers_beyond_64_bits(tmp_path: Path) -> None:
    assert rows(write_table({"n": [2**64]}, tmp_path / "t.csv")) == [["n"], [str(2**64)]]
    with pytest.raises(ValueError, match="more than 64 bits"):
        write_table({"n": [2**64]}, tmp_path / "t.parquet")
    assert not (tmp_path / "t.parquet").exists()


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is a folder"):
        store_file(tmp_path, b"x", replace=True)


def test_what_cannot_be_written_is_refused_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = tmp_path / "there.csv"
    there.write_text("mine")
    with pytest.raises(UsageError, match="exists already"):
        refuse_table(there)
    refuse_table(there, replace=True)
    refuse_table(tmp_path / "new" / "other.csv")
    assert there.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [there]
    with pytest.raises(UsageError, match=r"not as \.txt"):
        refuse_table(tmp_path / "x.txt", replace=True)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError, match="not installed: pyarrow"):
        refuse_table(tmp_path / "x.parquet")
