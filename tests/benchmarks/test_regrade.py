"""Regrading an archive: 16 ports, 1001 points, with an uncertainty budget.

Records per second and core (CPU seconds of this process), against the plain way with h5py and scikit-rf;
two processes against one and a Dask cluster of two workers (wall clock); memory at 200 and 2 000 records. One
record is measured; the others are that file under other names, so that the disc is not what is measured.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import h5py
import numpy as np
import pytest
import skrf

from benchsweep import archive, limits
from benchsweep.qualification.bulk import Item, RegradeJob, Runner, grade_chunk, regrade
from benchsweep.qualification.bulk._cluster import Cluster
from benchsweep.qualification.bulk._pool import Processes
from benchsweep.qualification.bulk._runners import ThisProcess
from tests.benchmarks.conftest import Figures

pytestmark = pytest.mark.benchmark_run

REQUIREMENTS = ("tia-6a-cord", "tia-6-cord", "tia-5e-cord")
STATION = """
schema = 1
name = "fine"
[analyzer]
[sweep]
start_mhz = 1.0
stop_mhz = 500.0
points = 1001
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
# Peak memory of a process of its own, by how many records it grades.
MEMORY = """
import resource, sys
from benchsweep import limits
from benchsweep.qualification.bulk import Item, RegradeJob, regrade
from benchsweep.qualification.bulk._runners import ThisProcess
count, path = int(sys.argv[1]), sys.argv[2]
items = [Item(f"{path}/{number}.h5", f"{number:064x}") for number in range(count)]
job = RegradeJob((limits.load_requirement("tia-6a-cord"),))
found = regrade(items, job, ThisProcess(), archive_root=f"memory {count}")
assert sum(found.outcomes["tia-6a-cord"].values()) == count, found
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of 2 000 names of one record: 0.h5 …"""
    folder = tmp_path_factory.mktemp("regrade")
    (folder / "fine.toml").write_text(STATION, encoding="utf-8")
    subprocess.run(
        [
            *(sys.executable, "-m", "benchsweep", "qualify", "--quiet", "--station", "./fine.toml"),
            *("--specimen", "cord-2m", "--length-m", "2", "--against", "tia-6-cord", "--archive", "measured"),
        ],
        cwd=folder,
        env={**os.environ, "XDG_DATA_HOME": str(folder / "data"), "HOME": str(folder)},
        capture_output=True,
        timeout=300,
        check=False,
    )
    (path,) = (folder / "measured").glob("*.h5")
    for number in range(2000):
        os.link(path, folder / f"{number}.h5")
    return folder


def job_of(count: int) -> RegradeJob:
    return RegradeJob(tuple(limits.load_requirement(name) for name in REQUIREMENTS[:count]))


def items_of(folder: Path, count: int) -> list[Item]:
    return [Item(f"{folder}/{number}.h5", f"{number:064x}") for number in range(count)]


def plain(path: Path, lines: Sequence[tuple[str, np.ndarray]]) -> list[float]:
    """Margins of return loss and NEXT with h5py and scikit-rf; no uncertainty, no wiring."""
    with h5py.File(path) as file:
        grid, s = file["corrected/frequency_hz"][()], file["corrected/s"][()]
    network = skrf.Network(f=grid, f_unit="hz", s=s, z0=50)
    order = [0, 1, 2, 5, 3, 4, 6, 7]
    network.renumber([*order, *(8 + port for port in order)], range(16))
    network.se2gmm(p=8)
    loss = -20.0 * np.log10(np.abs(network.s) + 1e-300)
    margins = []
    for name, limit in lines:
        for end in (0, 4):
            for i in range(end, end + 4):
                others = [i] if name == "return_loss" else range(i + 1, end + 4)
                margins += [float(np.nanmin(loss[:, i, j] - limit)) for j in others]
    return margins


def test_records_per_second_and_core(records: Path, figures: Figures) -> None:
    requirement = limits.load_requirement("tia-6a-cord")
    grid = archive.read_reduced(records / "0.h5").corrected.frequency_hz
    lines = [
        (str(line.parameter), curve.value)
        for line in requirement.lines
        if (curve := limits.limit_curve(requirement, line.parameter, grid, length_m=2.0)) is not None
    ]
    items = items_of(records, 16)
    for count in (3, 1):
        text = job_of(count).to_text()
        timed = figures.in_turn(
            lambda text=text: grade_chunk(text, items),
            lambda: [plain(records / "0.h5", lines) for _ in range(2)],
            rounds=9,
            clock=time.process_time,
        )
        each, plainly = timed.ours_s / len(items), timed.plain_s / 2
        what = f"regrade, {count} requirement{'s' if count > 1 else ''}"
        ours, theirs = f"{1e3 * each:.1f} ms", f"{1e3 * plainly:.1f} ms"
        figures.keep(what, each / plainly, 0.2, ours=ours, plain=theirs)
        if count == 1:
            rate = 1.0 / each
            figures.keep(f"{what}, one core", rate, 100.0, ours=ours, unit="records/s", at_least=True)


def test_two_processes_and_a_cluster(records: Path, figures: Figures) -> None:
    distributed = pytest.importorskip("distributed")
    items, job = items_of(records, 600), job_of(1)
    seen: dict[str, list[object]] = {}

    def rate(name: str, runner: Runner) -> float:
        """Records per second from the first results to the last: not how long processes take to start."""
        times: list[tuple[float, int]] = []
        regrade(
            items,
            job,
            runner,
            archive_root=name,
            progress=lambda done, _: times.append((time.perf_counter(), done)),
            sinks=[lambda results, _: seen.setdefault(name, list(results)) and None],
        )
        first = next(number for number, (_, done) in enumerate(times) if done >= 100)
        return (times[-1][1] - times[first][1]) / (times[-1][0] - times[first][0])

    one = rate("one", ThisProcess())
    two = rate("two", Processes(2))
    figures.keep(
        "regrade, two processes", two / one, 1.8, ours=f"{two:.0f}/s", plain=f"{one:.0f}/s", at_least=True
    )
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        dask = rate("dask", Cluster(cluster.scheduler_address))
    figures.keep(
        "regrade, Dask of two workers",
        dask / one,
        1.5,
        ours=f"{dask:.0f}/s",
        plain=f"{one:.0f}/s",
        at_least=True,
    )
    assert seen["one"] == seen["two"] == seen["dask"]


def test_memory_does_not_grow_with_the_records(records: Path, figures: Figures) -> None:
    peaks = [
        int(
            subprocess.run(
                [sys.executable, "-c", MEMORY, str(count), str(records)],
                capture_output=True,
                text=True,
                timeout=600,
                check=True,
            ).stdout
        )
        for count in (200, 2000)
    ]
    small, large = peaks
    figures.keep(
        "regrade, peak memory of 2 000 to 200 records", large / small, 1.1,
        ours=f"{large} MB", plain=f"{small} MB",
    )  # fmt: skip
