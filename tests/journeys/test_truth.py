"""The embedded bench measured through the whole chain against the specimen that the bench holds.

The simulator computes specimen and raw readings with no code of the stages: an independent witness.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.qualification import (
    Qualified,
    calibrate,
    check_specimen,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.records import SMatrix, parse_leg
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.specimen import load_specimen

SPECIMEN = "cord-2m"


def measure(tmp_path: Path, options: BenchOptions) -> Qualified:
    """Nothing is graded: the matrices are compared. Every fourth frequency of the station is swept."""
    with running_bench(options) as served:
        station = load_station("simulated").at_address(served.address)
        sweep = station.sweep.model_copy(update={"start_mhz": 4.0, "stop_mhz": 500.0, "points": 125})
        station = station.model_copy(update={"sweep": sweep})
        with open_bench(station, prompt=None) as bench:
            solved = calibrate(bench, folder=tmp_path / "calibrations", progress=_silent).calibration
            return qualify(
                bench,
                check_specimen("truth", 2.0),
                [],
                solved=solved,
                folder=tmp_path / "archive",
                progress=_silent,
            )


def _silent(_: str) -> None:
    return None


def truth_at(matrix: SMatrix, options: BenchOptions) -> np.ndarray:
    """The specimen's own matrix, in the order of the legs of `matrix`."""
    specimen = load_specimen(options.specimen, seed=options.seed)
    legs = [parse_leg(label) for label in matrix.ports]
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in legs]
    s = specimen.scatter(matrix.frequency_hz)
    return s[:, order][:, :, order]


@pytest.mark.parametrize(("ports", "hookups"), [(16, 1), (8, 6), (4, 28)])
def test_without_noise_the_specimen_comes_back_to_1e_9(tmp_path: Path, ports: int, hookups: int) -> None:
    options = BenchOptions(specimen=SPECIMEN, ports=ports, noiseless=True, seed=11)
    measurement = measure(tmp_path, options).evaluation.measurement
    assert len(measurement.hookups) == hookups
    assert len(measurement.corrected.ports) == 16
    error = np.abs(measurement.corrected.s - truth_at(measurement.corrected, options))
    assert error.max() < 1e-9
    if hookups > 1:
        assert max(measurement.consistency_db.values()) < -180.0


def test_every_seed_is_another_bench(tmp_path: Path) -> None:
    one = measure(tmp_path, BenchOptions(specimen=SPECIMEN, ports=16, noiseless=True, seed=3))
    two = measure(tmp_path, BenchOptions(specimen=SPECIMEN, ports=16, noiseless=True, seed=4))
    raw = [result.evaluation.measurement.hookups[0].sweep.s for result in (one, two)]
    corrected = [result.evaluation.measurement.corrected.s for result in (one, two)]
    assert np.abs(raw[0] - raw[1]).max() > 0.01
    assert np.abs(corrected[0] - corrected[1]).max() < 1e-9


# Bounds of the vector error |S - S_true|, from the figures stated in the bench definition `default`:
# connections repeat to -60 dB each (standards, throughs and the specimen add up), directivity and match
# walk to -60 dB in an hour, noise floor -95 dB and trace noise 0.0015 dB at 1 kHz. Partial hookups add the
# terminations and more matings.
BOUND = {16: 10 ** (-40 / 20), 8: 10 ** (-38 / 20), 4: 10 ** (-36 / 20)}


@pytest.mark.parametrize("ports", [16, 8, 4])
def test_with_noise_and_drift_the_specimen_comes_back_within_the_stated_bound(
    tmp_path: Path, ports: int
) -> None:
    options = BenchOptions(specimen=SPECIMEN, ports=ports, seed=5)
    measurement = measure(tmp_path, options).evaluation.measurement
    error = np.abs(measurement.corrected.s - truth_at(measurement.corrected, options))
    assert 1e-6 < error.max() < BOUND[ports]
