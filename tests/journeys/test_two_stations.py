"""Two stations qualify a specimen of the same name into one archive at the same time.

Each bench has error terms of its own and no noise, so a hookup of one in the record of the other would spoil
it: only when nothing was mixed do both come out at the specimen itself.
"""

from __future__ import annotations

import os
import signal
import time
from contextlib import ExitStack, suppress
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import check_record, find, read_record
from benchsweep.simulator import BenchOptions, running_bench
from tests.journeys.test_kills import LONGEST_S, STATION, attempt, forking, line_from

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork there")


def test_two_stations_in_one_archive(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    with ExitStack() as stack:
        works = {}
        for seed, name in enumerate(("left", "right"), start=1):
            bench = stack.enter_context(running_bench(BenchOptions(ports=8, noiseless=True, seed=seed)))
            station = tmp_path / f"{name}.toml"
            text = STATION.format(address=bench.address).replace("points = 200", "points = 60")
            station.write_text(text.replace('name = "kills"', f'name = "{name}"'), encoding="utf-8")
            works[name] = (stack.enter_context(forking()), station, tmp_path / f"{name}.txt")
        for process, station, log in works.values():
            assert attempt(process, log, ["calibrate", "--station", str(station)], None) == 0
        children = {}
        for name, (process, station, log) in works.items():
            command = ["qualify", "--station", str(station), "--specimen", "cord 7", "--length-m", "2"]
            command += ["--against", "tia-6a-cord", "--archive", str(archive)]
            assert process.stdin is not None
            process.stdin.write("\t".join([str(log), *command]) + "\n")
            process.stdin.flush()
            children[name] = (int(line_from(process)), command)
        # The left one is killed in the middle of its job and goes on beside the other.
        deadline = time.monotonic() + LONGEST_S
        while "hookup 2 of" not in works["left"][2].read_text(encoding="utf-8"):
            assert time.monotonic() < deadline
            time.sleep(0.005)
        with suppress(ProcessLookupError):
            os.kill(children["left"][0], signal.SIGKILL)
        process, _, log = works["left"]
        killed = os.waitstatus_to_exitcode(int(line_from(process))) == -signal.SIGKILL
        if killed:
            assert attempt(process, log, children["left"][1], None) == 0, log.read_text(encoding="utf-8")
        assert os.waitstatus_to_exitcode(int(line_from(works["right"][0]))) == 0
    paths = sorted(archive.glob("*.h5"))
    assert len(paths) == 2
    records = {record.station: record for record in map(read_record, paths)}
    assert set(records) == {"left", "right"}
    for path in paths:
        check_record(path)
    for name, record in records.items():
        assert record.specimen.identifier == "cord 7"
        assert record.calibration is not None
        assert record.calibration.identifier == name
        assert [raw.hookup.number for raw in record.hookups] == list(range(1, len(record.hookups) + 1))
    left, right = records["left"], records["right"]
    assert np.abs(left.hookups[0].sweep.s - right.hookups[0].sweep.s).max() > 1e-3
    assert left.corrected.ports == right.corrected.ports
    assert np.abs(left.corrected.s - right.corrected.s).max() < 1e-9
    assert not (archive / "unfinished").exists()
    assert {one.station for one in find(archive)} == {"left", "right"}
