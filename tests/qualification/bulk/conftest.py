"""A small archive as the embedded bench makes it: good and bad cords, an import, a cord without a length.

60 points. One record is measured; the others are the same content under other names, some with a coupling.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.records import Correction, Measurement, SMatrix

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


def environment(home: Path) -> dict[str, str]:
    folders = {
        name: str(home / name.lower()) for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME")
    }
    return {**os.environ, "HOME": str(home), **folders}


@pytest.fixture(scope="package")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Measurement:
    """A record of the embedded bench."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "short.toml").write_text(STATION, encoding="utf-8")
    subprocess.run(
        [
            *(sys.executable, "-m", "benchsweep", "qualify", "--quiet", "--station", "./short.toml"),
            *("--specimen", "cord-2m", "--length-m", "2", "--against", "tia-6-cord", "--archive", "measured"),
        ],
        cwd=folder,
        env=environment(folder / "home"),
        capture_output=True,
        timeout=120,
        check=False,
    )
    (path,) = (folder / "measured").glob("*.h5")
    return archive.read_record(path)


def coupled(matrix: SMatrix) -> SMatrix:
    """The same with a capacitor, so to speak, between contacts 2 and 3 of end A: NEXT that fails."""
    s = matrix.s.copy()
    one, other = matrix.ports.index("A:12.2"), matrix.ports.index("A:36.3")
    wave = 0.4j * (matrix.frequency_hz / matrix.frequency_hz[-1])
    s[:, one, other] += wave
    s[:, other, one] += wave
    return SMatrix(matrix.frequency_hz, s, matrix.ports, matrix.z0_ohm)


@pytest.fixture(scope="package")
def cords(bench: Measurement, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive: forty cords, every fifth fails; one without a length, one corrected; an import."""
    folder = tmp_path_factory.mktemp("cords")
    for number in range(40):
        specimen = replace(bench.specimen, identifier=f"cord {number:02d}")
        if number == 7:
            specimen = replace(specimen, length_m=None)
        one = replace(bench, specimen=specimen, created_at=f"2026-05-01T10:{number:02d}:00Z")
        if number % 5 == 4:
            one = replace(one, corrected=coupled(bench.corrected))
        written = archive.write_record(one, folder)
        if number == 11:
            changes = {"length_m": 5.0, "identifier": "cord eleven"}
            named = archive.content_hash(written)
            note = Correction(named, "an engineer", "2026-05-02T08:00:00Z", "label", changes)
            archive.write_note(note, folder)
    imported = Measurement(
        specimen=replace(bench.specimen, identifier="imported"),
        created_at="2026-05-01T09:00:00Z",
        origin="touchstone",
        station="",
        operator="",
        corrected=bench.corrected,
    )
    archive.write_record(imported, folder / "sub")
    return folder


@pytest.fixture(scope="package")
def own_requirement(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A variant of a variant, in a folder that is no definition folder."""
    folder = tmp_path_factory.mktemp("house")
    (folder / "house-base.toml").write_text(BASE, encoding="utf-8")
    (folder / "house-cord.toml").write_text(OWN, encoding="utf-8")
    return folder / "house-cord.toml"
