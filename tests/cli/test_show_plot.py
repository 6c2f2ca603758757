"""`show --against`: a plot of the worst trace, and its points in JSON, on a record known in closed form."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.cli.test_grade import F_MHZ, GRID, cable_loss_db, measured, store

# Return loss, cord (ANSI/TIA-568-C.2, from memory): to 25 MHz 24 + 3 log(f/25) dB, above 24 - 10 log(f/25).
LIMIT_DB = np.where(F_MHZ <= 25.0, 24.0 + 3.0 * np.log10(F_MHZ / 25.0), 24.0 - 10.0 * np.log10(F_MHZ / 25.0))
MARGIN_DB = np.where(F_MHZ <= 150.0, 1.0, -3.0 - F_MHZ / 1000.0)


@pytest.fixture
def cord(own_home: Path) -> Path:
    return store(measured(loss_db=cable_loss_db(1.0, 2.0), reflection_db=LIMIT_DB + MARGIN_DB))


def test_json_carries_the_points_of_the_worst_trace(cord: Path, run: Callable) -> None:
    answer = run("show", cord, "--against", "tia-6-cord", "--length-m", "2", "--json")
    assert answer.code == 0
    (verdict,) = answer.json["verdicts"]
    worst = verdict["worst_trace"]
    assert (worst["parameter"], worst["end"], worst["unit"], worst["sense"]) == (
        "return_loss",
        "A",
        "dB",
        "min",
    )
    row = min(verdict["rows"], key=lambda row: row["worst_margin_db"] if row["worst_margin_db"] else 0.0)
    assert (row["parameter"], row["end"], row["pairs"]) == ("return_loss", "A", worst["pairs"])
    assert worst["frequency_hz"] == GRID.tolist()
    # Both legs of a pair reflect alike and couple nowhere: the pair reflects as they do.
    assert np.allclose(worst["value"], LIMIT_DB + MARGIN_DB, atol=1e-9)
    # The requirement of category 6 ends at 250 MHz.
    within = F_MHZ <= 250.0
    assert [value is not None for value in worst["limit"]] == within.tolist()
    limit = np.array([np.nan if value is None else value for value in worst["limit"]])
    assert np.allclose(limit[within], LIMIT_DB[within], atol=1e-9)
    at = worst["frequency_hz"].index(row["frequency_hz"])
    assert GRID[at] == 250e6
    assert worst["value"][at] == row["value"]
    assert worst["limit"][at] == row["limit"]
    assert worst["value"][at] - worst["limit"][at] == pytest.approx(row["worst_margin_db"])


def test_below_the_verdict_stands_the_plot(
    cord: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    answer = run("show", cord, "--against", "tia-6-cord", "--length-m", "2")
    assert answer.code == 0
    table, _, plot = answer.out.partition("worst: ")
    assert "outcome      fail" in table
    assert plot.startswith("return loss, end A, pair 12: 3.25 dB outside the limit at 250.00 MHz\n")
    assert plot.count("X") == 2  # in the legend, and at its place
    assert "▔" in plot
    assert max(map(len, plot.splitlines())) <= 80
    assert len(plot.splitlines()) <= 17


def test_each_of_several_requirements_has_its_plot(cord: Path, run: Callable) -> None:
    chosen = ("--against", "tia-6-cord", "--against", "tia-5e-cord", "--length-m", "2")
    answer = run("show", cord, *chosen)
    assert answer.out.count("worst: ") == 2
    first, second = run("show", cord, *chosen, "--json").json["verdicts"]
    assert first["worst_trace"]["frequency_hz"] == second["worst_trace"]["frequency_hz"]
    assert first["worst_trace"]["limit"] != second["worst_trace"]["limit"]


def test_without_a_requirement_there_is_none(cord: Path, run: Callable) -> None:
    assert "worst: " not in run("show", cord).out
    assert "verdicts" not in run("show", cord, "--json").json


@pytest.mark.parametrize(
    "environment",
    [{"TERM": "dumb"}, {"TERM": "linux"}, {"PYTHONIOENCODING": "ascii"}, {"PYTHONIOENCODING": "latin-1"}],
    ids=str,
)
def test_a_terminal_that_has_no_more_gets_ascii(cord: Path, environment: dict[str, str]) -> None:
    arguments = ["show", str(cord), "--against", "tia-6-cord", "--length-m", "2"]
    done = subprocess.run(
        [sys.executable, "-m", "benchsweep", *arguments],
        env=os.environ | {"TERM": "xterm"} | environment,
        capture_output=True,
        timeout=200,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    plot = done.stdout.partition(b"worst: ")[2]
    assert plot.isascii()
    assert plot.count(b"X") == 2
    assert plot.count(b'"') > 5
