"""Comparing a field tester: a channel of 100 m as the station for channels measures it, a file of 400 points.

CPU seconds of reading the file and the record, of suspicions and differences with the uncertainty of each
point that counts, against reading the same record and grading it with its uncertainty.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from benchsweep import limits
from benchsweep.qualification import grade_record
from benchsweep.qualification.comparisons import add_bench_record, look_at_result, register_channel
from tests.benchmarks.conftest import Figures

pytestmark = pytest.mark.benchmark_run

CHANNEL = ("--specimen", "channel-100m", "--against", "tia-6-channel", "--length-m", "100")


def test_a_tester_beside_its_channel(tmp_path: Path, figures: Figures) -> None:
    for words in (
        ("qualify", "--quiet", "--station", "simulated-channel", *CHANNEL, "--archive", "archive"),
        ("simulate-tester", *CHANNEL, "-o", "told.csv"),
    ):
        subprocess.run(
            [sys.executable, "-m", "benchsweep", *words],
            cwd=tmp_path,
            env={**os.environ, "XDG_DATA_HOME": str(tmp_path / "data"), "HOME": str(tmp_path)},
            capture_output=True,
            timeout=300,
            check=False,
        )
    folder = tmp_path / "archive"
    (record,) = folder.glob("*.h5")
    requirement = limits.load_requirement("tia-6-channel")
    register_channel(
        folder, "channel-100m", length_m=100.0, requirement=requirement, every_days=180.0, by="I. Vogt"
    )
    add_bench_record(folder, "channel-100m", record, by="I. Vogt")

    def look() -> None:
        found = look_at_result(folder, "channel-100m", file=tmp_path / "told.csv", mapping="wide-values")
        assert len(found.differences) > 60

    timed = figures.in_turn(
        look, lambda: grade_record(record, [requirement]), rounds=5, clock=time.process_time
    )
    figures.keep(
        "comparing a field tester to grading the record",
        timed.ratio,
        30.0,
        ours=f"{timed.ours_s:.2f} s",
        plain=f"{timed.plain_s:.2f} s",
    )
