"""How far the balance of a fixture lets conversion losses be graded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep import fixture, limits
from benchsweep.records import LimitCurve, Measurement, Outcome, Parameter, Verdict, VerdictRow

__all__ = ["declares_balance", "within_balance"]

_CONVERSION = (Parameter.TCL, Parameter.ELTCTL)


def declares_balance(measurement: Measurement) -> bool:
    """Tell whether the fixture of a measurement declares a balance, so that `within_balance` may matter."""
    text = measurement.fixture_toml
    return bool(text) and fixture.read_fixture(text).balance is not None


def within_balance(
    verdict: Verdict, curves: Mapping[Parameter, LimitCurve], measurement: Measurement
) -> Verdict:
    """Return `verdict` with conversion losses undecided where the balance of the fixture does not beat them.

    A balun whose output signal balance is no better than the limit by the fixture's reserve (20 dB, ITU-T
    O.9, from memory) turns so much differential signal into common mode by itself that neither a pass nor a
    fail says anything about the specimen. Fixtures that declare no balance leave the verdict as it is.
    """
    if not measurement.fixture_toml:
        return verdict
    definition = fixture.read_fixture(measurement.fixture_toml)
    if definition.balance is None:
        return verdict
    floors = _floors(measurement, definition)
    rows = tuple(_judged(row, curves.get(row.parameter), floors) for row in verdict.rows)
    if rows == verdict.rows:
        return verdict
    return replace(verdict, rows=rows, outcome=limits.whole_outcome(rows, verdict.wiring))


def _floors(measurement: Measurement, definition: fixture.Fixture) -> dict[str, NDArray[np.float64]]:
    """Return balanced port -> the highest limit that may be graded there, on the worst slot it had."""
    grid = measurement.corrected.frequency_hz
    found: dict[str, NDArray[np.float64]] = {}
    for slot in definition.slot:
        floor = fixture.largest_tcl_db(definition, grid, slot.ports)
        for raw in measurement.hookups:
            for port in slot.ports:
                label = raw.hookup.connections.get(port, "").partition("/")[0].partition(".")[0]
                if label:
                    found[label] = np.minimum(found.get(label, floor), floor)
    return found


def _judged(
    row: VerdictRow, curve: LimitCurve | None, floors: Mapping[str, NDArray[np.float64]]
) -> VerdictRow:
    if row.parameter not in _CONVERSION or curve is None or row.worst_margin_db is None:
        return row
    # The differential wave enters at one end, the common mode leaves at `row.end`; both baluns convert.
    ends = (row.end,) if row.parameter is Parameter.TCL else ("A", "B")
    floor = [floors[label] for end in ends if (label := f"{end}:{row.pairs[0]}") in floors]
    if not floor:
        return row
    lacking = np.nan_to_num(curve.value - np.minimum.reduce(floor), nan=-np.inf)
    worst = int(np.argmax(lacking))
    if lacking[worst] <= 0.0:
        return row
    words = (
        f"the balance of the fixture allows limits up to {curve.value[worst] - lacking[worst]:.1f} dB at "
        f"{curve.frequency_hz[worst] / 1e6:.6g} MHz, this one is {curve.value[worst]:.1f} dB there"
    )
    return replace(row, outcome=Outcome.UNDECIDED, note=f"{row.note}; {words}" if row.note else words)
