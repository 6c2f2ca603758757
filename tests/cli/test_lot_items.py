"""What the report of a lot is made from, where something of it is missing or was made for practice."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.cli._lot_items import lot_item
from benchsweep.definitions import list_definitions
from benchsweep.limits import load_requirement
from benchsweep.qualification import add_record, open_lot, read_lot
from benchsweep.records import AnalyzerIdentity, Parameter, ReelMargin, Trace
from tests.qualification.lots.reels import BY, measured, opened, record_of, told
from tests.qualification.lots.reels import result as result_of

LOT = "26-118"
SIMULATED = AnalyzerIdentity("Simulated works,bench,1,0", "named-measurement", 4)


@pytest.fixture
def folder(own_home: Path) -> Path:
    return own_home / "archive"


def quiet(_: str) -> None:
    """Tell nobody."""


def test_practice_and_software_are_those_of_the_records(folder: Path) -> None:
    first, second = opened(folder).state.sample
    one = replace(measured(first), analyzer=SIMULATED, software={"benchsweep": "0.1.0", "numpy": "2.0.0"})
    other = replace(measured(second), software={"benchsweep": "0.2.0", "numpy": "2.0.0"})
    for each in (one, other):
        add_record(folder, LOT, archive.write_record(each, folder), by=BY)
    item = lot_item(read_lot(folder, LOT), progress=quiet)
    assert item.simulated == {first}
    assert item.software == {"benchsweep": "0.1.0, 0.2.0", "numpy": "2.0.0"}
    assert set(item.traces) == {first, second}
    assert [view.parameter for view in item.views] != []


def test_of_a_lot_without_results_the_plan_is_told(folder: Path) -> None:
    item = lot_item(opened(folder), progress=quiet)
    assert (item.traces, item.limits, item.views, item.simulated) == ({}, {}, (), frozenset())
    # The curve has the long run, too: the plan is one of normal inspection.
    assert item.curve.plan == item.state.plan
    assert item.curve.scheme_accepted is not None


def own_requirement(change: Callable[[str], str] = lambda text: text) -> None:
    text = list_definitions("requirements")["tia-6-cable"].read_text(encoding="utf-8")
    Path("requirements").mkdir(exist_ok=True)
    own = text.replace('name = "tia-6-cable"', 'name = "own-cable"')
    Path("requirements/own-cable.toml").write_text(change(own), encoding="utf-8")


def test_a_requirement_with_another_text_leaves_out_the_traces_and_that_is_told(folder: Path) -> None:
    own_requirement()
    reel = opened(folder, requirement=load_requirement("own-cable")).state.sample[0]
    add_record(folder, LOT, record_of(folder, reel), by=BY)
    own_requirement(lambda text: text + "\n# tidied\n")
    # A grading keeps the text of then.
    assert set(lot_item(read_lot(folder, LOT), progress=quiet).traces) == {reel}
    for kept in folder.rglob("*"):
        if kept.is_dir() and "grading" in kept.name:
            shutil.rmtree(kept)
    item = lot_item(read_lot(folder, LOT), progress=quiet)
    assert (item.traces, item.limits) == ({}, {})
    assert any(doubt.startswith("no traces are drawn: ") for doubt in item.doubts)
    assert len(set(item.doubts)) == len(item.doubts)


def test_a_lot_that_was_sorted_says_nothing_of_the_process(folder: Path) -> None:
    told(folder, opened(folder, "first").name, [result_of(False), result_of(False)])
    again = open_lot(
        folder,
        "again",
        supplier="Tollmoor Wire",
        product="C6-23",
        reels=["S1", "S2"],
        requirement=load_requirement("iec-6-cable"),
        construction="unscreened",
        by=BY,
        seed="the seed",
        aql_percent=6.5,
        resubmission_of="first",
        reason="sorted, against another requirement",
    )
    for reel in again.state.sample:
        add_record(folder, "again", record_of(folder, reel), by=BY)
    item = lot_item(read_lot(folder, "again"), progress=quiet)
    assert item.views == ()
    assert set(item.traces) == set(again.state.sample)


@pytest.mark.parametrize("points", [401, 999, 1000, 1001, 1207])
def test_a_thinned_trace_keeps_its_peaks_and_its_worst_point(points: int) -> None:
    from benchsweep.qualification.lots._traces import _thinned

    rng = np.random.default_rng(points)
    grid = np.linspace(1e6, 250e6, points)
    trace = Trace(Parameter.NEXT, "A", ("12", "36"), grid, rng.normal(50.0, 5.0, points))
    at = points // 3
    margin = ReelMargin(
        trace.parameter, "A", trace.pairs, 1.0, float(grid[at]), float(trace.value[at]), 40.0, None, "pass"
    )
    thin = _thinned(trace, margin)
    assert 200 < thin.value.size <= 403
    assert (np.diff(thin.frequency_hz) > 0).all()
    kept = dict(zip(thin.frequency_hz, thin.value, strict=True))
    assert all(kept[f] == trace.value[np.flatnonzero(grid == f)[0]] for f in kept)
    for place in (0, points - 1, at, int(trace.value.argmin()), int(trace.value.argmax())):
        assert grid[place] in kept
