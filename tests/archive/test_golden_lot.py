"""A lot of version 1, the first, is read for ever.

The expected values are written out here: they do not come from what the program writes today.
"""

from __future__ import annotations

import math
from pathlib import Path

from benchsweep.archive.lots import read_history
from benchsweep.lots import state_of
from benchsweep.records import LotClosed, LotOpened, Outcome, Parameter, ReelAdded, ReelExcluded, Severity

GOLDEN = Path(__file__).resolve().parent / "golden" / "lot-v1.txt"


def test_a_lot_of_version_1_stays_readable() -> None:
    history = read_history(GOLDEN)
    assert history.digest == "ee6820ed346210628bc9164cad89ba5e6fd70f2e297bf95e49d91ddf0d93a4d6"
    opened, first, excluded, failed, retested, _, closed = history.events
    assert isinstance(opened, LotOpened)
    assert (opened.lot, opened.supplier, opened.product) == ("26-118", "Tollmoor Works", "TM 6 U/UTP")
    assert opened.reels == tuple(f"R{number:03d}" for number in range(1, 9))
    assert (opened.seed, opened.seed_given) == ("the seed", True)
    plan = opened.plan
    assert (plan.sample_size, plan.accept, plan.reject, plan.severity) == (3, 0, 1, Severity.NORMAL)
    assert (plan.code_letter, plan.plan_letter, plan.aql_percent) == ("A", "B", 4.0)
    assert isinstance(first, ReelAdded)
    assert (first.reel, first.record, first.path) == ("R001", "ab" * 32, "20261102T090000Z-R.h5")
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
