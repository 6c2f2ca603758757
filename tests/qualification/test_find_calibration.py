from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import write_calibration
from benchsweep.errors import ArchiveError, CalibrationExpired, CalibrationMismatch, CalibrationMissing
from benchsweep.qualification import load_station
from benchsweep.qualification._bench import find_calibration
from benchsweep.qualification._now import utc_now
from benchsweep.records import Calibration, ErrorTerms, SweepSettings

GRID = np.arange(1.0, 6.0) * 1e6
SETTINGS = SweepSettings(1e6, 5e6, 5, 1000.0)


def stored(identifier: str, *, created_at: str | None = None, idn: str = "a,b,c,d") -> Calibration:
    one = np.ones((GRID.size, 2))
    terms = ErrorTerms(GRID, (1, 2), 0 * one, 0 * one, 0 * one, one, np.ones((GRID.size, 2, 2)))
    created = created_at or utc_now()
    return Calibration(identifier, created, idn, "kit", "method", SETTINGS, terms, {})


def find() -> tuple[Calibration, Path]:
    return find_calibration(
        load_station("simulated"), frequency_hz=GRID, analyzer_ports=(1, 2), idn="a,b,c,d", settings=SETTINGS
    )


def folder() -> Path:
    return load_station("simulated").calibration_folder()


def test_none_stored_says_how_to_make_one() -> None:
    with pytest.raises(CalibrationMissing) as caught:
        find()
    assert "benchsweep calibrate --station simulated" in caught.value.hint


def test_the_newest_that_fits_is_taken_past_others_and_damaged_files() -> None:
    write_calibration(stored("fits"), folder())
    other = write_calibration(stored("other analyzer", idn="x,y,z,1"), folder())
    assert find()[0].identifier == "fits"
    damaged = bytearray(other.read_bytes())
    damaged[-1] ^= 1
    other.write_bytes(damaged)
    assert find()[0].identifier == "fits"


def test_the_reason_is_that_of_the_newest() -> None:
    write_calibration(stored("old", created_at="2020-01-01T00:00:00+00:00"), folder())
    with pytest.raises(CalibrationExpired):
        find()
    newest = write_calibration(stored("other", idn="x,y,z,1"), folder())
    with pytest.raises(CalibrationMismatch):
        find()
    newest.write_bytes(b"nothing of ours")
    with pytest.raises(ArchiveError):
        find()
