"""Histories as text files: nothing is lost but the line that was being written, damage is named."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from benchsweep.archive import AppendedFile, MatingCounters
from benchsweep.errors import ArchiveError, RecordDamaged, RecordNewer


def filled(path: Path, count: int = 5) -> AppendedFile:
    file = AppendedFile(path)
    for number in range(count):
        file.append({"value": number, "words": "20 °C"})
    return file


def test_entries_come_back_in_order_and_a_missing_file_has_none(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "history.txt"
    assert AppendedFile(path).read() == ()
    file = filled(path)
    assert [entry["value"] for entry in file.read()] == [0, 1, 2, 3, 4]
    assert AppendedFile(path).read()[0] == {"value": 0, "words": "20 °C"}


@pytest.mark.parametrize("lost", [1, 10, 40])
def test_a_line_cut_short_is_dropped_and_the_next_entry_takes_its_place(tmp_path: Path, lost: int) -> None:
    file = filled(tmp_path / "history.txt")
    os.truncate(file.path, file.path.stat().st_size - lost)
    assert [entry["value"] for entry in file.read()] == [0, 1, 2, 3]
    file.append({"value": 9})
    assert [entry["value"] for entry in file.read()] == [0, 1, 2, 3, 9]


def test_a_file_whose_very_first_line_was_cut_short_begins_anew(tmp_path: Path) -> None:
    file = AppendedFile(tmp_path / "history.txt")
    file.path.write_bytes(b"benchsw")
    assert file.read() == ()
    file.append({"value": 1})
    assert file.read() == ({"value": 1},)


def test_every_flipped_bit_before_the_last_line_end_is_found(tmp_path: Path) -> None:
    file = filled(tmp_path / "history.txt", 3)
    whole = file.path.read_bytes()
    before = file.read()
    for place in range(len(whole)):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << (place % 8)
        file.path.write_bytes(damaged)
        if place == len(whole) - 1:  # the last line end: as if the last line were not finished
            assert file.read() == before[:-1]
            continue
        with pytest.raises((RecordDamaged, RecordNewer)) as caught:
            file.read()
        assert str(file.path) in caught.value.message
        with pytest.raises((RecordDamaged, RecordNewer)):
            file.append({"value": 4})
        assert file.path.read_bytes() == damaged


def test_lines_that_were_taken_out_or_exchanged_are_found_and_named(tmp_path: Path) -> None:
    file = filled(tmp_path / "history.txt")
    head, *lines = file.path.read_bytes().splitlines(keepends=True)
    for wrong in ([*lines[:1], *lines[2:]], [lines[1], lines[0], *lines[2:]]):
        file.path.write_bytes(head + b"".join(wrong))
        with pytest.raises(RecordDamaged, match=r"line [23]"):
            file.read()


def test_a_later_version_is_refused_as_such(tmp_path: Path) -> None:
    path = tmp_path / "history.txt"
    path.write_bytes(b"benchsweep-history/2\n")
    with pytest.raises(RecordNewer):
        AppendedFile(path).read()


def test_two_runs_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "history.txt"

    def add(start: int) -> None:
        for number in range(start, start + 20):
            AppendedFile(path, durable=False).append({"value": number})

    threads = [threading.Thread(target=add, args=(start,)) for start in (0, 100, 200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = sorted(entry["value"] for entry in AppendedFile(path).read())
    assert found == [*range(20), *range(100, 120), *range(200, 220)]


def test_a_place_that_is_a_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "history.txt").mkdir()
    with pytest.raises(ArchiveError, match="history"):
        AppendedFile(tmp_path / "history.txt").append({})


_COUNTS = """
import sys
from pathlib import Path
from benchsweep.archive import MatingCounters
counters = MatingCounters(Path(sys.argv[1]))
while True:
    print(counters.add([1, 2])[1], flush=True)
"""


def test_a_killed_process_loses_no_mating_that_was_counted(tmp_path: Path) -> None:
    path = tmp_path / "matings.txt"
    counted = 0
    for delay in (0.05, 0.11, 0.17):
        process = subprocess.Popen(
            [sys.executable, "-c", _COUNTS, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        assert int(process.stdout.readline()) == counted + 1
        time.sleep(delay)
        process.send_signal(signal.SIGKILL)
        rest = [line for line in process.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
        process.wait()
        process.stdout.close()
        told = int(rest[-1]) if rest else counted + 1
        counted = MatingCounters(path).counts()[1]
        assert counted in (told, told + 1)  # the last may have been counted, but not told any more


def test_matings_are_counted_by_port_renewed_and_packed(tmp_path: Path) -> None:
    counters = MatingCounters(tmp_path / "matings.txt")
    assert counters.counts() == {}
    for number in range(250):
        counters.add([1, 2] if number % 2 else [2])
    assert counters.counts() == {1: 125, 2: 250}
    assert len(counters.path.read_bytes().splitlines()) < 110
    assert counters.renew([2], at="2026-01-01T00:00:00+00:00") == {1: 125, 2: 0}
    for _ in range(150):
        counters.add([2])
    assert counters.counts() == {1: 125, 2: 150}
    assert counters.renewals() == {2: "2026-01-01T00:00:00+00:00"}
