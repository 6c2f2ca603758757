"""Start-up of the command line against a bare typer program: a ratio inside one run."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

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


def _run(command: list[str]) -> None:
    subprocess.run(command, check=True, capture_output=True, timeout=60)


def test_help_against_a_bare_program(figures: Any, tmp_path: Path) -> None:
    bare = tmp_path / "bare.py"
    bare.write_text(BARE)
    ours_command = [sys.executable, "-m", "benchsweep", "--help"]
    bare_command = [sys.executable, str(bare), "--help"]
    timing = figures.in_turn(lambda: _run(ours_command), lambda: _run(bare_command), rounds=RUNS)
    figures.keep(
        "--help against a bare typer program",
        timing.ratio,
        1.5,
        ours=f"{timing.ours_s:.3f} s",
        plain=f"{timing.plain_s:.3f} s",
    )
