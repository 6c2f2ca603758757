"""``kill -9`` while writing: what was reported is there, what is there is whole."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.archive import Journal, check_record, write_record

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")

# The writer takes the measurement from a record, so that it needs nothing of the tests.
WRITER = """
import sys
from pathlib import Path
from benchsweep.archive import Journal, read_record, write_record
measurement, folder = read_record(Path(sys.argv[1])), Path(sys.argv[2])
journal = Journal(folder / "journal", {"job": "1"})
print("ready", flush=True)
while True:
    for raw in measurement.hookups:
        journal.save(raw)
        print("hookup", raw.hookup.number, flush=True)
    print("record", write_record(measurement, folder / "archive").name, flush=True)
"""


@pytest.mark.parametrize("seed", range(4))
def test_nothing_finished_is_lost(seed: int, build: SimpleNamespace, tmp_path: Path) -> None:
    source = write_record(build.measurement(points=101, ports=16, hookups=4), tmp_path / "source")
    command = [sys.executable, "-c", WRITER, str(source), str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(random.Random(seed).uniform(0.01, 0.4))
        writer.send_signal(signal.SIGKILL)
        told = writer.stdout.read().splitlines()
    lines = [line.split() for line in told if line.count(" ") == 1]
    finished = Journal(tmp_path / "journal", {"job": "1"}).finished()
    assert {int(line[1]) for line in lines if line[0] == "hookup"} <= set(finished)
    archive = tmp_path / "archive"
    records = list(archive.glob("*.h5")) if archive.is_dir() else []
    assert {line[1] for line in lines if line[0] == "record" and line[1].endswith(".h5")} <= {
        path.name for path in records
    }
    for path in records:
        check_record(path)
