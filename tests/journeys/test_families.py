"""The same specimen through every command family: the same corrected matrix, and the right one.

The truth is the specimen's own matrix as the simulator computes it, with no code of the stages.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.calibration import apply
from benchsweep.qualification import (
    Station,
    calibrate,
    check_specimen,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.records import Hookup
from benchsweep.simulator import BenchOptions, list_families, running_bench
from benchsweep.simulator.specimen import load_specimen

EXACT = 1e-9
GRID = "start_mhz = 4.0\nstop_mhz = 500.0\npoints = 63"
CASES = [
    (family, ports, door)
    for family, counts in list_families().items()
    for ports in counts
    for door in ("analyzer", "hislip")
    if ports > 2 and (door == "analyzer" or ports == 8)
]


def silent(_: str) -> None:
    return None


def station_at(address: str, folder: Path, grid: str = GRID, *, more: str = "") -> Station:
    path = folder / "station.toml"
    path.write_text(
        f'schema = 1\nname = "families"\n[analyzer]\naddress = "{address}"\n{more}'
        f"[sweep]\n{grid}\nif_bandwidth_hz = 10000.0\n"
        '[switch]\nkind = "simulated"\n[fixture]\nname = "contacts"\n'
        '[calibration]\nkit = "simulated-contacts"\nmax_age_hours = 1.0\n',
        encoding="utf-8",
    )
    return load_station(str(path))


def test_six_families() -> None:
    assert len(list_families()) == 6


@pytest.mark.parametrize(("family", "ports", "door"), CASES)
def test_the_specimen_comes_back_through_every_family(
    family: str, ports: int, door: str, tmp_path: Path
) -> None:
    options = BenchOptions(family=family, ports=ports, noiseless=True, seed=4)
    with running_bench(options) as served:
        # One family cannot tell how many ports there are.
        told = f"ports = {ports}\n" if family == "sense-function" else ""
        station = station_at(served.addresses[door], tmp_path, more=told)
        with open_bench(station, prompt=None) as bench:
            assert bench.analyzer.identity.family == family
            solved = calibrate(bench, folder=tmp_path / "calibrations", progress=silent).calibration
            found = qualify(
                bench, check_specimen("x", 2.0), [], solved=solved,
                folder=tmp_path / "archive", progress=silent,
            )  # fmt: skip
    corrected = found.evaluation.measurement.corrected
    specimen = load_specimen(options.specimen, seed=options.seed)
    legs = [f"{label[0]}{label[-1]}" for label in corrected.ports]
    order = [specimen.conductors.index(leg) for leg in legs]
    truth = specimen.scatter(corrected.frequency_hz)[:, order][:, :, order]
    assert len(legs) == 16
    assert np.abs(corrected.s - truth).max() < EXACT


@pytest.mark.parametrize("family", list(list_families()))
def test_two_ports_of_every_family_give_the_same_corrected_matrix(family: str, tmp_path: Path) -> None:
    """Two analyzer ports cannot hold two balanced ports, so two single legs are measured.

    What the other legs end in is that of the bench, alike in every family.
    """
    connections = {1: "A:12.1", 2: "B:12.1"}
    matrices = []
    for each in dict.fromkeys(("named-measurement", family)):
        with running_bench(BenchOptions(family=each, ports=2, noiseless=True, seed=4)) as served:
            folder = tmp_path / each
            folder.mkdir()
            with open_bench(station_at(served.address, folder), prompt=None) as bench:
                solved = calibrate(bench, folder=folder, progress=silent).calibration
                bench.switch.connect(Hookup(1, connections), total=1)
                matrices.append(apply(solved.terms, bench.analyzer.sweep((1, 2))))
    assert matrices[0].shape == (63, 2, 2)
    assert np.abs(matrices[0][:, 0, 1]).max() > 0.5
    assert np.abs(matrices[0][:, 0, 0] - matrices[0][:, 1, 1]).max() > 1e-3
    assert np.abs(matrices[-1] - matrices[0]).max() < EXACT


SEGMENTS = """
[[sweep.segments]]
start_mhz = 1.0
stop_mhz = 30.0
points = 30
if_bandwidth_hz = 1000.0

[[sweep.segments]]
start_mhz = 40.0
stop_mhz = 500.0
points = 24
"""


@pytest.mark.parametrize("family", ["named-measurement", "quoted-parameter", "numbered-trace"])
@pytest.mark.parametrize("grid", [f"{GRID}\nspacing = 'logarithmic'", "segments"], ids=["log", "segments"])
def test_other_grids_give_the_specimen_too(family: str, grid: str, tmp_path: Path) -> None:
    options = BenchOptions(family=family, ports=16, noiseless=True, seed=4)
    with running_bench(options) as served:
        station_at(served.address, tmp_path, GRID if grid == "segments" else grid)
        path = tmp_path / "station.toml"
        if grid == "segments":
            text = path.read_text(encoding="utf-8").replace(f"{GRID}\n", "")
            path.write_text(text + SEGMENTS, encoding="utf-8")
        with open_bench(load_station(str(path)), prompt=None) as bench:
            solved = calibrate(bench, folder=tmp_path / "calibrations", progress=silent).calibration
            found = qualify(
                bench, check_specimen("x", 2.0), [], solved=solved,
                folder=tmp_path / "archive", progress=silent,
            )  # fmt: skip
    measurement = found.evaluation.measurement
    corrected = measurement.corrected
    assert measurement.settings is not None
    assert measurement.settings.spacing == ("segments" if grid == "segments" else "logarithmic")
    wanted = (
        np.concatenate([np.linspace(1e6, 30e6, 30), np.linspace(40e6, 500e6, 24)])
        if grid == "segments"
        else np.geomspace(4e6, 500e6, 63)
    )
    assert np.abs(corrected.frequency_hz - wanted).max() < 1.0
    specimen = load_specimen(options.specimen, seed=options.seed)
    order = [specimen.conductors.index(f"{label[0]}{label[-1]}") for label in corrected.ports]
    truth = specimen.scatter(corrected.frequency_hz)[:, order][:, :, order]
    assert np.abs(corrected.s - truth).max() < EXACT
