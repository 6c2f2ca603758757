"""One product over its lots, from their histories alone."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification import process_document, process_views
from benchsweep.records import Parameter, ProcessView
from tests.qualification.lots.reels import PRODUCT, opened, result, told
from tests.qualification.lots.test_add import finite

START = datetime(2026, 1, 5, 8, tzinfo=UTC)


def at(minutes: int) -> str:
    return (START + timedelta(minutes=minutes)).isoformat()


def lots_of(folder: Path, groups: list[list[float]], **how: object) -> None:
    """Lots of two reels each, measured one after the other, with these margins."""
    for number, margins in enumerate(groups):
        lot = f"{how.get('supplier', 'T')}-{number}"
        opened(folder, lot, **how)
        told(folder, lot, [result(margin=m, at=at(60 * number + k)) for k, m in enumerate(margins)])


def only(folder: Path, **how: object) -> ProcessView:
    (view,) = process_views(folder, product=PRODUCT, parameters=(Parameter.INSERTION_LOSS,), **how)
    return view


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "archive"


STEADY = [[1.0, 1.3], [1.2, 0.9], [1.1, 1.4], [0.8, 1.2], [1.3, 1.0], [1.1, 0.9]]


def test_values_come_in_the_order_in_which_they_were_measured(folder: Path) -> None:
    opened(folder, "late")
    opened(folder, "early")
    told(folder, "late", [result(margin=3.0, at=at(90)), result(margin=1.0, at=at(10))], close=False)
    told(folder, "early", [result(margin=0.5, at=at(5)), result(margin=2.0, at=at(50))])
    view = only(folder)
    assert view.margin.tolist() == [0.5, 1.0, 2.0, 3.0]
    assert view.lots == ("early", "late", "early", "late")
    assert list(view.measured_at) == sorted(view.measured_at)


def test_centre_limits_and_capability_are_those_of_the_formulas(folder: Path) -> None:
    lots_of(folder, STEADY)
    view = only(folder)
    values = np.array(STEADY).ravel()
    individuals = next(chart for chart in view.charts if chart.kind == "individuals")
    # NIST/SEMATECH e-Handbook 6.3.2.2: mean +- 3 times the mean moving range over 1.128.
    half = 3.0 * np.abs(np.diff(values)).mean() / 1.128
    assert individuals.centre[0] == pytest.approx(values.mean())
    assert individuals.upper[0] == pytest.approx(values.mean() + half, rel=1e-3)
    means = next(chart for chart in view.charts if chart.kind == "mean")
    assert means.value.tolist() == pytest.approx(np.array(STEADY).mean(axis=1).tolist())
    assert view.capability is not None
    assert view.capability.index == pytest.approx(values.mean() / (3.0 * values.std(ddof=1)))
    assert view.capability.lower_bound < view.capability.index
    assert {chart.kind for chart in view.charts} == {
        "individuals",
        "moving-range",
        "ewma",
        "mean",
        "deviation",
    }


def test_a_drift_of_the_process_is_signalled(folder: Path) -> None:
    lots_of(
        folder, [[m - 0.25 * max(0, k - 5), n - 0.25 * max(0, k - 5)] for k, (m, n) in enumerate(STEADY * 2)]
    )
    view = only(folder, baseline=12)
    decisive = [(signal, chart) for chart in view.charts for signal in chart.signals if signal.decisive]
    assert decisive
    assert all(signal.noticed >= chart.baseline for signal, chart in decisive), "nothing before it began"


def test_lots_that_differ_in_their_own_right_are_judged_from_lot_to_lot(folder: Path) -> None:
    lots_of(folder, [[level, level + 0.02] for level in (1.0, 1.5, 1.2, 0.8, 1.4, 1.1)])
    view = only(folder)
    assert any("lots differ in their own right" in note for note in view.notes)
    means = next(chart for chart in view.charts if chart.kind == "mean")
    assert not [signal for signal in means.signals if signal.decisive]


def test_ends_are_the_worst_one_of_them_or_each(folder: Path) -> None:
    lots_of(folder, STEADY)
    views = {ends: process_views(folder, product=PRODUCT, ends=ends) for ends in ("worst", "A", "B", "both")}
    told_of = {ends: [(view.parameter, view.end) for view in found] for ends, found in views.items()}
    loss, near = Parameter.INSERTION_LOSS, Parameter.NEXT
    assert told_of == {
        "worst": [(loss, None), (near, None)],
        "A": [(loss, None), (near, "A")],
        "B": [(loss, None), (near, "B")],
        "both": [(loss, None), (near, "A"), (near, "B")],
    }
    # The results of `reels.result`: at end A 1 dB above insertion loss, at end B 2 dB.
    assert views["worst"][1].margin == pytest.approx(views["A"][1].margin)
    assert views["B"][1].margin - views["A"][1].margin == pytest.approx(1.0)


def test_suppliers_are_taken_together_unless_one_is_named_and_requirements_never(folder: Path) -> None:
    lots_of(folder, STEADY[:3])
    lots_of(folder, STEADY[:2], supplier="Another")
    lots_of(folder, STEADY[:1], supplier="Third", requirement=load_requirement("iec-6-cable"))
    assert only(folder, supplier="Another").margin.size == 4
    both = only(folder, requirement="tia-6-cable")
    assert both.margin.size == 10
    assert any("2 suppliers taken together" in note for note in both.notes)
    views = process_views(folder, product=PRODUCT, parameters=(Parameter.NEXT,))
    assert {view.requirement: view.margin.size for view in views} == {"iec-6-cable": 2, "tia-6-cable": 10}


def test_resubmitted_lots_and_infinite_margins_are_left_out(folder: Path) -> None:
    opened(folder, "first")
    told(folder, "first", [result(False, margin=-1.0), result(margin=float("inf"))])
    opened(folder, "again", resubmission_of="first", reason="sorted")
    told(folder, "again", [result(margin=9.0), result(margin=9.0)])
    view = only(folder)
    assert view.margin.tolist() == [-1.0]
    assert any("left out" in note for note in view.notes)
    assert view.capability is None


def test_what_there_is_not_is_refused(folder: Path) -> None:
    for how, words in (
        ({}, "no lot of C6-23 has a result"),
        ({"ends": "C"}, "no ends named"),
        ({"baseline": 1}, "a baseline of 1"),
    ):
        with pytest.raises(UsageError, match=words):
            process_views(folder, product=PRODUCT, **how)


def test_a_baseline_of_more_reels_than_there_are_is_refused(folder: Path) -> None:
    lots_of(folder, STEADY)
    count = len(only(folder).reels)
    assert {chart.baseline for chart in only(folder, baseline=count).charts[:2]} == {count}
    with pytest.raises(
        UsageError, match=f"a baseline of {count + 1} reels, but there are {count} with a margin of"
    ):
        process_views(folder, product=PRODUCT, baseline=count + 1)


def test_the_document_is_plain_and_finite(folder: Path) -> None:
    lots_of(folder, STEADY)
    document = process_document(process_views(folder, product=PRODUCT))
    assert document["schema"] == "benchsweep.process/1"
    finite(document)
    json.dumps(document, allow_nan=False)
    chart = document["views"][0]["charts"][1]
    assert (chart["kind"], chart["value"][0]) == ("moving-range", None)
