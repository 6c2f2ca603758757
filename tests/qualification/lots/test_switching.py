"""The severity of the next lot follows from those that were closed (ISO 2859-1, MIL-STD-105E 4.7)."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.errors import LotRefused, RecordDamaged
from benchsweep.limits import load_requirement
from benchsweep.qualification import read_lot
from benchsweep.records import Severity
from tests.qualification.lots.reels import opened, result, told

GOOD = (result(), result())


class Series:
    """Lots of one supplier, one after the other."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.count = folder, 0

    def lot(self, good: bool, **how: object) -> Severity | None:
        """Open, test and close one lot; return the severity it was inspected under."""
        self.count += 1
        view = opened(self.folder, f"lot {self.count}", **how)
        count = view.state.plan.sample_size
        told(self.folder, view.name, (result(good), *(result(),) * (count - 1)))
        return view.state.plan.severity

    def next(self, **how: object) -> Severity | None:
        self.count += 1
        return opened(self.folder, f"lot {self.count}", **how).state.plan.severity


@pytest.fixture
def series(tmp_path: Path) -> Series:
    return Series(tmp_path / "archive")


def test_two_of_five_not_accepted_lead_to_tightened_and_five_accepted_back(series: Series) -> None:
    assert [series.lot(good) for good in (True, False, True, True)] == [Severity.NORMAL] * 4
    assert series.lot(False) is Severity.NORMAL
    # 2 of 5 lots in a row were not accepted. Tightened: letter A leads down to B, n = 3, Ac 0 (Table II-B).
    assert [series.lot(True) for _ in range(5)] == [Severity.TIGHTENED] * 5
    view = opened(series.folder, "after")
    assert view.state.plan.severity is Severity.NORMAL
    assert "5 lots in a row were accepted" in view.state.opened.severity_because
    assert "10 lots before it" in view.state.opened.severity_because


def test_two_not_accepted_that_are_further_apart_change_nothing(series: Series) -> None:
    for good in (False, True, True, True, True, False):
        assert series.lot(good) is Severity.NORMAL
    assert series.next() is Severity.NORMAL


def test_lots_of_others_and_resubmissions_do_not_count(series: Series) -> None:
    series.lot(False)
    series.lot(False, supplier="Another")
    series.lot(False, product="C5-24")
    series.lot(False, aql_percent=4.0)
    series.lot(False, level="III")
    series.lot(False, requirement=load_requirement("iec-6-cable"))
    series.lot(False, resubmission_of="lot 1", reason="sorted")
    assert series.next() is Severity.NORMAL
    series.lot(False)
    assert series.next() is Severity.TIGHTENED


def test_five_not_accepted_under_tightened_stop_inspection_until_somebody_resumes(series: Series) -> None:
    for _ in range(2):
        series.lot(False)
    for _ in range(5):
        assert series.lot(False) is Severity.TIGHTENED
    with pytest.raises(LotRefused, match="discontinued"):
        series.next()
    with pytest.raises(LotRefused, match="not as normal"):
        series.next(severity=Severity.NORMAL, reason="we trust them")
    assert series.next(reason="the supplier replaced the die") is Severity.TIGHTENED
    # Resumed: the next one needs no reason any more.
    assert series.next() is Severity.TIGHTENED


def test_reduced_needs_the_score_and_a_person_who_agrees(series: Series) -> None:
    with pytest.raises(LotRefused, match="reduced inspection is not possible"):
        series.next(severity=Severity.REDUCED, reason="steady production")
    # Each accepted lot with Ac 0 earns 2; 30 are needed.
    for _ in range(14):
        assert series.lot(True) is Severity.NORMAL
    with pytest.raises(LotRefused, match="switching score 28"):
        series.next(severity=Severity.REDUCED, reason="steady production")
    series.lot(True)
    assert series.next() is Severity.NORMAL, "nobody agreed"
    with pytest.raises(LotRefused, match="departs from the switching rules"):
        series.next(severity=Severity.REDUCED)
    assert series.lot(True, severity=Severity.REDUCED, reason="steady production") is Severity.REDUCED
    assert series.lot(True) is Severity.REDUCED
    assert series.lot(False) is Severity.REDUCED
    assert series.next() is Severity.NORMAL


def test_only_the_rules_lead_to_less_severe_inspection(series: Series) -> None:
    for _ in range(2):
        series.lot(False)
    with pytest.raises(LotRefused, match="normal inspection is not possible"):
        series.next(severity=Severity.NORMAL, reason="we trust them")


def test_a_person_may_direct_more_severe_inspection_with_a_reason(series: Series) -> None:
    with pytest.raises(LotRefused, match="departs from the switching rules"):
        series.next(severity=Severity.TIGHTENED)
    view = opened(series.folder, "directed", severity=Severity.TIGHTENED, reason="complaints")
    assert "complaints" in view.state.opened.severity_because
    assert series.next() is Severity.TIGHTENED, "it stays until five lots are accepted"


def test_what_a_lot_means_for_the_next_is_told(series: Series) -> None:
    series.lot(False)
    series.lot(False)
    _, words = read_lot(series.folder, "lot 2").inspection
    assert "tightened inspection" in words
    assert "(2 lots of this supplier, product, requirement, method, level and AQL closed so far)" in words


def test_a_damaged_lot_hinders_the_next_opening_but_not_the_others(series: Series) -> None:
    series.lot(True)
    view = opened(series.folder, "still open")
    broken = Path(str(read_lot(series.folder, "lot 1").path))
    broken.write_bytes(broken.read_bytes().replace(b"R00", b"R01", 1))
    with pytest.raises(RecordDamaged, match="lot-1"):
        series.next()
    told(series.folder, view.name, GOOD)
    (words,) = read_lot(series.folder, view.name).inspection
    assert words.startswith("nobody knows how the next lot is to be inspected")


@pytest.mark.parametrize("method", ["attributes", "zero-acceptance"])
def test_what_is_done_with_a_lot_that_was_not_accepted(tmp_path: Path, method: str) -> None:
    plan = {} if method == "attributes" else {"method": method, "limiting_percent": 50.0}
    opened(tmp_path, "26-118", **plan)
    state = read_lot(tmp_path, "26-118").state
    told(tmp_path, "26-118", [result(good=False, margin=-1.0)] * len(state.sample))
    advice = read_lot(tmp_path, "26-118").inspection[0]
    assert advice.startswith(
        "this lot was not accepted: return it; or have every reel of it sorted or repaired"
    )
    assert advice.endswith("--resubmission-of 26-118")
    opened(tmp_path, "26-119", **plan)
    told(tmp_path, "26-119", [result()] * len(state.sample))
    assert not any("return it" in words for words in read_lot(tmp_path, "26-119").inspection)
