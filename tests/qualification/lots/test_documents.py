"""What is printed as JSON: the fields that others rely on, and nothing that JSON does not have."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchsweep.errors import LotRefused, UsageError
from benchsweep.qualification import (
    exit_code_of_lot,
    list_lot_views,
    lots_document,
    plan_sampling,
    sampling_document,
)
from benchsweep.records import Severity
from tests.qualification.lots.reels import opened, result, told
from tests.qualification.lots.test_add import finite


@pytest.mark.parametrize(
    ("severity", "letter", "size", "accept", "reject"),
    # MIL-STD-105E, Tables I, II-A, II-B: 281 to 500 at level II is H; at 0.65 the arrow leads down to J,
    # n = 80, 1/2; under tightened inspection two arrows lead down to K, n = 125, 1/2.
    [(None, "H", 80, 1, 2), (Severity.TIGHTENED, "H", 125, 1, 2)],
)
def test_a_plan_has_the_fields_of_the_contract(
    severity: Severity | None, letter: str, size: int, accept: int, reject: int
) -> None:
    document = sampling_document(*plan_sampling(300, level="II", aql_percent=0.65, severity=severity))
    assert document["schema"] == "benchsweep.sampling/1"
    wanted = {
        "lot_size": 300,
        "level": "II",
        "aql": 0.65,
        "severity": severity or "normal",
        "code_letter": letter,
        "sample_size": size,
        "accept": accept,
        "reject": reject,
    }
    assert {name: document[name] for name in wanted} == wanted
    finite(document)
    json.dumps(document, allow_nan=False)


def test_what_a_plan_lacks_is_refused() -> None:
    for how, words in (
        ({}, "needs an AQL"),
        ({"method": "zero-acceptance"}, "needs a limiting quality"),
        ({"method": "variables", "aql_percent": 1.0}, "at least one parameter"),
        ({"method": "guess"}, "no method named 'guess'"),
        ({"method": "variables", "aql_percent": 1.0, "characteristics": ("next", "NEXT")}, "named twice"),
    ):
        with pytest.raises(UsageError, match=words):
            plan_sampling(50, **how)  # type: ignore[arg-type]


def test_nonconformities_per_hundred_units_say_nothing_of_reels(tmp_path: Path) -> None:
    with pytest.raises(LotRefused, match="nonconformities per hundred units"):
        opened(tmp_path, aql_percent=25.0)


def test_lots_are_listed_in_the_order_of_their_opening_with_where_they_stand(tmp_path: Path) -> None:
    for lot, results in (
        ("Z", [result(), result()]),
        ("A", [result(False), result()]),
        ("open", [result()]),
        ("lost", [result(False)]),
        ("unclear", [result(None)]),
    ):
        opened(tmp_path, lot, supplier="Another" if lot == "open" else "Tollmoor Wire")
        told(tmp_path, lot, results, close=len(results) == 2)
    views = list_lot_views(tmp_path)
    assert [view.name for view in views] == ["Z", "A", "open", "lost", "unclear"]
    assert [exit_code_of_lot(view) for view in views] == [0, 1, 3, 1, 3]
    document = lots_document(views)
    assert document["schema"] == "benchsweep.lots/1"
    assert [each["status"] for each in document["lots"]] == ["accepted", "not accepted", *("open",) * 3]
    assert [each["tested"] for each in document["lots"]] == [2, 2, 1, 1, 1]
    finite(document)
    assert [view.name for view in list_lot_views(tmp_path, supplier="Another")] == ["open"]
    assert list_lot_views(tmp_path, product="C5-24") == ()


def test_zero_acceptance_knows_no_switching(tmp_path: Path) -> None:
    # N = 20, D = 2, 10 %: n = 14 by the hypergeometric distribution.
    view = opened(
        tmp_path,
        reels=[f"R{number:02d}" for number in range(20)],
        method="zero-acceptance",
        limiting_percent=10.0,
    )
    assert view.state.plan.sample_size == 14
    assert view.inspection == ()
