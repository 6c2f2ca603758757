"""The matrix of a record computed again from its raw sweeps."""

from __future__ import annotations

from dataclasses import replace

from benchsweep import fixture
from benchsweep.qualification._bundle import of_the_specimen
from benchsweep.qualification._reduction import reduce_hookups
from benchsweep.records import Measurement

__all__ = ["matrix_again"]


def matrix_again(raw: Measurement) -> tuple[Measurement, float | None]:
    """Return a measurement with the matrix computed again from its raw sweeps, and how far that differs.

    Returns
    -------
    measurement
        The one of the record where it holds no raw sweeps, as an imported one.
    difference
        Largest magnitude of the difference to the matrix in the record; None without raw sweeps.

    Raises
    ------
    CalibrationError, FixtureError
    """
    if not raw.hookups or raw.calibration is None:
        return raw, None
    definition = fixture.read_fixture(raw.fixture_toml)
    matrix = reduce_hookups(of_the_specimen(raw.hookups), raw.calibration, definition).matrix
    was = raw.corrected
    same = matrix.ports == was.ports and matrix.s.shape == was.s.shape
    difference = float(abs(matrix.s - was.s).max(initial=0.0)) if same else float("inf")
    return replace(raw, corrected=matrix), difference
