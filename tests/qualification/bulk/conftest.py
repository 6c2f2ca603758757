"""A small archive as the embedded bench makes it: good and split cords, an import, a cord without a length.

60 points. Two records are measured and one is imported; the others are the same content under other names.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.records import Correction

STATION = """
schema = 1
name = "short"
[analyzer]
[sweep]
start_mhz = 1.0
stop_mhz = 500.0
points = 60
if_bandwidth_hz = 1000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
when_missing = "calibrate"
[uncertainty]
budget = "simulated"
"""
# A laboratory's own: a base of its own beside it, which no worker has.
BASE = """
schema = 1
name = "house-base"
base = "tia-6-cord"
title = "Cords of the house"
"""
OWN = """
schema = 1
name = "house-cord"
base = "house-base.toml"
title = "Cords of the house, stricter"
standing = "from-memory"

[[lines]]
parameter = "acr_f"
sense = "min"
insertion_loss_of = "disturbing-pair"
standing = "common-practice"
source = "the laboratory"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 250.0
limit = { form = "log-line", level = 35.0, slope = 20.0, reference_mhz = 100.0 }

[[lines]]
parameter = "tcl"
sense = "min"
standing = "common-practice"
source = "the laboratory"
exempt_where = { parameter = "insertion_loss", below = 0.1, standing = "common-practice" }
[[lines.bands]]
from_mhz = 1.0
to_mhz = 250.0
limit = { form = "log-line", level = 20.0, slope = 10.0, reference_mhz = 100.0 }
"""


def benchsweep(*words: object, cwd: Path, home: Path, check: bool = True) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "benchsweep", *map(str, words)],
        cwd=cwd,
        env=environment(home),
        capture_output=True,
        text=True,
        timeout=120,
        check=check,
    )


def environment(home: Path) -> dict[str, str]:
    folders = {
        name: str(home / name.lower()) for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME")
    }
    return {**os.environ, "HOME": str(home), **folders}


@pytest.fixture(scope="package")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two records of the embedded bench."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "short.toml").write_text(STATION, encoding="utf-8")
    for specimen in ("cord-2m", "cord-2m-split"):
        benchsweep(
            "qualify", "--quiet", "--station", "./short.toml", "--specimen", specimen, "--length-m", 2,
            "--against", "tia-6-cord", "--archive", "measured",
            cwd=folder, home=folder / "home", check=False,
        )  # fmt: skip
    return folder / "measured"


@pytest.fixture(scope="package")
def cords(bench: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive."""
    folder = tmp_path_factory.mktemp("cords")
    measured = [archive.read_record(one.source) for one in archive.list_files(bench) if one.kind == "record"]
    assert len(measured) == 2
    good, split = sorted(measured, key=lambda one: len(one.specimen.identifier))
    for number in range(40):
        one = split if number % 5 == 4 else good
        specimen = replace(one.specimen, identifier=f"cord {number:02d}")
        if number == 7:
            specimen = replace(specimen, length_m=None)
        written = archive.write_record(
            replace(one, specimen=specimen, created_at=f"2026-05-01T10:{number:02d}:00Z"), folder
        )
        if number == 11:
            note = Correction(
                archive.content_hash(written), "an engineer", "2026-05-02T08:00:00Z", "label",
                {"length_m": 5.0, "identifier": "cord eleven"},
            )  # fmt: skip
            archive.write_note(note, folder)
    imported = replace(
        good, specimen=replace(good.specimen, identifier="imported"), created_at="2026-05-01T09:00:00Z",
        origin="touchstone", hookups=(), calibration=None, settings=None, analyzer=None, budget_toml="",
        fixture_toml="", consistency_db={},
    )  # fmt: skip
    archive.write_record(imported, folder / "sub")
    return folder


@pytest.fixture(scope="package")
def own_requirement(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A variant of a variant, in a folder that is no definition folder."""
    folder = tmp_path_factory.mktemp("house")
    (folder / "house-base.toml").write_text(BASE, encoding="utf-8")
    (folder / "house-cord.toml").write_text(OWN, encoding="utf-8")
    return folder / "house-cord.toml"
