"""What a command waits for at its start: only what it uses is imported."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import write_record
from benchsweep.records import CONTACTS_OF_PAIR, Measurement, SMatrix, Specimen
from benchsweep.simulator.specimen import load_specimen

# Heavy things, by who needs them: to compute calibrations, to talk to an instrument, to print a report.
COMPUTING = {"scipy", "skrf"}
TALKING = {"pyvisa", "pyvisa_py", "benchsweep.instrument", "asyncio"}
PRINTING = {"jinja2", "typst", "benchsweep.report.content", "benchsweep.report.chart"}
OTHERS = {"benchsweep.simulator", "pandas", "pyarrow", "xarray", "dask", "distributed", "s3fs", "pytest"}
HEAVY = COMPUTING | TALKING | PRINTING | OTHERS

TELL = "import sys, json; print(json.dumps(sorted(sys.modules)))"


def imported_by(code: str, of: set[str] = HEAVY) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{TELL}"], capture_output=True, text=True, timeout=120, check=True
    )
    return sorted(of & set(json.loads(done.stdout.splitlines()[-1])))


def test_the_command_line_alone_needs_no_arrays() -> None:
    more = {
        "numpy",
        "h5py",
        "rich",
        "benchsweep.qualification",
        "benchsweep.cli._archive",
        "benchsweep.cli._limits",
    }
    assert imported_by("import benchsweep.cli._app", HEAVY | more) == []


@pytest.mark.parametrize(
    "code",
    [
        "from benchsweep.qualification import grade_record, grade_series",
        "from benchsweep.qualification.bulk._work import grade_chunk",
        "from benchsweep.archive import read_record, read_head",
    ],
)
def test_nothing_is_imported_that_grading_does_not_need(code: str) -> None:
    assert imported_by(code) == []


def test_grading_a_record_computes_without_any_of_it(tmp_path: Path) -> None:
    """A cord that passes: of one that fails it is looked up where the fault lies."""
    grid = 1e6 * np.arange(1, 501)
    pair_of = {contact: pair for pair, contacts in CONTACTS_OF_PAIR.items() for contact in contacts}
    legs = tuple(f"{end}:{pair_of[contact]}.{contact}" for end in "AB" for contact in range(1, 9))
    matrix = SMatrix(grid, load_specimen("cord-2m", seed=8).scatter(grid), legs, (50.0,) * 16)
    cord = Measurement(Specimen("cord", 2.0), "2026-03-01T12:30:05Z", "touchstone", "", "", matrix)
    record = write_record(cord, tmp_path)
    code = f"""
import sys
from benchsweep.cli import main
sys.argv = ["benchsweep", "grade", {str(record)!r}, "--against", "tia-6a-cord"]
try:
    main()
except SystemExit as stop:
    assert stop.code == 0
"""
    assert imported_by(code) == []
