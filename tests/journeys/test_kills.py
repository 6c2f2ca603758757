"""``kill -9`` at random moments of a run of 28 hookups: no finished hookup is lost, and the record that comes
out in the end equals that of an uninterrupted run.

A process that has everything imported forks a child for every attempt, so that the kills fall into the work
and not into the start of Python. Twelve kills as a rule; ``pytest --thorough`` makes two hundred.
"""

from __future__ import annotations

import os
import random
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import check_record, read_record
from benchsweep.simulator import BenchOptions, running_bench

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork there")

HOOKUPS = 28
LONGEST_S = 60.0

# Reads a folder for stderr and the arguments of one run, forks, tells the child's number, waits for it.
FORKING = """
import os, sys
import benchsweep.cli._app, benchsweep.qualification, benchsweep.report, pyvisa_py
import filelock, scipy.optimize, scipy.special, skrf  # imported where they compute, else anew by every child
from benchsweep.cli import main
for name in benchsweep.qualification.__all__:  # its files are read at the first use
    getattr(benchsweep.qualification, name)
for line in sys.stdin:
    log, *arguments = line.rstrip("\\n").split("\\t")
    child = os.fork()
    if child == 0:
        os.dup2(os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 2)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        sys.argv = ["benchsweep", *arguments]
        try:
            main()
        except SystemExit as stop:
            os._exit(stop.code or 0)
    print(child, flush=True)
    print(os.waitpid(child, 0)[1], flush=True)
"""


@contextmanager
def forking() -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-c", FORKING]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


def line_from(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    ready = select.select([process.stdout], [], [], LONGEST_S)[0]
    assert ready, "the run did not end"
    return process.stdout.readline()


def attempt(
    process: subprocess.Popen[str],
    log: Path,
    arguments: list[str],
    delay_s: float | None,
    begun: Callable[[], bool] = lambda: True,
) -> int:
    """Run once; kill after `delay_s` from when it has `begun`, or from now if that takes half a minute.

    Returns the exit code, or minus the signal that ended it.
    """
    assert process.stdin is not None
    process.stdin.write("\t".join([str(log), *arguments]) + "\n")
    process.stdin.flush()
    child = int(line_from(process))
    if delay_s is not None:
        until = time.monotonic() + 0.5 * LONGEST_S
        while (
            not begun() and time.monotonic() < until and not select.select([process.stdout], [], [], 0.0)[0]
        ):
            time.sleep(0.002)
        time.sleep(delay_s)
        with suppress(ProcessLookupError):  # it has just ended by itself
            os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(int(line_from(process)))


def hookups_of(archive: Path) -> set[int]:
    """Numbers of the finished hookups of the unfinished job."""
    try:
        return {int(path.stem[7:]) for path in archive.glob("unfinished/*/hookup-*.h5")}
    except FileNotFoundError:  # the job ended meanwhile, and its folder went with it
        return set()


def more_hookups(archive: Path, before: set[int]) -> bool:
    return hookups_of(archive) > before


def test_no_finished_hookup_is_lost(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    wanted = 200 if request.config.getoption("thorough") else 12
    rng = random.Random(28)
    station = tmp_path / "bench.toml"
    with running_bench(BenchOptions(ports=4, noiseless=True)) as bench, forking() as process:
        station.write_text(STATION.format(address=bench.address), encoding="utf-8")
        log = tmp_path / "log.txt"

        def arguments(specimen: str, archive: str) -> list[str]:
            command = ["qualify", "--station", str(station), "--specimen", specimen, "--length-m", "2"]
            return [*command, "--against", "tia-6a-cord", "--archive", str(tmp_path / archive)]

        assert attempt(process, log, ["calibrate", "--station", str(station)], None) == 0
        started = time.monotonic()
        code = attempt(process, log, arguments("whole", "whole"), None)
        lasts_s = time.monotonic() - started
        assert code == 0, log.read_text(encoding="utf-8")
        (whole_path,) = (tmp_path / "whole").glob("*.h5")
        whole = read_record(whole_path)

        kills = within = rounds = 0
        while kills < wanted:
            rounds += 1
            archive = tmp_path / f"cut-{rounds}"
            told: set[int] = set()
            while True:
                delay_s = rng.uniform(0.0, 0.6 * lasts_s) if kills < wanted else None
                # Every other one counts from the next finished hookup: starting is not what is tried.
                if kills % 2 and delay_s is not None:
                    begun = partial(more_hookups, archive, hookups_of(archive))
                    code = attempt(process, log, arguments("whole", archive.name), 0.3 * delay_s, begun)
                else:
                    code = attempt(process, log, arguments("whole", archive.name), delay_s)
                said = log.read_text(encoding="utf-8")
                assert "Traceback" not in said
                assert "a bug" not in said
                told |= {int(number) for number in re.findall(r"^hookup (\d+) of 28", said, re.MULTILINE)}
                kept = hookups_of(archive)
                records = list(archive.glob("*.h5"))
                assert told <= kept or records, f"told {sorted(told)}, kept {sorted(kept)}"
                killed = code == -signal.SIGKILL
                kills += killed
                within += killed and 0 < len(kept) < HOOKUPS
                # Killed after all work was done, while the job was dropped or the verdict printed: the same
                # command would measure anew.
                dropped = list(archive.glob("unfinished/*/done")) or not list(archive.glob("unfinished/*/*"))
                if not killed or (records and dropped):
                    break
            assert killed or code == 0, said
            found = sorted(archive.glob("*.h5"))
            assert len(found) == 1, f"killed {killed}, said {said!r}, found {[p.name for p in found]}"
            (path,) = found
            check_record(path)
            record = read_record(path)
            assert np.array_equal(record.corrected.s, whole.corrected.s)
            assert [raw.hookup.number for raw in record.hookups] == list(range(1, HOOKUPS + 1))
            for one, other in zip(record.hookups, whole.hookups, strict=True):
                assert dict(one.hookup.connections) == dict(other.hookup.connections)
                assert np.array_equal(one.sweep.s, other.sweep.s)
    print(f"\n{kills} kills in {rounds} records, {within} of them between the first and the last hookup")  # noqa: T201
    assert within >= wanted // 4


STATION = """
schema = 1
name = "kills"

[analyzer]
address = "{address}"

[sweep]
start_mhz = 1.0
stop_mhz = 500.0
points = 200
if_bandwidth_hz = 1000.0

[switch]
kind = "simulated"

[fixture]
name = "contacts"

[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
"""
