"""Lots of version 1, the first, and of version 2 are read for ever.

The expected values are written out here: they do not come from what the program writes today.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep.archive.lots import LotFile, create, file_name, read_history
from benchsweep.errors import ArchiveError
from benchsweep.lots import state_of
from benchsweep.records import (
    LotClosed,
    LotOpened,
    Outcome,
    Parameter,
    ReelAdded,
    ReelExcluded,
    SeenLot,
    Severity,
)

FOLDER = Path(__file__).resolve().parent / "golden"
# Of the last line, computed with sha256sum line by line.
DIGESTS = {
    1: "ee6820ed346210628bc9164cad89ba5e6fd70f2e297bf95e49d91ddf0d93a4d6",
    2: "0ae199577a2607b6e02202a271a1b1febfc9c5fbdd3403d9e0a303537addd1fa",
}


@pytest.mark.parametrize("version", [1, 2])
def test_a_lot_of_each_version_stays_readable(version: int) -> None:
    history = read_history(FOLDER / f"lot-v{version}.txt")
    assert (history.digest, history.version) == (DIGESTS[version], version)
    opened, first, excluded, failed, retested, _, closed = history.events
    assert isinstance(opened, LotOpened)
    assert opened.lot == {1: "26-118", 2: "26-119"}[version]
    assert (opened.supplier, opened.product) == ("Tollmoor Works", "TM 6 U/UTP")
    if version == 1:
        assert (opened.earlier, opened.doubts) == ((), ())
    else:
        assert opened.earlier == (SeenLot("26-118", 7, DIGESTS[1]), SeenLot("26-117/Ü", 1, "0f" * 32))
        assert opened.doubts == ("the lot 26-116 is not there any more",)
    assert opened.reels == tuple(f"R{number:03d}" for number in range(1, 9))
    assert (opened.seed, opened.seed_given) == ("the seed", True)
    plan = opened.plan
    assert (plan.sample_size, plan.accept, plan.reject, plan.severity) == (3, 0, 1, Severity.NORMAL)
    assert (plan.code_letter, plan.plan_letter, plan.aql_percent) == ("A", "B", 4.0)
    assert isinstance(first, ReelAdded)
    assert (first.reel, first.record, first.path) == ("R001", "ab" * 32, "20261102T090000Z-R.h5")
    assert first.also_in == {1: (), 2: ("26-118",)}[version]
    assert first.reuse_reason == {1: "", 2: "the same reel came back, nothing was done to it"}[version]
    loss, crosstalk, skew = first.result.margins
    assert (loss.parameter, loss.end, loss.margin) == (Parameter.INSERTION_LOSS, "A", 0.4)
    assert (crosstalk.pairs, crosstalk.margin, crosstalk.frequency_hz) == (("12", "36"), math.inf, None)
    assert (skew.end, skew.margin) == (None, None)
    assert first.result.notes == ("a note: Prüfung",)
    assert first.result.constants[0].structural_return_loss_db == math.inf
    assert isinstance(excluded, ReelExcluded)
    assert (excluded.reel, excluded.by, excluded.reason) == ("R006", "M. Olsen", "crushed on the lorry")
    assert isinstance(failed, ReelAdded)
    assert failed.result.outcome is Outcome.FAIL
    assert isinstance(retested, ReelAdded)
    assert retested.retest_reason == "the contact was dirty"
    assert isinstance(closed, LotClosed)
    assert closed.accepted

    state = state_of(history.events)
    # Rising SHA-256 of "the seed", a line feed and the name, computed with sha256sum.
    assert state.order == ("R001", "R006", "R007", "R003", "R002", "R008", "R005", "R004")
    assert state.sample == ("R001", "R007", "R003")
    assert state.counting["R007"].result.conforms is True
    assert state.closed is closed


def test_a_lot_of_version_1_is_added_to_in_version_1(tmp_path: Path) -> None:
    """A digest that was printed of it goes on to hold; what has no place in it is not dropped silently."""
    old = (FOLDER / "lot-v1.txt").read_bytes()
    lines = old.splitlines(keepends=True)
    path = tmp_path / "lots" / file_name("26-118")
    path.parent.mkdir()
    path.write_bytes(b"".join(lines[:2]))
    file = LotFile(tmp_path, "26-118")
    first = read_history(FOLDER / "lot-v1.txt").events[1]
    assert isinstance(first, ReelAdded)
    with pytest.raises(ArchiveError, match="version 1"):
        file.append(replace(first, also_in=("26-117",), reuse_reason="why"), lambda _: None)
    assert path.read_bytes() == b"".join(lines[:2])
    assert file.append(first, lambda _: None).version == 1
    assert path.read_bytes() == b"".join(lines[:3])


def test_what_version_1_began_and_never_finished_is_begun_anew(tmp_path: Path) -> None:
    (opened, *_) = read_history(FOLDER / "lot-v2.txt").events
    assert isinstance(opened, LotOpened)
    path = tmp_path / "lots" / file_name(opened.lot)
    path.parent.mkdir()
    path.write_bytes(b"benchsweep-lot/1\n1 4a4477")
    file = create(tmp_path, opened)
    assert file.history().version == 2
    assert file.read() == (opened,)
