"""Defects of simulated cords and links found, named and located: a small fixed corpus, 100 cords if thorough.

``python -m tests.journeys.faults`` prints the confusion table of any corpus.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep.cabling import locate_faults
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.qualification import (
    calibrate,
    check_specimen,
    load_requirements,
    load_station,
    locate,
    open_bench,
    qualify,
)
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.specimen import load_specimen
from tests.journeys.faults import DEFECTS, as_measured, draw, judge, matrix_of, right, run, table

# The corpus of these tests: a seed with which no threshold was chosen.
SEED = 2027
GRID = np.arange(1, 501) * 1e6


def seen(case):
    corrected = matrix_of(case, GRID)
    return judge(case, locate_faults(corrected, to_mixed_mode(corrected), length_m=case.length_m))


def short_cord(kind: str):
    """The first cord of the corpus with such a defect, of 6 m at most, that anybody can see."""
    drawn = (draw(number, SEED, kind=kind) for number in range(200))
    return next(case for case in drawn if case.length_m <= 6.0 and not case.truth.hidden)


@pytest.mark.parametrize("kind", DEFECTS)
def test_a_cord_with_one_defect(kind: str) -> None:
    result = seen(short_cord(kind))
    assert right(result), f"{result.case}: {result.faults}"
    assert all(fault.evidence for fault in result.faults)


def test_the_judge_is_not_content_with_everything() -> None:
    result = seen(short_cord("crush"))
    assert right(result)
    elsewhere = replace(result.case.truth, from_m=0.0, to_m=0.1)
    assert not right(judge(replace(result.case, truth=elsewhere), result.faults))
    assert not right(judge(result.case, ()))
    assert not right(judge(result.case, (*result.faults, *result.faults)))
    assert not right(
        judge(replace(result.case, truth=replace(result.case.truth, kind="kink")), result.faults)
    )
    assert "1 of 1 cords right" in table([result])


@pytest.mark.parametrize("form", ["contacts", "tapped baluns", "baluns"])
def test_a_good_cord_gives_no_fault(form: str) -> None:
    f = GRID[::2] - 0.5e6 if form == "baluns" else GRID
    s = load_specimen("cord-5m", seed=3).scatter(f)
    corrected = as_measured(s, f, form)
    assert locate_faults(corrected, to_mixed_mode(corrected), length_m=5.0) == ()


def test_connections_on_the_way_are_no_fault() -> None:
    # Four mated connections in 100 m, each a dip of the impedance of all pairs.
    f = np.arange(1, 1001) * 0.25e6
    corrected = as_measured(load_specimen("channel-100m", seed=1).scatter(f), f, "contacts")
    assert locate_faults(corrected, to_mixed_mode(corrected), length_m=100.0) == ()


@pytest.mark.parametrize(
    ("specimen", "kind", "end"),
    [
        ("cord-2m", None, None),
        ("cord-2m-worn-contact", "contact", "A"),
        ("cord-2m-untwisted-b", "untwist", "B"),
    ],
)
def test_measured_on_the_bench_with_noise(
    tmp_path: Path, specimen: str, kind: str | None, end: str | None
) -> None:
    with running_bench(BenchOptions(specimen=specimen, ports=16, seed=21)) as served:
        station = load_station("simulated").at_address(served.address)
        with open_bench(station, prompt=None) as bench:
            solved = calibrate(bench, folder=tmp_path / "c", progress=lambda _: None).calibration
            result = qualify(
                bench,
                check_specimen("x", 2.0),
                load_requirements(["tia-6a-cord"]),
                solved=solved,
                folder=tmp_path / "a",
                progress=lambda _: None,
            )
    found = locate(result.evaluation)
    assert found.why_no_time_domain == ""
    assert [(fault.kind, fault.end) for fault in found.faults] == ([(kind, end)] if kind else [])


def test_a_hundred_cords(request: pytest.FixtureRequest) -> None:
    if not request.config.getoption("thorough"):
        pytest.skip("--thorough")
    results = run(100, SEED, processes=2)
    text = table(results)
    print(text)  # noqa: T201 - the table is what this is for
    shown = [result for result in results if not result.case.truth.hidden]
    good = [result for result in shown if result.case.truth.kind == "good"]
    assert all(right(result) for result in good), text
    assert sum(right(result) for result in shown) >= 0.97 * len(shown), text
