"""Reporting cords: 16 ports, 1001 points, with an uncertainty budget; good ones and one with a fault.

Four records are measured; the others are these files under other names, so that the disc is not what is
measured. CPU seconds of one process for a hundred cords, from files to one page, against grading the same
hundred; bytes of the page; what the whole command computes with two processes; a single cord in full against
grading ten.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest

from benchsweep import limits
from benchsweep.cli._report_run import report_all
from benchsweep.cli._report_work import Detail, ReportJob
from benchsweep.qualification import RegradeJob
from benchsweep.qualification.bulk import Item, grade_chunk
from benchsweep.report import assembled, english, write_html, write_pdf
from tests.benchmarks.conftest import Figures
from tests.benchmarks.test_regrade import STATION

pytestmark = pytest.mark.benchmark_run

SPECIMENS = ("cord-2m", "cord-2m-untwisted-b", "cord-2m-worn-contact", "cord-5m")
MB = 1e6


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of a hundred names of four records, one of which fails: 00.h5 …"""
    folder = tmp_path_factory.mktemp("report")
    (folder / "fine.toml").write_text(STATION, encoding="utf-8")
    for specimen in SPECIMENS:
        subprocess.run(
            [
                *(sys.executable, "-m", "benchsweep", "qualify", "--quiet", "--station", "./fine.toml"),
                *("--specimen", specimen, "--length-m", specimen[5]),
                *("--against", "tia-6a-cord", "--archive", "measured"),
            ],
            cwd=folder,
            env={**os.environ, "XDG_DATA_HOME": str(folder / "data"), "HOME": str(folder)},
            capture_output=True,
            timeout=300,
            check=False,
        )
    paths = sorted((folder / "measured").glob("*.h5"))
    assert len(paths) == len(SPECIMENS)
    for number in range(100):
        # One in ten fails: more than a works would stand for.
        path = paths[1] if number % 10 == 9 else paths[(0, 2, 3)[number % 3]]
        os.link(path, folder / f"{number:02d}.h5")
    return folder


def job_of(detail: Detail) -> ReportJob:
    grading = RegradeJob((limits.load_requirement("tia-6a-cord"),))
    return ReportJob(grading, None, (), None, "en", detail)


def report(paths: list[str], detail: Detail, output: Path, jobs: int = 1) -> Path:
    found = report_all(job_of(detail), paths, jobs=jobs, progress=lambda _: None)
    document = assembled([one.part for one in found if one.part is not None], english(), detail=detail)
    assert len(document.blocks) > 0
    return (write_pdf if output.suffix == ".pdf" else write_html)(output, document)


def test_a_hundred_cords(records: Path, tmp_path: Path, figures: Figures) -> None:
    paths = [f"{records}/{number:02d}.h5" for number in range(100)]
    grading = job_of("brief").grading.to_text()
    items = [Item(path, f"{number:064x}") for number, path in enumerate(paths)]
    page = tmp_path / "cords.html"
    timed = figures.in_turn(
        lambda: report(paths, "brief", page),
        lambda: grade_chunk(grading, items),
        rounds=3,
        clock=time.process_time,
    )
    figures.keep(
        "report of 100 cords to grading them",
        timed.ratio,
        5.0,
        ours=f"{timed.ours_s:.1f} s",
        plain=f"{timed.plain_s:.1f} s",
    )
    figures.keep("report of 100 cords", page.stat().st_size / MB, 20.0, ours="HTML", unit="MB")
    assert page.read_text(encoding="utf-8").count('class="chart"') > 200
    # The whole command with two processes. Two cores have 40 s of computing in the 20 s that it may take;
    # the clock on the wall would tell what else the machine does.
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    words = ("report", *paths, "--against", "tia-6a-cord", "--jobs", "2", "-o", str(page), "--quiet")
    subprocess.run([sys.executable, "-m", "benchsweep", *words], capture_output=True, timeout=600, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    figures.keep("report of 100 cords, computing of all processes", took, 40.0, ours="", unit="s")


def test_one_cord_in_full(records: Path, tmp_path: Path, figures: Figures) -> None:
    grading = job_of("full").grading.to_text()
    for name, what in (("00", "good"), ("09", "failing")):
        paths = [f"{records}/{name}.h5"]
        page, printed = tmp_path / "cord.html", tmp_path / "cord.pdf"
        timed = figures.in_turn(
            lambda paths=paths, page=page: report(paths, "full", page),
            lambda paths=paths: grade_chunk(grading, [Item(paths[0], "0" * 64)] * 10),
            rounds=5,
            clock=time.process_time,
        )
        figures.keep(
            f"report of a {what} cord to grading ten",
            timed.ratio,
            2.0,
            ours=f"{1e3 * timed.ours_s:.0f} ms",
            plain=f"{1e3 * timed.plain_s:.0f} ms",
        )
        report(paths, "full", printed)
        for path in (page, printed):
            size = path.stat().st_size / MB
            figures.keep(f"report of a {what} cord", size, 2.0, ours=path.suffix[1:].upper(), unit="MB")
