"""A million rows, and a line without an end: how many are read, and how much memory it takes."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchsweep.errors import DataFileError
from benchsweep.testers import load_mapping, read_results

SERIES = [
    f"NEXT,{end},{pairs}" for end in "AB" for pairs in ("12-36", "12-45", "12-78", "36-45", "36-78", "45-78")
]
SERIES += [f"return loss,{end},{pair}" for end in "AB" for pair in ("12", "36", "45", "78")]


def write(path: Path, points: int) -> Path:
    with path.open("w", encoding="utf-8") as file:
        file.write("Parameter,End,Pairs,Frequency (Hz),Value,Unit\n")
        for n in range(points):
            rest = f"{1_000_000 + 9000 * n},{40 + n % 977 / 100:.2f},dB\n"
            file.writelines(f"{series},{rest}" for series in SERIES)
    return path


@contextmanager
def memory() -> Iterator[list[int]]:
    """Append the largest number of bytes in use to the list that it gives."""
    peaks: list[int] = []
    tracemalloc.start()
    try:
        yield peaks
        peaks.append(tracemalloc.get_traced_memory()[1])
    finally:
        tracemalloc.stop()


def test_a_million_rows(tmp_path: Path, request: pytest.FixtureRequest):
    """All of them with ``pytest --thorough``, a fifth as a rule."""
    rows = 1_000_000 if request.config.getoption("--thorough") else 200_000
    points = rows // len(SERIES)
    result = read_results(write(tmp_path / "million.csv", points), load_mapping("long-values"))
    assert len(result.traces) == len(SERIES)
    assert sum(trace.value.size for trace in result.traces) == rows
    assert result.traces[7].frequency_hz[-1] == 1e6 + 9000 * (points - 1)
    assert result.traces[7].value[976] == pytest.approx(49.76)


def test_memory_is_that_of_the_numbers(tmp_path: Path):
    """A number takes 25 bytes, and as much again with its order while they are sorted; a row of text 600."""
    peaks = []
    for points in (500, 2000):
        path = write(tmp_path / f"{points}.csv", points)
        with memory() as peak:
            read_results(path, load_mapping("long-values"))
        peaks += peak
    per_row = (peaks[1] - peaks[0]) / (1500 * len(SERIES))
    assert 25 < per_row < 110
    assert peaks[0] < 5e6


def test_a_line_of_a_hundred_megabytes(tmp_path: Path):
    path = tmp_path / "line.csv"
    with path.open("wb") as file:
        for _ in range(100):
            file.write(b"0123456789,"[:10] * 100_000)
    with memory() as peak, pytest.raises(DataFileError, match="line 1: the line is longer than 1048576"):
        read_results(path, load_mapping("wide-values"))
    assert peak[0] < 20e6


def test_more_numbers_than_any_tester_tells(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("benchsweep.testers._store.MOST_NUMBERS", 5)
    text = "Frequency (MHz),next A 12-36 (dB)\n" + "".join(f"{n},40\n" for n in range(1, 8))
    with pytest.raises(DataFileError, match="more than 5 numbers"):
        read_results("x.csv", load_mapping("wide-values"), content=text.encode())
