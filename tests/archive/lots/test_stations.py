"""Several stations at one lot, each a process of its own, and ``kill -9`` while they add to it."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from benchsweep.archive import _history
from benchsweep.archive.lots import LotFile, create
from benchsweep.errors import ArchiveLocked
from benchsweep.lots import check_event, state_of
from benchsweep.records import LotClosed, LotEvent, ReelAdded
from tests.lots.entries import attributes, closed, opened, result

SAMPLE = 10
FIRST = opened(attributes(SAMPLE, 0, 1))
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}

# Tries to add a first result for every reel of the sample, each station in an order of its own.
STATION = """
import hashlib, random, sys
from pathlib import Path
from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import check_event, state_of
from tests.lots.entries import added, opened
station = sys.argv[2]
file = LotFile(Path(sys.argv[1]), opened().lot)
reels = list(state_of(file.read()).sample)
random.Random(station).shuffle(reels)
print("ready", flush=True)
sys.stdin.readline()
for reel in reels:
    record = hashlib.sha256(f"{station} {reel}".encode()).hexdigest()
    event = added(reel, record=record)
    try:
        file.append(event, lambda there: check_event(state_of(there), event))
        print("added", reel, record, flush=True)
    except LotRefused as error:
        assert "has a result already" in error.message or "was closed on" in error.message, error.message
        print("refused", reel, record, flush=True)
"""

# Closes the lot again and again until it may.
CLOSER = """
import sys
from pathlib import Path
from benchsweep.archive.lots import LotFile
from benchsweep.errors import LotRefused
from benchsweep.lots import check_event, state_of
from tests.lots.entries import closed, opened
file = LotFile(Path(sys.argv[1]), opened().lot)
print("ready", flush=True)
sys.stdin.readline()
while True:
    try:
        file.append(closed(True), lambda there: check_event(state_of(there), closed(True)))
        print("closed", flush=True)
        break
    except LotRefused as error:
        if "no result yet" not in error.message:
            print("refused", error.message, flush=True)
            break
"""

# Retests one reel without end; the number of each result is told when it is on the disc.
RETESTING = """
import hashlib, sys
from pathlib import Path
from benchsweep.archive.lots import LotFile
from benchsweep.lots import check_event, state_of
from tests.lots.entries import added, opened
file = LotFile(Path(sys.argv[1]), opened().lot)
while True:
    there = file.read()
    reel, number = state_of(there).sample[0], len(there)
    record = hashlib.sha256(b"%d" % number).hexdigest()
    event = added(reel, record=record, retest_reason="again" if number > 1 else "")
    found = file.append(event, lambda there: check_event(state_of(there), event))
    print(len(found.events), found.digest, flush=True)
"""


def started(script: str, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=ENVIRONMENT,
    )


def told(process: subprocess.Popen[str]) -> list[list[str]]:
    out, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return [line.split() for line in out.splitlines()]


def test_of_two_stations_with_the_same_reel_one_is_refused_and_nothing_is_lost(tmp_path: Path) -> None:
    file = create(tmp_path, FIRST)
    stations = [started(STATION, tmp_path, name) for name in ("bench 1", "bench 2", "bench 3")]
    closers = [started(CLOSER, tmp_path) for _ in range(2)]
    for process in (*stations, *closers):
        assert process.stdout is not None
        assert process.stdin is not None
        assert process.stdout.readline() == "ready\n"
    for process in (*stations, *closers):
        process.stdin.write("go\n")
        process.stdin.flush()
    answers = [line for process in stations for line in told(process)]
    ends = [line[0] for process in closers for line in told(process)]

    events = file.read()
    state = state_of(events)
    assert len([answer for answer in answers if answer[0] == "added"]) == SAMPLE
    assert len(answers) == 3 * SAMPLE
    assert {(entry.reel, entry.record) for entry in state.added} == {
        (reel, record) for word, reel, record in answers if word == "added"
    }
    assert set(state.counting) == set(state.sample)
    assert sorted(ends) == ["closed", "refused"]
    assert isinstance(events[-1], LotClosed)
    assert len(events) == SAMPLE + 2


def test_a_station_that_was_killed_lost_nothing_that_it_told(
    tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    file = create(tmp_path, FIRST)
    chance = random.Random(8)
    known: tuple[LotEvent, ...] = (FIRST,)
    for _ in range(60 if request.config.getoption("--thorough") else 5):
        process = started(RETESTING, tmp_path)
        assert process.stdout is not None
        first = process.stdout.readline().split()
        assert int(first[0]) == len(known) + 1
        time.sleep(chance.uniform(0.0, 0.15))
        process.send_signal(signal.SIGKILL)
        rest = [line for line in process.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
        process.wait()
        process.stdout.close()
        assert process.stdin is not None
        process.stdin.close()
        count, digest = rest[-1].split() if rest else first
        found = file.history()
        assert len(found.events) in (int(count), int(count) + 1)  # the last one may not have been told
        assert found.digests[int(count) - 1] == digest
        assert found.events[: len(known)] == known
        state_of(found.events)
        known = found.events
    assert all(isinstance(event, ReelAdded) for event in known[1:])
    assert len(known) > 6


def test_a_line_that_a_kill_cut_off_gives_way_to_the_next(tmp_path: Path) -> None:
    """As a power cut leaves it, at every length of the line, and with the zeros that some drives leave."""
    file = create(tmp_path, FIRST)
    start = Path(file.path).read_bytes()
    state = state_of(file.read())
    reel = state.sample[0]
    event = ReelAdded(FIRST.at, "x", "", reel, "a" * 64, "x.h5", result(), "")
    file.append(event, lambda there: None)
    whole = Path(file.path).read_bytes()
    line = whole[len(start) :]
    for length in range(0, len(line), 11):
        for rest in (line[:length], line[:length] + b"\0" * (len(line) - length)):
            Path(file.path).write_bytes(start + rest)
            assert file.read() == (FIRST,)
            file.append(event, lambda there: check_event(state_of(there), event))
            assert Path(file.path).read_bytes() == whole


def test_whoever_holds_the_lot_too_long_is_told_to_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_history, "_WAIT_S", 0.1)
    file = create(tmp_path, FIRST)

    def adds_meanwhile(there: tuple[LotEvent, ...]) -> None:
        with pytest.raises(ArchiveLocked, match="another run is adding to it"):
            LotFile(tmp_path, FIRST.lot).append(closed(True), lambda there: None)
        assert LotFile(tmp_path, FIRST.lot).read() == there  # reading waits for nobody

    event = ReelAdded(FIRST.at, "x", "", FIRST.reels[0], "a" * 64, "x.h5", result(), "")
    file.append(event, adds_meanwhile)
    assert file.read() == (FIRST, event)
