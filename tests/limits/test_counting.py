"""What does not count, and what a cap or a floor holds: for drawings the same points as for the verdict."""

from __future__ import annotations

import numpy as np

from benchsweep.definitions import validate_model
from benchsweep.limits import Requirement, grade, limit_curve, not_counting
from benchsweep.records import FOUR_PAIRS, Parameter, Trace

GRID = np.linspace(1e6, 100e6, 40)
OWN = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "6A"
configuration = "channel"
standing = "published"
[source]
document = "d"
checked = "c"
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "published"
source = "s"
cap = 20.0
exempt_where = { parameter = "insertion_loss", below = 3.0, standing = "from-memory" }
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
limit = { form = "log-line", level = 10.0, slope = 10.0, reference_mhz = 100.0 }
"""


def _requirement(text: str = OWN) -> Requirement:
    return validate_model(text, Requirement, where="own.toml")


def _traces(loss_db: dict[str, np.ndarray]) -> list[Trace]:
    found = []
    for pair in FOUR_PAIRS:
        found.append(Trace(Parameter.INSERTION_LOSS, "B", (pair,), GRID, loss_db[pair]))
        # Far below the limit wherever the loss is below 3 dB, else 5 dB above it.
        value = np.where(loss_db[pair] < 3.0, 1.0, 25.0)
        found.append(Trace(Parameter.RETURN_LOSS, "A", (pair,), GRID, value))
    return found


def test_points_left_out_are_those_that_grading_leaves_out() -> None:
    rising = 0.5 * np.sqrt(GRID / 1e6)
    losses = {"12": rising, "36": rising + 10.0, "45": rising, "78": rising}
    found = not_counting(_traces(losses), _requirement())
    assert set(found) == {(Parameter.RETURN_LOSS, "A", (pair,)) for pair in ("12", "45", "78")}
    for points in found.values():
        assert np.array_equal(points, rising < 3.0)
    verdict = grade(_traces(losses), _requirement(), specimen="x")
    rows = [row for row in verdict.rows if row.end == "A"]
    # Values of 1 dB stand against limits of 10 dB and more: with one of those points a row would fail.
    assert all(row.worst_margin_db is not None and row.worst_margin_db >= 5.0 for row in rows)


def test_a_cap_is_told_where_it_holds() -> None:
    curve = limit_curve(_requirement(), Parameter.RETURN_LOSS, GRID)
    assert curve is not None
    assert curve.held is not None
    # 10 - 10 log(f / 100) is 20 at 10 MHz.
    assert np.array_equal(curve.held, GRID <= 10e6)
    uncapped = limit_curve(_requirement(OWN.replace("cap = 20.0\n", "")), Parameter.RETURN_LOSS, GRID)
    assert uncapped is not None
    assert uncapped.held is None
