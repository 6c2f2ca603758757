"""Start-up of the command line against a bare typer program: a ratio inside one run."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark_run

BARE = """
import typer
app = typer.Typer()
@app.command()
def one(name: str = "x") -> None:
    "Say a name."
@app.command()
def two(name: str = "x") -> None:
    "Say it twice."
app()
"""
RUNS = 9


def _seconds(command: list[str]) -> float:
    started = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return time.perf_counter() - started


def test_help_against_a_bare_program(
    request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if not request.config.getoption("--benchmark-enable"):
        pytest.skip("timing: run with --benchmark-enable")
    bare = tmp_path / "bare.py"
    bare.write_text(BARE)
    ours_command = [sys.executable, "-m", "benchsweep", "--help"]
    bare_command = [sys.executable, str(bare), "--help"]
    ratios, ours, theirs = [], [], []
    for _ in range(RUNS):  # in turn, so that a drifting machine touches both
        ours.append(_seconds(ours_command))
        theirs.append(_seconds(bare_command))
        ratios.append(ours[-1] / theirs[-1])
    with capsys.disabled():
        print(
            f"\n--help {statistics.median(ours):.3f} s, bare program {statistics.median(theirs):.3f} s, "
            f"ratio {statistics.median(ratios):.2f} (budget 1.5)"
        )
    assert statistics.median(ratios) <= 1.5
